"""Serials that come together, and codes that follow one another."""

import pytest

from app.boards.rules import (
    SerialsUnusable,
    SerialUnusable,
    TooManySerials,
    parse_serials,
    suggest_next_revision,
)


def test_serials_keep_their_order_their_zeros_and_their_case() -> None:
    assert parse_serials([" 0417", "", "aB 1 ", "AB 1"]) == ("0417", "aB 1", "AB 1")


def test_every_line_that_cannot_be_taken_is_named() -> None:
    with pytest.raises(SerialsUnusable) as refused:
        parse_serials(["0417", "0418", "", "0417", "x" * 81, "a\x07b"], known={"0418"})
    faults = [(fault.field, fault.sentence.partition(":")[0]) for fault in refused.value.faults]
    assert faults == [
        ("serials.1", "Line 2"),
        ("serials.3", "Line 4"),
        ("serials.4", "Line 5"),
        ("serials.5", "Line 6"),
    ]


def test_none_and_too_many_are_refused() -> None:
    with pytest.raises(SerialUnusable):
        parse_serials(["", "  "])
    assert len(parse_serials([str(number) for number in range(500)])) == 500
    with pytest.raises(TooManySerials, match="at most 500"):
        parse_serials([str(number) for number in range(501)])


@pytest.mark.parametrize(
    ("revision", "following"),
    [
        ("A", "B"),
        ("Z", "AA"),
        ("AZ", "BA"),
        ("r0.2.1", "r0.2.2"),
        ("r0.2.9", "r0.2.10"),
        ("09", "10"),
        ("B-", "B-2"),
        ("Prototype", "Prototype2"),
    ],
)
def test_the_code_that_follows_is_suggested(revision: str, following: str) -> None:
    assert suggest_next_revision(revision) == following


def test_codes_that_are_taken_are_passed_over() -> None:
    assert suggest_next_revision("A", taken={"A", "B", "C"}) == "D"
