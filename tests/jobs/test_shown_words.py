"""What is shown of figures: names with their time, differences that add up, and one scale."""

import re
from typing import Any

import pytest

from app.jobs.figure_words import DEFINITIONS_IN_WORDS, spell_definition
from app.jobs.figures import spell_figure_name
from app.jobs.pages.compare_words import spell_difference
from app.jobs.scales import Scale
from app.jobs.verdict_words import list_worst_first, spell_metric, spell_verdict
from app.numerics.differences import compute_difference
from app.numerics.values import Measured, Unit
from app.recipes.verdict import VerdictState

CELSIUS, FAHRENHEIT = Scale.CELSIUS, Scale.FAHRENHEIT


def line(**said: object) -> dict[str, Any]:
    return {
        "metric": "peak_c",
        "channel": "T3",
        "role": "body",
        "over_s": None,
        "value": None,
        "unit": "°C",
        "lower": None,
        "upper": 250.0,
        "state": str(VerdictState.CANNOT_SAY),
        "window_use_pct": None,
        "reason": "",
        "at_s": None,
        "is_censored": False,
        "uncertainty": None,
        **said,
    }


def test_a_missing_channel_is_named_once() -> None:
    missing = line(reason="T3 (package body): left out: no reading for 64.0 s")
    assert spell_verdict({"deciding": missing}) == (
        "Peak temperature of T3 (package body): left out: no reading for 64.0 s."
    )
    other = line(reason="The trace ends above 220 °C.")
    assert spell_verdict({"deciding": other}) == (
        "Peak temperature of T3: The trace ends above 220 °C."
    )


def test_a_steepest_slope_says_the_time_it_is_taken_over() -> None:
    assert spell_metric(line(metric="max_ramp_up_k_per_s", over_s=5.0)) == (
        "Maximum ramp up over 5 s"
    )
    assert spell_figure_name("maximum_fall", over_s=[5.0, 5.0]) == "Maximum fall over 5 s"
    assert spell_figure_name("maximum_ramp", over_s=[5.0, 2.5]) == (
        "Maximum ramp over 2.5 s and 5 s"
    )
    assert spell_figure_name("peak", over_s=[5.0]) == "Peak"
    # Lines of before definitions 3 do not keep it.
    older = {
        name: said
        for name, said in line(metric="max_ramp_up_k_per_s").items()
        if name not in {"over_s", "role"}
    }
    assert spell_metric(older) == "Maximum ramp up"
    assert list_worst_first({"lines": [older], "deciding": older}) == [older]


def test_names_with_a_temperature_are_on_the_scale_asked_for() -> None:
    assert spell_metric(line(metric="time_25_to_peak_s"), FAHRENHEIT) == "Time from 77 °F to peak"
    assert spell_figure_name("near_classification", scale=FAHRENHEIT) == (
        "Time within 9 °F of classification"
    )


@pytest.mark.parametrize("name", sorted(DEFINITIONS_IN_WORDS))
def test_no_definition_says_celsius_or_kelvin_where_fahrenheit_is_asked_for(name: str) -> None:
    assert not re.search(r"°C|\bK\b|K/s|[Kk]elvin", spell_definition(name, FAHRENHEIT))
    assert spell_definition(name) == DEFINITIONS_IN_WORDS[name]


@pytest.mark.parametrize(
    ("own", "first", "unit", "scale", "shown"),
    [
        # 461.804 and 460.796 °F.
        (238.78, 238.22, Unit.CELSIUS, FAHRENHEIT, "+1.0 °F"),
        (0.726, 0.704, Unit.KELVIN_PER_SECOND, CELSIUS, "+0.03 K/s"),
        (0.704, 0.726, Unit.KELVIN_PER_SECOND, CELSIUS, "−0.03 K/s"),
        (30.14, 30.16, Unit.SECOND, CELSIUS, "−0.1 s"),
        (30.14, 30.11, Unit.SECOND, CELSIUS, "+0.0 s"),
    ],
)
def test_a_difference_is_that_of_the_values_as_they_are_shown(
    own: float, first: float, unit: Unit, scale: Scale, shown: str
) -> None:
    values = Measured(own, unit), Measured(first, unit)
    difference = compute_difference(*values)
    said = spell_difference(*values, difference, scale)
    assert said == shown
    apart = [float(scale.spell(one, str(unit)).split()[0]) for one in (own, first)]
    assert float(said.split()[0].replace("−", "-")) == pytest.approx(apart[0] - apart[1])


def test_kept_lines_are_listed_by_what_protects_the_part() -> None:
    outside = str(VerdictState.OUTSIDE)
    ramp = line(metric="max_ramp_up_k_per_s", channel="T1", value=4.2, upper=3.0, state=outside)
    body = line(value=253.2, state=outside)
    soak = line(metric="soak_time_s", channel="T1", lower=60.0, upper=None, state=outside)
    inside = line(value=240.0, state=str(VerdictState.INSIDE))
    said = {"lines": [inside, soak, ramp, body], "deciding": body}
    assert list_worst_first(said) == [body, ramp, soak, inside]
