"""Whatever a file looks like, its unit is the one that it states, or nobody's until it is said.

The same temperatures are written by many loggers, each with its unit in another place or in none.
"""

from dataclasses import dataclass

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from app.traces.files import LoggerReading, read_logger_file
from app.traces.rules import ReadingChoices, TemperatureUnit

CELSIUS = np.array([23.4, 101.7, 151.2, 198.8, 221.3, 239.6, 220.1, 150.9])
WORDS = {
    TemperatureUnit.CELSIUS: ("°C", "C", "degC", "deg C", "Celsius", "℃"),
    TemperatureUnit.FAHRENHEIT: ("°F", "F", "degF", "deg F", "Fahrenheit", "℉"),
    TemperatureUnit.KELVIN: ("K", "Kelvin"),
}
HEADER_FORMS = ("T1 [{}]", "T1 ({})", "T1 / {}", "Oven [{}] left")


@dataclass(frozen=True)
class Written:
    """A file, the unit that it is in, and whether it states it."""

    content: bytes
    unit: TemperatureUnit
    is_stated: bool


def spell(unit: TemperatureUnit, *, mark: str) -> list[str]:
    number = {
        TemperatureUnit.CELSIUS: CELSIUS,
        TemperatureUnit.FAHRENHEIT: CELSIUS * 1.8 + 32,
        TemperatureUnit.KELVIN: CELSIUS + 273.15,
    }[unit]
    return [f"{value:.2f}".replace(".", mark) for value in number.tolist()]


@st.composite
def files(draw: st.DrawFn) -> Written:
    unit = draw(st.sampled_from(TemperatureUnit))
    word = draw(st.sampled_from(WORDS[unit]))
    place = draw(st.sampled_from(("header", "units row", "cells", "remark", "nowhere")))
    separator, mark = draw(st.sampled_from(((",", "."), (";", ","), (";", "."), ("\t", ","))))
    # Kelvins behind a number, and letters in a remark, are written with their sign or name alone.
    if place in {"cells", "remark"}:
        word = {"C": "°C", "F": "°F", "K": "K"}[unit]
    header = draw(st.sampled_from(HEADER_FORMS)).format(word) if place == "header" else "T1"
    lines = [f"# {draw(st.sampled_from(('Odile', 'Cold morning', 'Fan on', 'K')))}"]
    if place == "remark":
        lines.append(f"# Temperature unit: {word}")
    lines.append(f"Time [s]{separator}{header}")
    if place == "units row":
        lines.append(f"s{separator}{word}")
    tail = f" {word}" if place == "cells" else ""
    lines += [f"{k}{separator}{cell}{tail}" for k, cell in enumerate(spell(unit, mark=mark))]
    text = draw(st.sampled_from(("\n", "\r\n"))).join([*lines, ""])
    encoding = draw(st.sampled_from(("utf-8", "utf-8-sig", "utf-16")))
    return Written(text.encode(encoding), unit, place != "nowhere")


def check_celsius(reading: LoggerReading) -> None:
    np.testing.assert_allclose(reading.columns[0].temperature_c(), CELSIUS, rtol=0, atol=0.0051)


@settings(max_examples=400)
@given(files())
def test_a_stated_unit_is_found_and_one_that_is_not_is_asked_for(written: Written) -> None:
    reading = read_logger_file(written.content)
    (column,) = reading.columns
    if column.unit is None:
        assert [question.about for question in reading.questions] == ["unit"]
        said = read_logger_file(
            written.content, choices=ReadingChoices(temperature_unit=written.unit)
        )
        assert said.questions == ()
        check_celsius(said)
        assert not written.is_stated
    else:
        assert column.unit is written.unit
        check_celsius(reading)


@given(files(), st.sampled_from(TemperatureUnit))
def test_what_is_said_for_all_never_overrules_what_a_file_states(
    written: Written, said: TemperatureUnit
) -> None:
    reading = read_logger_file(written.content, choices=ReadingChoices(temperature_unit=said))
    assert reading.columns[0].unit is (written.unit if written.is_stated else said)
