"""Pieces of a list hold every row once, and only a cursor that was given opens the next one."""

import base64

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.core.db import Sessions
from app.core.paging import (
    MAX_LIMIT,
    CursorUnreadable,
    Paging,
    parse_cursor,
    spell_cursor,
    take_piece,
)
from app.plant.tables import Bench
from tests.conftest import NOW


def add_benches(session: Session, ids: set[int]) -> None:
    session.add_all(
        Bench(id=number, code=f"B{number}", title="x", has_nitrogen=False, created_at=NOW)
        for number in ids
    )
    session.flush()


def list_pieces(session: Session, *, limit: int, newest_first: bool) -> list[list[int]]:
    pieces: list[list[int]] = []
    cursor = None
    while True:
        rows, cursor = take_piece(
            session,
            select(Bench),
            key=Bench.id,
            paging=Paging(cursor, limit),
            newest_first=newest_first,
        )
        pieces.append([row.id for row in rows])
        if cursor is None:
            return pieces


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    ids=st.sets(st.integers(1, 2**31 - 1), max_size=30),
    limit=st.integers(1, 12),
    newest_first=st.booleans(),
)
def test_the_pieces_hold_every_row_once_and_in_order(
    sessions: Sessions,
    ids: set[int],
    limit: int,
    newest_first: bool,  # noqa: FBT001
) -> None:
    with sessions.write() as session:
        add_benches(session, ids)
        pieces = list_pieces(session, limit=limit, newest_first=newest_first)
        assert [number for piece in pieces for number in piece] == sorted(ids, reverse=newest_first)
        assert all(len(piece) == limit for piece in pieces[:-1])
        # No piece is empty, unless the whole list is.
        assert pieces[-1] or not ids
        session.rollback()


def test_a_row_that_came_meanwhile_moves_no_other(db: Session) -> None:
    add_benches(db, {10, 20, 30, 40})
    rows, cursor = take_piece(db, select(Bench), key=Bench.id, paging=Paging(None, 2))
    assert [row.id for row in rows] == [10, 20]
    add_benches(db, {5, 15, 25})
    rows, cursor = take_piece(db, select(Bench), key=Bench.id, paging=Paging(cursor, 2))
    assert [row.id for row in rows] == [25, 30]


@given(st.integers(0, 10**18 - 1))
def test_a_cursor_comes_back_as_the_row_it_stands_after(last_id: int) -> None:
    cursor = spell_cursor(last_id)
    assert parse_cursor(cursor) == last_id
    assert len(cursor) <= 60
    assert cursor.isascii()


def encode(text: str) -> str:
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


@pytest.mark.parametrize(
    "cursor",
    [
        "nonsense",
        "5",
        "=",
        "§",
        "\x00",
        "\ud800",
        encode("after:"),
        encode("after:-1"),
        encode("after:1.5"),
        encode("after:٣"),
        encode("after:007"),
        encode("after:" + "9" * 19),
        encode("before:5"),
        spell_cursor(5) + "==",
        spell_cursor(5)[:4] + "!" + spell_cursor(5)[4:],
        spell_cursor(5) + "\n",
    ],
)
def test_a_cursor_that_was_not_given_is_refused(cursor: str) -> None:
    with pytest.raises(CursorUnreadable) as refused:
        parse_cursor(cursor)
    assert refused.value.field == "cursor"


@given(st.text(max_size=60) | st.text("ABCDEFYWZ0ZXI6-_=", max_size=60))
def test_any_other_text_is_refused_or_was_given(text: str) -> None:
    try:
        assert spell_cursor(parse_cursor(text)) == text
    except CursorUnreadable:
        return


@given(st.integers(1, MAX_LIMIT))
def test_a_page_begins_at_the_front_without_a_cursor(limit: int) -> None:
    paging = Paging(None, limit)
    assert (paging.after_id, paging.limit) == (None, limit)
