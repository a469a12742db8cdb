"""Every fault is a sentence that a person can act on, and repeats little of what was sent."""

from enum import StrEnum
from typing import Annotated, Any, Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from app.core.faults import _SENTENCES, SHOWN_LENGTH, faults_of, spell_fault
from app.core.text import Line


class Mark(StrEnum):
    """A choice of two."""

    POINT = "point"
    COMMA = "comma"


class Inner(BaseModel):
    """A thing within a thing."""


class Zone(BaseModel):
    """A small thing of every kind of value."""

    model_config = ConfigDict(extra="forbid")

    time_s: Annotated[int, Field(ge=1, le=1800)] = 60
    peak_c: Annotated[float, Field(gt=0, lt=400, allow_inf_nan=False)] = 240
    is_hot: bool = True
    name: Annotated[str, StringConstraints(min_length=2, max_length=5)] = "top"
    mark: Mark = Mark.POINT
    side: Literal["top", "bottom"] = "top"
    steps: Annotated[list[int], Field(min_length=1, max_length=3)] = [1]
    line: Line = "x"
    pair: tuple[int, ...] = ()
    inner: Inner | None = None
    words: dict[str, str] = {}


class Programme(BaseModel):
    """Zones, so that a fault lies deep."""

    zones: list[Zone]


# Kind of error, the value that is wrong, and the whole sentence.
REACHED: list[tuple[str, dict[str, Any], str, str]] = [
    ("extra_forbidden", {"colour": 1}, "colour", "is not a field of this"),
    ("greater_than_equal", {"time_s": 0}, "time_s", "must be at least 1, not 0"),
    ("less_than_equal", {"time_s": 9999}, "time_s", "must be at most 1800, not 9999"),
    ("greater_than", {"peak_c": -0.5}, "peak_c", "must be more than 0, not -0.5"),
    ("less_than", {"peak_c": 400}, "peak_c", "must be less than 400, not 400"),
    ("string_too_long", {"name": "bottom"}, "name", "may have at most 5 characters"),
    ("string_too_short", {"name": "t"}, "name", "must have at least 2 characters"),
    ("too_long", {"steps": [1] * 9}, "steps", "may have at most 3 entries, not 9"),
    ("too_short", {"steps": []}, "steps", "must have at least 1 entries, not 0"),
    ("string_unicode", {"name": "\ud800"}, "name", "holds a character that no text may hold"),
    ("finite_number", {"peak_c": float("inf")}, "peak_c", "must be a finite number, not inf"),
    ("float_parsing", {"peak_c": "warm"}, "peak_c", "must be a number, not warm"),
    ("float_type", {"peak_c": None}, "peak_c", "must be a number, not nothing"),
    ("int_parsing", {"time_s": "long"}, "time_s", "must be a whole number, not long"),
    ("int_type", {"time_s": [1]}, "time_s", "must be a whole number, not a list"),
    ("int_from_float", {"time_s": 1.5}, "time_s", "must be a whole number, not 1.5"),
    (
        "int_parsing_size",
        {"time_s": "9" * 5_000},
        "time_s",
        "must be a whole number of at most 10 digits",
    ),
    ("bool_parsing", {"is_hot": "maybe"}, "is_hot", "must be yes or no, not maybe"),
    ("string_type", {"name": 5}, "name", "must be text, not 5"),
    ("list_type", {"steps": 1}, "steps", "must be a list, not 1"),
    ("tuple_type", {"pair": "no"}, "pair", "must be a list, not no"),
    ("model_type", {"inner": [1]}, "inner", "must be an object, not a list"),
    ("dict_type", {"words": 7}, "words", "must be an object, not 7"),
    ("literal_error", {"side": "left"}, "side", "must be 'top' or 'bottom', not left"),
    ("enum", {"mark": ""}, "mark", "must be 'point' or 'comma', not ''"),
]


def refuse(model: type[BaseModel], value: object) -> ValidationError:
    with pytest.raises(ValidationError) as refused:
        model.model_validate(value)
    return refused.value


def refuse_attributes(model: type[BaseModel], value: object) -> ValidationError:
    """Refuse as a web route does, which also takes the attributes of an object."""
    with pytest.raises(ValidationError) as refused:
        model.model_validate(value, from_attributes=True)
    return refused.value


@pytest.mark.parametrize(("kind", "value", "field", "sentence"), REACHED)
def test_a_kind_of_error_has_its_sentence(
    kind: str, value: dict[str, Any], field: str, sentence: str
) -> None:
    error = refuse(Zone, value)
    assert [found["type"] for found in error.errors()] == [kind]
    (fault,) = faults_of(error)
    assert (fault.field, fault.sentence) == (field, sentence)


def test_a_missing_value_is_named() -> None:
    (fault,) = faults_of(refuse(Programme, {}))
    assert (fault.field, fault.sentence) == ("zones", "is missing")


def test_every_sentence_of_the_table_is_reached() -> None:
    assert {kind for kind, _, _, _ in REACHED} | {"missing", "model_attributes_type"} == set(
        _SENTENCES
    )


def test_a_body_that_is_no_object_says_so() -> None:
    (fault,) = faults_of(refuse_attributes(Programme, [1]))
    assert fault.sentence == "must be an object, not a list"


def test_a_fault_deep_inside_is_named_by_its_path() -> None:
    error = refuse(Programme, {"zones": [{}, {"time_s": 9999}]})
    assert [fault.field for fault in faults_of(error)] == ["zones.1.time_s"]


def test_every_fault_is_told_at_once() -> None:
    error = refuse(Zone, {"time_s": 0, "peak_c": "warm", "colour": 1})
    assert {fault.field for fault in faults_of(error)} == {"time_s", "peak_c", "colour"}


@pytest.mark.parametrize("part", ["body", "query", "path", "header"])
def test_the_part_of_the_request_is_left_out_of_the_path(part: str) -> None:
    found = {"type": "missing", "loc": (part, "zones", 0, "time_s"), "msg": "", "input": None}
    assert spell_fault(found).field == "zones.0.time_s"
    assert spell_fault({**found, "loc": (part,)}).field == part


def test_a_sentence_of_a_rule_is_passed_on_as_it_is() -> None:
    (fault,) = faults_of(refuse(Zone, {"line": "a\x00b"}))
    assert fault.sentence == "character 2 is U+0000, which no text may hold"


def test_a_long_value_is_cut_and_what_cannot_be_printed_is_replaced() -> None:
    (fault,) = faults_of(refuse(Zone, {"time_s": "\x1b[31m\u202e" + "w" * 500}))
    assert fault.sentence == "must be a whole number, not �[31m�" + "w" * 54 + "…"
    (fault,) = faults_of(refuse(Zone, {"\x00" + "n" * 500: 1}))
    assert fault.field == "�" + "n" * (SHOWN_LENGTH - 1) + "…"


wild_text = st.text(st.characters(), min_size=1, max_size=200)
wild = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | wild_text,
    lambda inner: st.lists(inner, max_size=4),
    max_leaves=8,
)
broken_zones = st.dictionaries(st.sampled_from(sorted(Zone.model_fields)) | wild_text, wild)


@given(broken_zones)
def test_no_fault_repeats_much_or_what_cannot_be_printed(value: dict[str, Any]) -> None:
    try:
        Zone.model_validate(value)
    except ValidationError as error:
        for fault in faults_of(error):
            assert fault.sentence
            assert fault.sentence.isprintable()
            assert fault.field.isprintable()
            assert len(fault.field) <= SHOWN_LENGTH + 1
            fault.sentence.encode()
            sent = [text for text in (*value, *value.values()) if isinstance(text, str)]
            long = [text[: SHOWN_LENGTH + 1] for text in sent if len(text) > SHOWN_LENGTH]
            assert not any(text in fault.sentence for text in long)


def test_the_place_in_broken_json_is_no_field() -> None:
    found = {"type": "json_invalid", "loc": ("body", 17), "msg": "JSON decode error", "input": {}}
    fault = spell_fault(found)
    assert (fault.field, fault.sentence) == ("body", "is not valid JSON, from character 17 on")
