"""A measuring chain as a value: what it takes, what it refuses, and what it comes to."""

import math
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from app.numerics.thermocouple_limits import TOLERANCES, ThermocoupleType, ToleranceClass
from app.numerics.uncertainty import Source
from app.plant.chain_budget import compute_reading_uncertainty
from app.plant.measuring import (
    ASSUMED_CHAIN,
    CHAIN_EXAMPLE,
    ChainUnreadable,
    MeasuringChain,
    lapse_corrections,
    list_lapsed,
    list_lapses,
    make_measurement,
    parse_chain,
    parse_used_chain,
    spell_chain,
)

VIENNA = ZoneInfo("Europe/Vienna")


def correct(**more: object) -> dict[str, Any]:
    return {
        "channel": "T1",
        "correction_k": -0.4,
        "expanded_k": 0.6,
        "certificate": "C-2026-118",
        **more,
    }


def describe(*corrections: dict[str, Any], **more: object) -> dict[str, Any]:
    return {
        "thermocouple_type": "K",
        "thermocouple_class": "IEC 60584-1 class 1",
        "logger_accuracy_k": 0.7,
        "timebase_ppm": 50,
        "corrections": list(corrections),
        **more,
    }


def list_faults(given: object) -> dict[str, str]:
    with pytest.raises(ChainUnreadable) as caught:
        parse_chain(given)
    return {fault.field: fault.sentence for fault in caught.value.faults}


def test_a_chain_comes_back_from_its_json_as_it_was() -> None:
    chain = parse_chain(CHAIN_EXAMPLE)
    assert MeasuringChain.model_validate(chain.model_dump(mode="json")) == chain


@pytest.mark.parametrize(
    ("name", "least", "most"),
    [("logger_accuracy_k", 0, 20), ("timebase_ppm", 0, 10_000), ("timebase_jitter_s", 0, 10)],
)
def test_a_number_beyond_its_range_is_refused_with_field_and_limit(
    name: str, least: float, most: float
) -> None:
    for inside in (least, most):
        assert getattr(parse_chain(describe(**{name: inside})), name) == inside
    assert list_faults(describe(**{name: -0.01})) == {name: f"must be at least {least}, not -0.01"}
    assert list_faults(describe(**{name: most + 0.5})) == {
        name: f"must be at most {most}, not {most + 0.5}"
    }


@pytest.mark.parametrize(("name", "least"), [("correction_k", -50), ("expanded_k", 0)])
def test_a_number_of_a_calibration_beyond_its_range_is_refused_in_its_row(
    name: str, least: float
) -> None:
    for inside in (least, 50):
        parse_chain(describe(correct(**{name: inside})))
    path = f"corrections.1.{name}"
    rows = (correct(), correct(channel="T2", **{name: 50.5}))
    assert list_faults(describe(*rows)) == {path: "must be at most 50, not 50.5"}
    rows = (correct(), correct(channel="T2", **{name: least - 1}))
    assert list_faults(describe(*rows)) == {path: f"must be at least {least}, not {least - 1}"}


@pytest.mark.parametrize(
    "given", [math.nan, math.inf, "0.5", True, None, [], {}, 10**400, "\ud800"]
)
def test_what_is_no_finite_number_is_refused_by_field(given: object) -> None:
    assert list(list_faults(describe(logger_accuracy_k=given))) == ["logger_accuracy_k"]


@pytest.mark.parametrize(
    ("part", "fields"),
    [
        (describe(thermocouple_type="S"), ["thermocouple_type"]),
        (describe(thermocouple_class="class 3"), ["thermocouple_class"]),
        (describe(note="x" * 4001), ["note"]),
        (describe(note="a\x00b"), ["note"]),
        (describe(colour="red"), ["colour"]),
        (describe(correct(channel="")), ["corrections.0.channel"]),
        (describe(correct(channel="x" * 61)), ["corrections.0.channel"]),
        (describe(correct(certificate=" ")), ["corrections.0.certificate"]),
        (describe(correct(covers="cable")), ["corrections.0.covers"]),
        (describe(correct(valid_until="2027-02-30")), ["corrections.0.valid_until"]),
        (describe(correct(valid_until="20270228")), ["corrections.0.valid_until"]),
        (describe(correct(valid_until=5)), ["corrections.0.valid_until"]),
        (describe(correct(valid_until=datetime(2027, 1, 1))), ["corrections.0.valid_until"]),  # noqa: DTZ001
        (describe(corrections="T1"), ["corrections"]),
        ("type K", [""]),
    ],
)
def test_every_other_value_is_refused_by_field(part: object, fields: list[str]) -> None:
    assert list(list_faults(part)) == fields


def test_a_channel_has_one_correction_whatever_the_case_of_its_letters() -> None:
    rows = (correct(channel="Straße"), correct(channel="T2"), correct(channel="STRASSE"))
    assert list_faults(describe(*rows)) == {
        "corrections.2.channel": "names STRASSE a second time; each channel has one correction"
    }


def test_at_most_32_channels_are_corrected() -> None:
    rows = [correct(channel=f"T{number}") for number in range(33)]
    assert len(parse_chain(describe(*rows[:32])).corrections) == 32
    assert list_faults(describe(*rows)) == {"corrections": "may have at most 32 entries, not 33"}


@pytest.mark.parametrize("kind", ThermocoupleType)
@pytest.mark.parametrize("of_class", ToleranceClass)
def test_a_type_is_taken_in_a_class_that_has_a_tolerance_for_it_and_in_no_other(
    kind: ThermocoupleType, of_class: ToleranceClass, monkeypatch: pytest.MonkeyPatch
) -> None:
    said = describe(thermocouple_type=kind, thermocouple_class=of_class)
    assert parse_chain(said).tolerance == TOLERANCES[kind, of_class]
    monkeypatch.delitem(TOLERANCES, (kind, of_class))
    assert list_faults(said) == {
        "thermocouple_class": f"has no tolerance for type {kind}: choose another class"
    }


def test_a_channel_without_calibration_counts_wire_logger_and_clock() -> None:
    chain = parse_chain(describe(correct(), timebase_jitter_s=0.02))
    made = make_measurement(chain, channel="T2", resolution_k=0.1)
    assert made.thermocouple == TOLERANCES[ThermocoupleType.K, ToleranceClass.IEC_1]
    assert (made.logger_accuracy_k, made.calibration) == (0.7, None)
    assert (made.resolution_k, made.noise_k) == (0.1, 0.0)
    assert made.timebase_relative == pytest.approx(50e-6, rel=1e-12)
    assert made.timebase_jitter_s == 0.02


@pytest.mark.parametrize(
    ("covers", "has_wire", "logger_k"),
    [
        (None, True, 0.7),
        ("logger", True, 0.0),
        ("wire", False, 0.7),
        ("wire_and_logger", False, 0.0),
    ],
)
def test_what_was_calibrated_counts_by_its_certificate_and_no_longer_by_its_tolerance(
    covers: str | None,
    has_wire: bool,  # noqa: FBT001
    logger_k: float,
) -> None:
    chain = parse_chain(describe(correct(covers=covers)))
    made = make_measurement(chain, channel="t1", resolution_k=0.0)
    assert made.calibration is not None
    assert (made.calibration.correction_k, made.calibration.expanded_k) == (-0.4, 0.6)
    assert (made.thermocouple is not None, made.logger_accuracy_k) == (has_wire, logger_k)


def test_the_assumed_chain_comes_to_what_its_formula_says() -> None:
    # By hand, JCGM 100: type K class 2 is the greater of 2.5 K and 0.75 % of t, logger ± 1 K.
    answers = compute_reading_uncertainty(ASSUMED_CHAIN, "T1")
    assert [one.temperature_c for one in answers] == [100.0, 200.0, 250.0]
    assert [one.expanded_k for one in answers] == [
        pytest.approx(2 * math.sqrt((2.5**2 + 1.0**2) / 3), rel=1e-12),
        pytest.approx(2 * math.sqrt((2.5**2 + 1.0**2) / 3), rel=1e-12),
        pytest.approx(2 * math.sqrt((2.5**2 + 1.0**2) / 3), rel=1e-12),
    ]
    far = compute_reading_uncertainty(ASSUMED_CHAIN, "T1", temperatures_c=[400.0, 1300.0])
    assert far[0].expanded_k == pytest.approx(2 * math.sqrt((3.0**2 + 1.0**2) / 3), rel=1e-12)
    assert (far[1].expanded_k, far[1].largest) == (None, Source.THERMOCOUPLE)


def test_a_calibration_adds_its_half_beside_what_it_leaves_in() -> None:
    # By hand, JCGM 100: U/2 of the certificate and the bound of class 1 wire at 100 °C, 1.5 K.
    chain = parse_chain(describe(correct(covers="logger"), correct(channel="T2")))
    assert compute_reading_uncertainty(chain, "T1", temperatures_c=[100.0])[0].expanded_k == (
        pytest.approx(2 * math.sqrt(1.5**2 / 3 + 0.3**2), rel=1e-12)
    )
    assert compute_reading_uncertainty(chain, "T2", temperatures_c=[100.0])[0].expanded_k == (
        pytest.approx(2 * math.sqrt(1.5**2 / 3 + 0.7**2 / 3 + 0.3**2), rel=1e-12)
    )


def test_a_calibration_lapses_when_its_last_day_ends_in_the_plants_zone() -> None:
    chain = parse_chain(describe(correct(valid_until="2026-03-31"), correct(channel="T2")))
    assert chain.corrections[0].valid_until == date(2026, 3, 31)
    last_minute = datetime(2026, 3, 31, 21, 59, tzinfo=UTC)
    assert list_lapsed(chain, now=last_minute, zone=VIENNA) == ()
    next_day = datetime(2026, 3, 31, 22, 0, tzinfo=UTC)
    assert list_lapsed(chain, now=next_day, zone=VIENNA) == (chain.corrections[0],)
    assert list_lapsed(chain, now=next_day, zone=ZoneInfo("UTC")) == ()


def test_a_chain_is_spelt_in_one_line_and_an_assumed_one_says_so() -> None:
    assert spell_chain(parse_chain(describe(correct()))) == (
        "Type K, IEC 60584-1 class 1 (±1.5 K or 0.4 % of t, the greater), logger ±0.7 K, "
        "clock ±50 ppm, corrected: T1 -0.4 K ± 0.6 K (k = 2)"
    )
    assert spell_chain(ASSUMED_CHAIN) == (
        "assumed (common practice, no source): type K, IEC 60584-1 class 2 "
        "(±2.5 K or 0.75 % of t, the greater), logger ±1 K, clock ±100 ppm"
    )


DAY = datetime(2026, 3, 31, 12, tzinfo=UTC)
AFTER = datetime(2026, 4, 1, 12, tzinfo=UTC)


def compute_expanded_k(chain: MeasuringChain) -> float | None:
    return compute_reading_uncertainty(chain, "T1", temperatures_c=[100.0])[0].expanded_k


def test_a_lapsed_calibration_leaves_its_place_to_the_tolerances_it_covered() -> None:
    said = correct(covers="wire_and_logger", valid_until="2026-03-31")
    chain = parse_chain(describe(said))
    valid = lapse_corrections(chain, now=DAY, zone=VIENNA)
    assert valid == chain
    assert compute_expanded_k(valid) == pytest.approx(0.6)
    lapsed = lapse_corrections(chain, now=AFTER, zone=VIENNA)
    # By hand, JCGM 100: class 1 wire at 100 °C ±1.5 K and the logger ±0.7 K, both rectangular.
    assert compute_expanded_k(lapsed) == pytest.approx(2 * math.sqrt((1.5**2 + 0.7**2) / 3))
    correction = make_measurement(lapsed, channel="t1", resolution_k=0.1).calibration
    assert correction is not None
    assert correction.correction_k == -0.4
    assert list_lapses(valid) == ()
    (said_of_it,) = list_lapses(lapsed)
    assert said_of_it == (
        "The calibration of T1 (certificate C-2026-118) was valid until 2026-03-31 only: its "
        "correction is added, but the wire's class and the logger's accuracy count as if it had "
        "not been calibrated."
    )
    assert spell_chain(lapsed).endswith("T1 -0.4 K ± 0.6 K (k = 2), lapsed after 2026-03-31")


def test_calibrations_that_ended_together_are_told_in_one_sentence() -> None:
    ends = {"valid_until": "2026-03-31", "covers": "wire_and_logger"}
    chain = parse_chain(
        describe(
            correct(**ends),
            correct(channel="T2", certificate="C-2026-119", **ends),
            correct(channel="T3", covers="wire", valid_until="2026-03-31"),
        )
    )
    together, alone = list_lapses(lapse_corrections(chain, now=AFTER, zone=VIENNA))
    assert together == (
        "The calibrations of T1 (certificate C-2026-118), T2 (certificate C-2026-119) were valid "
        "until 2026-03-31 only: their corrections are added, but the wire's class and the "
        "logger's accuracy count as if they had not been calibrated."
    )
    assert alone.startswith("The calibration of T3 ")


def test_a_lapsed_calibration_never_makes_a_value_surer() -> None:
    # ± 2 K (k = 2) is more than 2 · 1.5 / √3 = 1.73 K of the wire.
    wide = correct(covers="wire", expanded_k=2.0, valid_until="2026-03-31")
    beside = correct(valid_until="2026-03-31")
    for said, squared in ((wide, 1.0**2), (beside, 0.3**2)):
        chain = parse_chain(describe(said))
        lapsed = lapse_corrections(chain, now=AFTER, zone=VIENNA)
        before, after = compute_expanded_k(chain), compute_expanded_k(lapsed)
        assert before is not None
        assert after is not None
        assert after >= before
        assert after == pytest.approx(2 * math.sqrt(1.5**2 / 3 + 0.7**2 / 3 + squared))


def test_a_chain_with_a_lapsed_calibration_comes_back_as_it_was_used() -> None:
    chain = parse_chain(describe(correct(valid_until="2026-03-31"), correct(channel="T2")))
    lapsed = lapse_corrections(chain, now=AFTER, zone=VIENNA)
    assert parse_used_chain(lapsed.model_dump(mode="json")) == lapsed
    assert parse_used_chain(chain.model_dump(mode="json")) == chain
    assert [lapsed.has_lapsed(name) for name in ("T1", "T2")] == [True, False]
    # Nobody describes a bench with it: what has lapsed is a matter of the moment.
    assert "lapsed" in list_faults(lapsed.model_dump(mode="json"))
    with pytest.raises(ChainUnreadable):
        parse_used_chain({**chain.model_dump(mode="json"), "lapsed": []})
