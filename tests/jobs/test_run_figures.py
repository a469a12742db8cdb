"""A run's figures: the bench's chain, its corrections, faults, zones, ceilings and the lift."""

from collections.abc import Sequence
from typing import Any

import pytest
from pydantic import TypeAdapter

from app.jobs.figure_views import FiguresFields
from app.jobs.figures import (
    analyse_run,
    describe_figures,
    find_kept_chain,
    find_kept_lift_s,
    spell_outcome,
)
from app.jobs.rules import LiftMisplaced, StepKind, check_lift
from app.jobs.run_figures import find_resolution_k
from app.jobs.scales import Scale
from app.jobs.verdict_words import spell_verdict
from app.numerics.thermocouple_limits import ThermocoupleType, ToleranceClass
from app.plant.measuring import ChannelCorrection, Covered, MeasuringChain
from app.recipes.body.recipe import RecipeBody
from app.traces.files import read_logger_file
from app.traces.queries import RecordedChannel, RecordedTrace
from app.traces.rules import ReadingChoices, TemperatureUnit
from tests.jobs.conftest import CHANNELS, is_near, make_body, write_log


def chain(**more: Any) -> MeasuringChain:
    return MeasuringChain(
        thermocouple_type=ThermocoupleType.K,
        thermocouple_class=ToleranceClass.IEC_1,
        logger_accuracy_k=0.5,
        timebase_ppm=20.0,
        **more,
    )


def correction(channel: str, correction_k: float, expanded_k: float) -> ChannelCorrection:
    return ChannelCorrection(
        channel=channel,
        correction_k=correction_k,
        expanded_k=expanded_k,
        certificate="LKS-1",
        covers=Covered.WIRE_AND_LOGGER,
    )


CALIBRATED = chain(corrections=(correction("t1", -0.5, 0.4), correction("T2", 0.3, 0.4)))


def read(content: bytes) -> RecordedTrace:
    reading = read_logger_file(content, choices=ReadingChoices())
    columns = {column.index: column for column in reading.columns}
    return RecordedTrace(
        time_s=reading.time.elapsed_s(),
        channels=tuple(
            RecordedChannel(one.name, one.role, None, one.name, columns[one.column])
            for one in CHANNELS.in_use
        ),
        ticks=reading.time.ticks - reading.time.ticks[0],
        tick_decimals=-reading.time.exponent,
    )


def describe(
    content: bytes | None = None,
    *,
    body: RecipeBody | None = None,
    step: StepKind = StepKind.REFLOW,
    measured_by: MeasuringChain | None = None,
    lifted_at_s: float | None = None,
) -> dict[str, Any]:
    return describe_figures(
        analyse_run(
            body or make_body(),
            read(write_log() if content is None else content),
            findings=(),
            step=step,
            chain=measured_by,
            lifted_at_s=lifted_at_s,
        )
    )


def channel(figures: dict[str, Any], name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(one for one in figures["channels"] if one["name"] == name)
    return found


def limit(body: RecipeBody, limits: Sequence[dict[str, Any]]) -> RecipeBody:
    said = body.model_dump(mode="json")
    said["window"]["limits"] = limits
    return RecipeBody.model_validate(said)


def test_without_a_described_chain_one_is_assumed_and_said_so() -> None:
    figures = describe()
    assert figures["definitions"] == 3
    assert figures["chain"]["is_assumed"]
    assert figures["chain"]["words"].startswith("assumed (common practice, no source): type K")
    assert find_kept_chain(figures) is None
    # 2·√(2.5² + 1²)/√3 for class 2 at ±2.5 K and a logger of ±1 K (JCGM 100, 4.3.7).
    expanded = 2 * (2.5**2 + 1) ** 0.5 / 3**0.5
    assert is_near(channel(figures, "T1")["peak"]["expanded"], expanded, within=0.01)


def test_a_correction_is_added_to_the_readings_of_its_channel_and_kept_beside() -> None:
    plain, corrected = describe(measured_by=chain()), describe(measured_by=CALIBRATED)
    assert channel(corrected, "T1")["peak"]["value"] == 238.0 - 0.5
    assert channel(corrected, "T1")["correction_k"] == -0.5
    assert channel(corrected, "T3")["peak"] == channel(plain, "T3")["peak"]
    assert channel(corrected, "T3")["correction_k"] is None
    # The calibration covers wire and logger: what is left is its own 0.4 K and the digit.
    assert is_near(channel(corrected, "T1")["peak"]["expanded"], 0.4, within=0.1)
    assert find_kept_chain(corrected) == CALIBRATED


def test_figures_computed_again_with_the_chain_and_lift_that_are_kept_are_the_same() -> None:
    figures = describe(step=StepKind.REMOVE, measured_by=CALIBRATED, lifted_at_s=250.0)
    again = describe(
        step=StepKind.REMOVE,
        measured_by=find_kept_chain(figures),
        lifted_at_s=find_kept_lift_s(figures),
    )
    assert again == figures


def test_a_spike_is_found_before_the_peak_is_taken_for_it() -> None:
    figures = describe(write_log(cells={(200, "T2"): "320.0"}))
    (fault,) = figures["findings"]
    assert (fault["channel"], fault["kind"]) == ("T2", "spike")
    assert fault["first_sample"] <= 200 <= fault["last_sample"]
    # It is no reading: the peak is that of the others, and they show it whole.
    assert "peak" not in fault["unsayable"]
    assert channel(figures, "T2")["peak"] == channel(describe(), "T2")["peak"]


def test_every_zone_has_what_was_set_reached_and_how_settled_it_was() -> None:
    zones = channel(describe(), "T1")["zones"]
    assert [zone["name"] for zone in zones] == ["preheat", "soak", "ramp", "reflow", "cooling"]
    preheat = zones[0]
    assert preheat["ends_at_s"] == 90
    # The written profile is at 150 °C after 90 s, having risen by 132 K in 90 s.
    assert is_near(preheat["reached"]["value"], 150.0, within=0.06)
    assert is_near(preheat["end_rate"]["value"], 132 / 90, within=0.03)
    assert is_near(preheat["above_setting"]["value"], 150.0 - preheat["set_c"], within=0.06)
    assert zones[4]["set_c"] is None
    assert zones[4]["above_setting"] is None


def test_channels_beside_the_joints_are_held_against_their_ceilings() -> None:
    body = limit(make_body(), [{"metric": "peak_c", "roles": ["body", "board"], "upper": 230}])
    figures = describe(body=body)
    (body_ceiling,) = channel(figures, "T3")["ceilings"]
    # T3 is 2.5 K above a profile that peaks at 238 °C; 4 K up at 0.6 K/s, down at 0.4 K/s.
    assert body_ceiling["ceiling_c"] == 230
    assert is_near(body_ceiling["headroom"]["value"], 230 - 240.5, within=0.01)
    assert is_near(body_ceiling["above"]["value"], 10.5 / 0.6 + 10.5 / 0.4, within=0.2)
    (board_ceiling,) = channel(figures, "T4")["ceilings"]
    assert board_ceiling["above"]["value"] == 0
    assert channel(figures, "T1")["ceilings"] == []


@pytest.mark.parametrize(
    ("lifted_at_s", "was_early"), [(250.0, False), (225.0, True), (100.0, True), (390.0, False)]
)
def test_a_lift_is_held_against_its_rule(lifted_at_s: float, was_early: bool) -> None:  # noqa: FBT001
    figures = describe(step=StepKind.REMOVE, lifted_at_s=lifted_at_s)
    lifted = figures["site"]["lifted"]
    # 225 °C of both joints from 223.3 s on, and 10 s more.
    assert is_near(lifted["rule_met"]["value"], 233.3, within=0.2)
    assert lifted["was_early"] is was_early
    assert is_near(lifted["margin"]["value"], lifted_at_s - 233.3, within=0.2)


def test_a_lift_belongs_to_a_removal_and_into_its_trace() -> None:
    check_lift(None, StepKind.REFLOW, duration_s=400)
    check_lift(400, StepKind.REMOVE, duration_s=400)
    with pytest.raises(LiftMisplaced, match="only a removal"):
        check_lift(100, StepKind.REFLOW, duration_s=400)
    with pytest.raises(LiftMisplaced, match=r"ends at 400\.0 s"):
        check_lift(401, StepKind.REMOVE, duration_s=400)


def test_the_last_digit_of_a_column_is_its_resolution() -> None:
    tenths, whole = read(write_log()).channels[0], read(write_log(decimals=0)).channels[0]
    assert find_resolution_k(tenths) == pytest.approx(0.1)
    assert find_resolution_k(whole) == 1.0
    fahrenheit = read(write_log(unit="°F", decimals=1)).channels[0]
    assert fahrenheit.column.unit is TemperatureUnit.FAHRENHEIT
    assert find_resolution_k(fahrenheit) == pytest.approx(0.1 * 5 / 9)


def test_the_model_of_the_answer_holds_every_key_that_is_kept() -> None:
    figures = describe(
        write_log(cells={(200, "T2"): "320.0"}),
        step=StepKind.REMOVE,
        measured_by=CALIBRATED,
        lifted_at_s=250.0,
    )
    model = TypeAdapter(FiguresFields)
    assert model.dump_python(model.validate_python(figures)) == figures


def test_a_value_has_as_many_digits_as_its_uncertainty() -> None:
    spell = Scale.CELSIUS.spell_with
    assert spell(74.96, "s", 12.96, shown=True) == "75 ± 13 s"
    assert spell(74.96, "s", 12.96, shown=False) == "75 s"
    assert spell(238.04, "°C", 3.11, shown=True) == "238.0 ± 3.1 °C"
    assert spell(238.04, "°C", 0.04, shown=True) == "238.0 ± 0.0 °C"
    assert spell(1847.0, "K·s", 130.0, shown=True) == "1850 ± 130 K·s"
    assert spell(1.234, "K/s", 0.0, shown=False) == "1.23 K/s"
    assert Scale.FAHRENHEIT.spell_with(238.0, "°C", 3.0) == "460.4 ± 5.4 °F"
    said = {"value": 75.2, "unit": "s", "at_s": 0.0, "is_censored": True, "expanded": 12.0}
    assert spell_outcome(said, with_expanded=True) == "at least 75 ± 12 s"


def test_the_sentence_says_how_far_and_what_would_settle_it() -> None:
    near = limit(make_body(), [{"metric": "peak_c", "roles": ["joint_centre"], "upper": 239}])
    close = describe(body=near)
    assert close["verdict"]["state"] == "too close to call"
    assert spell_verdict(close["verdict"]) == (
        "Peak temperature of T1 is 238.0 °C against at most 239 °C: 1.0 K inside it, uncertainty "
        "± 3.1 K; window use 100 %. 86 % of that uncertainty is the wire's class; a calibrated "
        "thermocouple alone would not settle it."
    )
    settled = describe(body=near, measured_by=CALIBRATED)
    assert spell_verdict(settled["verdict"]) == (
        "Peak temperature of T1 is 237.5 °C against at most 239 °C: 1.5 K inside it, uncertainty "
        "± 0.4 K; window use 99 %."
    )
    assert spell_verdict(settled["verdict"], Scale.FAHRENHEIT) == (
        "Peak temperature of T1 is 459.5 °F against at most 462.2 °F: 2.7 °F inside it, "
        "uncertainty ± 0.7 °F; window use 99 %."
    )
