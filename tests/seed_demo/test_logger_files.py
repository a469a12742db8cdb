"""Each logger writes the same trace in its own way."""

from datetime import datetime, timedelta

import numpy as np
import pytest

from seed_demo.logger_files import DIALECTS, write_logger_file
from seed_demo.plant import BENCHES, REPLACED_LOGGER_DIALECT
from seed_demo.thermal_model import CHANNELS, SimulatedTrace
from seed_demo.working_time import ZONE

STARTED_AT = datetime(2026, 3, 4, 9, 59, 59, 500_000, tzinfo=ZONE)


def make_trace() -> SimulatedTrace:
    times_s = np.array([0.0, 0.5, 1.0, 1.5])
    values_c = np.round(23 + np.arange(20, dtype=np.float64).reshape(4, 5) / 10, 1)
    values_c[2, CHANNELS.index("body")] = np.nan
    return SimulatedTrace(times_s, values_c)


def read_columns(name: str) -> dict[str, list[str]]:
    habits = DIALECTS[name]
    text = write_logger_file(make_trace(), dialect=name, started_at=STARTED_AT)
    lines = [line for line in text.split(habits.line_end) if line and line[0] != "#"]
    body = lines[2 if habits.units else 1 :]
    rows = [line.split(habits.delimiter) for line in body]
    return {role: [row[n] for row in rows] for n, role in enumerate(habits.roles)}


@pytest.mark.parametrize("name", DIALECTS)
def test_every_channel_comes_back_with_its_digits(name: str) -> None:
    habits, columns, trace = DIALECTS[name], read_columns(name), make_trace()
    for role in CHANNELS:
        for cell, value in zip(columns[role], trace.get_channel(role), strict=True):
            if np.isnan(value):
                assert cell == habits.open_word
            else:
                assert float(cell.replace(habits.decimal_mark, ".")) == pytest.approx(value)


def test_seconds_milliseconds_clock_and_moments_say_the_same_times() -> None:
    assert read_columns("comma_seconds")["time"] == ["0.00", "0.50", "1.00", "1.50"]
    assert read_columns("tab_milliseconds")["time"] == ["0", "500", "1000", "1500"]
    assert read_columns("semicolon_clock")["time"] == [
        "09:59:59,500", "10:00:00,000", "10:00:00,500", "10:00:01,000",
    ]  # fmt: skip
    moments = [datetime.fromisoformat(text) for text in read_columns("iso_datetime")["time"]]
    assert moments == [STARTED_AT + timedelta(seconds=n / 2) for n in range(4)]


def test_the_four_say_open_in_four_ways() -> None:
    assert {read_columns(name)["body"][2] for name in DIALECTS} == {"", "NaN", "1372.0", "OPEN"}


def test_every_bench_has_a_logger_whose_dialect_is_known() -> None:
    used = {bench.dialect for bench in BENCHES} | {REPLACED_LOGGER_DIALECT}
    assert used == set(DIALECTS)
    assert {bench.sample_rate_hz for bench in BENCHES} <= {2, 3, 4, 5}


def test_an_unknown_logger_is_refused() -> None:
    with pytest.raises(KeyError):
        write_logger_file(make_trace(), dialect="paper", started_at=STARTED_AT)
