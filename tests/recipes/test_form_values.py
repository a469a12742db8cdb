"""The texts of a form hold a body whole, and what was typed goes where it belongs."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.core.refusals import Fault
from app.recipes.body.forms import BodyUnreadable, parse_body
from app.recipes.body.recipe import RecipeBody
from app.recipes.form_sheet import lay_out
from app.recipes.form_values import (
    arrange,
    join_words,
    place_faults,
    read_form,
    spell_fields,
    split_words,
)
from app.recipes.rules import digest_of
from tests.recipes.conftest import BODY

PASTE = {
    "kind": "paste",
    "alloy": "Sn96.5Ag3.0Cu0.5 (SAC305)",
    "foil_thickness": {"value": "5", "unit": "thou"},
    "apertures": [
        {"shape": "square", "length": {"value": "0.80", "unit": "mm"}, "count": 16, "name": "pad"},
        {
            "shape": "rect",
            "length": {"value": "0.90", "unit": "mm"},
            "width": {"value": "12", "unit": "thou"},
            "count": 48,
        },
    ],
}


def build(**changes: object) -> RecipeBody:
    body: dict[str, Any] = BODY.model_dump(mode="json")
    return parse_body(body | changes)


BODIES = (
    BODY,
    build(deposit=PASTE),
    build(deposit={"kind": "none"}),
    build(cautions=["Mind the crystal.\nIt is at 3 o'clock.", "Hot; very"]),
    build(
        applies_to={
            "assembly_part_number": 'A "1"',
            "revisions": ["A", "B 2"],
            "part_numbers": ["BC847B,215", 'x"y', "74 LVC"],
            "package_family": "QFN",
        }
    ),
    build(placement={**BODY.placement.model_dump(mode="json"), "force_n": None,
                     "height": {"value": "-0,10", "unit": "mm"}}),
)  # fmt: skip


@pytest.mark.parametrize("body", BODIES)
def test_every_field_of_a_body_survives_its_form(body: RecipeBody) -> None:
    posted = {name: (text,) for name, text in spell_fields(body).items()}
    assert digest_of(read_form(arrange(posted))) == digest_of(body)


@given(st.lists(st.text(min_size=1, max_size=8).filter(str.strip), max_size=5))
def test_words_come_back_as_they_were_joined(words: list[str]) -> None:
    assert split_words(join_words(words)) == tuple(words)


def test_words_may_be_typed_as_people_type_them() -> None:
    assert split_words('U3, U4;U5\nU6  "BC847B,215"') == ("U3", "U4", "U5", "U6", "BC847B,215")


def test_blank_rows_are_closed_up_so_that_a_fault_is_beside_its_row() -> None:
    fields = {name: (text,) for name, text in spell_fields(BODY).items()}
    del fields["thermocouples.1.channel"]
    for name in [name for name in fields if name.startswith("thermocouples.0.")]:
        fields[name] = (" ",)
    arranged = arrange(fields)
    assert arranged["thermocouples.1.channel"] == "T3"
    with pytest.raises(BodyUnreadable) as refused:
        read_form(arranged)
    assert "thermocouples.0.channel" in [one.field for one in refused.value.faults]


def test_boxes_of_one_name_are_put_together_and_a_box_beats_the_text_for_its_absence() -> None:
    posted = {"lift_rule.roles": ("joint_centre", "body"), "zones.0.nitrogen": ("no", "yes")}
    assert arrange(posted) == {"lift_rule.roles": "joint_centre, body", "zones.0.nitrogen": "yes"}


def test_what_was_typed_for_another_kind_of_deposit_is_kept_and_not_read() -> None:
    fields = {**spell_fields(BODY), "deposit.foil_thickness": "nonsense", "deposit.alloy": "x"}
    assert read_form(fields) == BODY


def test_a_fault_within_a_field_stands_at_the_field_and_an_unknown_one_at_the_top() -> None:
    places = ("deposit", "deposit.depth", "zones.0.time_s")
    found = [("deposit.depth.value", "a"), ("deposit.new", "b"), ("nowhere", "c")]
    assert place_faults(found, places=places) == {
        "deposit.depth": ("a",),
        "deposit": ("b",),
        "": ("c",),
    }


def test_every_field_of_the_body_has_its_place_on_the_sheet() -> None:
    for body in BODIES:
        fields = spell_fields(body)
        names = {
            one.name
            for group in lay_out(fields).groups
            for one in (*group.fields, *(f for row in (group.rows.rows if group.rows else ())
                                         for f in row.fields))
        }  # fmt: skip
        assert fields.keys() <= names


def test_the_sheet_computes_ratios_millimetres_and_the_whole_time() -> None:
    groups = {group.title: group for group in lay_out(spell_fields(BODIES[1])).groups}
    foil = groups["Paste through a foil"]
    assert foil.rows is not None
    # Square of 0.80 mm in 0.127 mm: 0.80/(4 x 0.127) = 1.574…, 0.80/0.127 = 6.299…; cut, not
    # rounded. Limits: IPC-7525B, as seen in a public restatement.
    assert foil.rows.rows[0].computed.startswith(
        "area ratio 1.57 reaches 0.66; aspect ratio 6.29 reaches 1.5"
    )
    assert foil.fields[1].computed == "= 0.127 mm"
    assert groups["Head heights"].fields[1].computed == "= 0.508 mm"
    assert groups["Zones"].computed == "370 s in all"


@given(st.dictionaries(st.sampled_from(sorted(spell_fields(BODIES[1]))), st.text(max_size=20)))
def test_no_text_breaks_the_sheet(texts: dict[str, str]) -> None:
    fields = arrange({name: (text,) for name, text in (spell_fields(BODIES[1]) | texts).items()})
    faults: tuple[Fault, ...] = ()
    try:
        read_form(fields)
    except BodyUnreadable as refused:
        faults = refused.faults
    assert len(lay_out(fields, faults).faults) == len(faults)


@given(st.dictionaries(st.text(max_size=14), st.text(max_size=10), max_size=6))
def test_no_field_name_breaks_the_sheet(texts: dict[str, str]) -> None:
    lay_out(arrange({name: (text,) for name, text in texts.items()}))
