"""A posted form becomes the same body that JSON gives."""

from collections.abc import Mapping, Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.core.canonical_json import JsonValue
from app.core.refusals import Fault
from app.recipes.body.forms import BodyUnreadable, nest_fields, parse_body_form
from app.recipes.body.template import default_body


def flatten(value: JsonValue, path: str = "") -> dict[str, str]:
    """Spell a body as the fields a page would post."""
    if isinstance(value, Mapping):
        steps = [(str(name), below) for name, below in value.items()]
    elif isinstance(value, Sequence) and not isinstance(value, str):
        steps = [(str(place), below) for place, below in enumerate(value)]
    else:
        words = {True: "yes", False: "no"}
        shown = "" if value is None else words[value] if isinstance(value, bool) else str(value)
        return {path: shown}
    return {
        name: text
        for step, below in steps
        for name, text in flatten(below, f"{path}.{step}".lstrip(".")).items()
    }


BODY = default_body(assembly_part_number="LIMNET-07", designators=["U3", "U4"])
FIELDS = {
    name: text for name, text in flatten(BODY.model_dump(mode="json")).items() if name != "format"
}


def test_a_form_gives_the_body_that_was_shown() -> None:
    assert parse_body_form(FIELDS) == BODY


def test_lists_lengths_and_commas_may_be_typed_as_people_type_them() -> None:
    fields = {name: text for name, text in FIELDS.items() if not name.startswith("applies_to.d")}
    fields |= {"applies_to.designators": "U3, U4", "zones.0.time_s": "90,0"}
    fields["cautions"] = "Hot!\n\nMind the crystal."
    del fields["deposit.depth.value"], fields["deposit.depth.unit"]
    fields["deposit.depth"] = "6 mil"
    body = parse_body_form(fields)
    assert body.applies_to.designators == ("U3", "U4")
    assert body.zones[0].time_s == 90
    assert body.cautions == ("Hot!", "Mind the crystal.")
    assert body.deposit.model_dump(mode="json")["depth"] == {"value": "6", "unit": "thou"}


def test_blank_rows_are_left_out_and_later_ones_move_up() -> None:
    fields = {"rows.0.a": "x", "rows.1.a": " ", "rows.10.a": "z", "rows.2.a": "y"}
    assert nest_fields(fields) == {"rows": [{"a": "x"}, {"a": "y"}, {"a": "z"}]}


def test_every_wrong_field_of_a_form_is_named() -> None:
    wrong = {"zones.0.time_s": "soon", "zones.1.nitrogen": "perhaps", "deposit.depth.value": "x"}
    with pytest.raises(BodyUnreadable) as refused:
        parse_body_form(FIELDS | wrong)
    assert [fault.field for fault in refused.value.faults] == list(wrong)


def test_an_empty_form_misses_everything() -> None:
    with pytest.raises(BodyUnreadable) as refused:
        parse_body_form({})
    assert {fault.sentence for fault in refused.value.faults} == {"is missing"}


@pytest.mark.parametrize(
    "fields",
    [
        {"zones": "x", "zones.0.time_s": "1"},
        {"zones.0.time_s": "1", "zones": "x"},
        {"a.b.c.d.e.f.g.h": "1"},
        {f"f{n}": "1" for n in range(2001)},
    ],
)
def test_a_form_that_contradicts_itself_or_is_too_deep_is_refused(fields: dict[str, str]) -> None:
    with pytest.raises(BodyUnreadable):
        nest_fields(fields)


@given(st.dictionaries(st.text(max_size=12), st.text(max_size=12), max_size=8))
def test_no_form_breaks_the_reader(fields: dict[str, str]) -> None:
    with pytest.raises(BodyUnreadable):
        parse_body_form(fields)


@given(st.sampled_from(sorted(FIELDS)), st.text(max_size=30))
def test_no_text_in_any_field_breaks_the_reader(name: str, text: str) -> None:
    refusals: tuple[Fault, ...] = ()
    try:
        parse_body_form(FIELDS | {name: text})
    except BodyUnreadable as refused:
        refusals = refused.faults
    assert all(fault.sentence for fault in refusals)
