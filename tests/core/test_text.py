"""Text from outside has one spelling, and its length is that of the spelling."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError

from app.core.text import (
    TURNS_OF_DIRECTION,
    Code,
    Line,
    Note,
    OptionalLine,
    RowId,
    parse_line,
    parse_note,
)

REFUSED_KINDS = {"Cc", "Cs", "Zl", "Zp"}
DECOMPOSED = "Pru\u0308fling"
# One character before NFC and two after it (Unicode, composition exclusions).
GROWS = "\u0958"


class Label(BaseModel):
    """One field of each kind of text."""

    code: Code = "B1"
    line: Line = "x"
    optional: OptionalLine = ""
    note: Note = ""
    row: RowId = 1


def list_refused(**fields: object) -> list[str]:
    try:
        Label.model_validate(fields)
    except ValidationError as error:
        return [str(found["loc"][0]) for found in error.errors()]
    return []


def test_two_spellings_of_one_word_become_one() -> None:
    assert parse_line(DECOMPOSED) == parse_line("Prüfling") == "Pr\u00fcfling"


def test_outer_blanks_are_cut_and_inner_ones_stay() -> None:
    assert parse_line("  U 3 ") == "U 3"
    assert parse_note("\n first\n\nsecond\t\n") == "first\n\nsecond"


def test_line_ends_of_every_system_become_one() -> None:
    assert parse_note("one\r\ntwo\nthree") == "one\ntwo\nthree"


@pytest.mark.parametrize(
    "character", ["\x00", "\x07", "\x1b", "\x7f", "\x85", "\ud800", "\u2028", "\u2029"]
)
def test_a_character_that_no_text_may_hold_is_named_by_place_and_number(character: str) -> None:
    for parse in (parse_line, parse_note):
        with pytest.raises(ValueError, match=f"character 3 is U\\+{ord(character):04X}"):
            parse(f"ab{character}cd")


@pytest.mark.parametrize("number", [*range(0x202A, 0x202F), *range(0x2066, 0x206A)])
def test_a_character_that_turns_the_direction_is_refused_in_every_text(number: int) -> None:
    """Unicode Standard Annex 9, table 1 and 2: embeddings, overrides, isolates and their ends."""
    for parse in (parse_line, parse_note):
        with pytest.raises(ValueError, match=f"character 3 is U\\+{number:04X}, which turns"):
            parse(f"ab{chr(number)}cd")
    given = f"a{chr(number)}b"
    fields = dict.fromkeys(("code", "line", "optional", "note"), given)
    assert list_refused(**fields) == ["code", "line", "optional", "note"]


def test_marks_of_direction_that_turn_nothing_are_let_in() -> None:
    assert parse_line("a\u200eb\u200fc") == "a\u200eb\u200fc"


@pytest.mark.parametrize("character", ["\t", "\n", "\r"])
def test_a_line_holds_no_tab_and_no_line_end_and_a_note_does(character: str) -> None:
    with pytest.raises(ValueError, match="character 2"):
        parse_line(f"a{character}b")
    assert parse_note(f"a{character}b") == f"a{character}b"


@given(st.text())
def test_what_is_let_in_is_composed_trimmed_and_stays_so(text: str) -> None:
    try:
        parsed = parse_line(text)
    except ValueError:
        assert any(
            unicodedata.category(character) in REFUSED_KINDS or character in TURNS_OF_DIRECTION
            for character in text
        )
        return
    assert unicodedata.is_normalized("NFC", parsed)
    assert parsed == parsed.strip()
    assert not any(unicodedata.category(character) in REFUSED_KINDS for character in parsed)
    assert parse_line(parsed) == parsed


@pytest.mark.parametrize(("field", "most"), [("code", 64), ("line", 200), ("optional", 200)])
def test_a_length_is_measured_after_composition(field: str, most: int) -> None:
    assert list_refused(**{field: "x" * most}) == []
    assert list_refused(**{field: "x" * (most + 1)}) == [field]
    assert list_refused(**{field: GROWS * (most // 2)}) == []
    assert list_refused(**{field: GROWS * (most // 2 + 1)}) == [field]


def test_a_note_holds_four_thousand_characters() -> None:
    assert list_refused(note="x" * 4000) == []
    assert list_refused(note="x" * 4001) == ["note"]
    assert list_refused(note=GROWS * 2001) == ["note"]


@pytest.mark.parametrize("blank", ["", " ", "\u00a0\u2003"])
def test_blanks_alone_are_no_code_and_no_line(blank: str) -> None:
    assert list_refused(code=blank, line=blank, optional=blank, note=blank) == ["code", "line"]


def test_the_sentence_about_a_grown_text_says_how_long_it_is() -> None:
    with pytest.raises(ValidationError, match="must have 1 to 64 characters, not 66"):
        Label(code=GROWS * 33)


@pytest.mark.parametrize("row", [0, -1, 2**31, "x", 1.5, None])
def test_a_number_that_no_row_has_is_refused(row: object) -> None:
    assert list_refused(row=row) == ["row"]


def test_the_largest_row_number_is_let_in() -> None:
    assert list_refused(row=2**31 - 1) == []
