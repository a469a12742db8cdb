"""Designators and serials: one spelling each, and a sentence for what is neither."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.boards.rules import (
    DesignatorUnusable,
    SerialUnusable,
    is_array_package,
    parse_designator,
    parse_serial,
    sort_key_of_designator,
)


def test_a_designator_is_upper_case_without_outer_blanks() -> None:
    assert parse_designator("  u3 ") == "U3"


def test_a_designator_is_composed_to_one_spelling() -> None:
    assert parse_designator("A\u0308" + "1") == "\u00c41"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "empty"),
        ("   ", "empty"),
        ("U 3", "a blank"),
        ("C1,C2", "“,”"),
        ("U\u200b3", "U+200B"),
        ("U\x003", "U+0000"),
        ("U\ud8003", "U+D800"),
        ("U" * 33, "33 characters; at most 32"),
    ],
)
def test_what_is_no_designator_is_refused_with_the_reason(text: str, told: str) -> None:
    with pytest.raises(DesignatorUnusable) as refused:
        parse_designator(text, field="designators.0")
    assert told in refused.value.sentence
    assert refused.value.field == "designators.0"


def test_a_designator_of_32_characters_is_allowed() -> None:
    assert len(parse_designator("U" * 32)) == 32


def test_upper_case_that_grows_is_measured_after_growing() -> None:
    with pytest.raises(DesignatorUnusable):
        parse_designator("ß" * 17)


@given(st.text(max_size=40))
def test_parsing_a_designator_twice_changes_nothing(text: str) -> None:
    try:
        once = parse_designator(text)
    except DesignatorUnusable:
        return
    assert parse_designator(once) == once
    assert 1 <= len(once) <= 32


@pytest.mark.parametrize("text", ["0417", "a-0417", "SN 0417/b", "ÄÖ:7", "=1+1", "00", "0x1F"])
def test_a_serial_stays_as_it_was_typed(text: str) -> None:
    assert parse_serial(f" {text} ") == text


def test_a_serial_is_composed_to_one_spelling() -> None:
    assert parse_serial("A\u0308") == "\u00c4"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "empty"),
        ("7" * 81, "81 characters; at most 80"),
        ("04\x1d17", "U+001D"),
        ("04\n17", "U+000A"),
        ("04\u200b17", "U+200B"),
        ("04\u202817", "U+2028"),
        ("\udfff", "U+DFFF"),
    ],
)
def test_what_is_no_serial_is_refused_with_the_reason(text: str, told: str) -> None:
    with pytest.raises(SerialUnusable) as refused:
        parse_serial(text, field="serial")
    assert told in refused.value.sentence
    assert refused.value.field == "serial"


def test_designators_are_ordered_by_their_numbers() -> None:
    names = ["C10", "R1", "C2", "C", "C1"]
    assert sorted(names, key=sort_key_of_designator) == ["C", "C1", "C2", "C10", "R1"]


@pytest.mark.parametrize(
    ("package", "is_array"),
    [
        ("BGA-96_9.0x13.0mm", True),
        ("csBGA285", True),
        ("WSON-8-1EP_6x5mm", True),
        ("R-PVQFN-N24", True),
        ("C_0402_1005Metric", False),
        ("SOIC-8_3.9x4.9mm", False),
        ("SONAR", False),
    ],
)
def test_array_packages_are_known_by_the_family_in_their_name(
    package: str, *, is_array: bool
) -> None:
    assert is_array_package(package) is is_array
