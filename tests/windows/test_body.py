"""What a window may say, and which field a refusal names."""

from typing import Any

import pytest
from pydantic import ValidationError

from app.core.faults import faults_of
from app.windows.body import LineStatus, WindowText, spell_text
from app.windows.built_in import compute_text_digest
from tests.windows.conftest import RAW, TEXT, narrower, spell_raw


def refuse(changes: dict[str, Any], row: dict[str, Any] | None = None) -> list[tuple[str, str]]:
    """Return field and sentence of each fault of a text with some values changed."""
    raw = {**spell_raw(), **changes}
    if row is not None:
        raw["rows"] = [{**raw["rows"][0], **row}, *raw["rows"][1:]]
    with pytest.raises(ValidationError) as caught:
        WindowText.model_validate(raw)
    return [(one.field, one.sentence) for one in faults_of(caught.value)]


@pytest.mark.parametrize(
    ("row", "field", "sentence"),
    [
        ({"upper": 451}, "rows.0.upper", "must be at most 450 °C, not 451"),
        ({"lower": 24}, "rows.0.lower", "must be at least 25 °C, not 24"),
        ({"lower": 250}, "rows.0.lower", "must be less than upper, 243"),
        ({"lower": None, "upper": None}, "rows.0.upper", "must be given, or lower"),
        ({"roles": []}, "rows.0.roles", "must name at least one"),
        ({"metric": "spread_k"}, "rows.0.lower", "must be at most 100 K, not 232"),
        ({"unit": "°F"}, "rows.0.unit", "must be °C, the unit of peak_c"),
        ({"status": "seen", "document": ""}, "rows.0.document", "must be named where"),
        ({"status": "sources_differ", "document": " "}, "rows.0.document", "must be named where"),
        ({"status": "certain"}, "rows.0.status", "must be 'seen'"),
        ({"upper": "243"}, "rows.0.upper", "must be a number, not the text “243”"),
        ({"upper": True}, "rows.0.upper", "must be a number"),
        ({"clause": "a\x00b"}, "rows.0.clause", "U+0000"),
        ({"others": [{"lower": 1}]}, "rows.0.others.0.where", "is missing"),
        ({"colour": "red"}, "rows.0.colour", "is not a field of this"),
    ],
)
def test_a_row_that_cannot_be_is_refused_at_its_field_with_the_limit(
    row: dict[str, Any], field: str, sentence: str
) -> None:
    faults = refuse({}, row)
    assert field in [one for one, _ in faults]
    assert sentence in dict(faults)[field]


@pytest.mark.parametrize(
    ("changes", "field", "sentence"),
    [
        ({"liquidus_c": None, "solidus_c": None}, "liquidus_c", "time_above_liquidus_s is limited"),
        ({"liquidus_c": None}, "liquidus_c", "must be given where the solidus is"),
        ({"solidus_c": 221}, "solidus_c", "must be at most liquidus_c, 220"),
        ({"soak_min_c": 150}, "soak_max_c", "must be given where the soak's other end is"),
        ({"soak_min_c": 200, "soak_max_c": 200}, "soak_min_c", "must be less than soak_max_c, 200"),
        ({"classification_c": 301}, "classification_c", "must be at most 300, not 301"),
        ({"ramp_window_s": 0}, "ramp_window_s", "must be at least 0.5, not 0"),
        ({"part_numbers": ["P-1"]}, "part_numbers", "never to be exceeded"),
        ({"rows": []}, "rows", "must have at least 1 entries, not 0"),
        ({"rows": [RAW["rows"][0]] * 2}, "rows.1", "peak_c of joint, centre is limited twice"),
        ({"format": 2}, "format", "must be 1"),
    ],
)
def test_a_window_that_does_not_go_together_is_refused_at_its_field(
    changes: dict[str, Any], field: str, sentence: str
) -> None:
    faults = refuse(changes)
    assert sentence in dict(faults)[field]


@pytest.mark.parametrize(
    ("metric", "field"),
    [
        ("average_ramp_k_per_s", "liquidus_c"),
        ("soak_time_s", "soak_min_c"),
        ("time_within_5_of_classification_s", "classification_c"),
    ],
)
def test_a_metric_asks_for_the_temperature_it_is_measured_at(metric: str, field: str) -> None:
    row = {"metric": metric, "roles": ["body"], "upper": 30, "status": "plants_own"}
    bare = {"format": 1, "is_never_exceed": True, "rows": [row]}
    with pytest.raises(ValidationError) as caught:
        WindowText.model_validate(bare)
    fault = faults_of(caught.value)[0]
    assert (fault.field, fault.sentence) == (field, f"must be given where {metric} is limited")


def test_a_peak_alone_needs_no_temperature_at_all() -> None:
    row = {"metric": "peak_c", "roles": ["body"], "upper": 245, "status": "plants_own"}
    text = WindowText.model_validate({"format": 1, "is_never_exceed": True, "rows": [row]})
    assert text.liquidus_c is None


def test_each_status_has_its_caution() -> None:
    assert LineStatus.MEMORY.caution == "from memory; confirm against your copy"
    assert "confirm against your copy" in LineStatus.CONFLICT.caution
    assert LineStatus.SEEN.caution == ""
    assert LineStatus.OWN.caution == ""
    assert TEXT.cautions == ("from memory; confirm against your copy",)


def test_the_digest_is_of_the_text_alone_and_changes_with_every_value() -> None:
    assert compute_text_digest(TEXT) == compute_text_digest(
        WindowText.model_validate_json(spell_text(TEXT))
    )
    assert compute_text_digest(narrower()) != compute_text_digest(TEXT)
    with_unit = spell_raw()
    with_unit["rows"][0] |= {"unit": "°C", "caution": "whatever"}
    assert compute_text_digest(WindowText.model_validate(with_unit)) == compute_text_digest(TEXT)
