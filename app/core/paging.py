"""Long lists in pieces: a cursor that says where the next piece begins."""

import base64
import binascii
import re
from collections.abc import Sequence
from typing import Annotated, Final, Generic, TypeVar

from fastapi import Depends, Query
from pydantic import BaseModel, Field
from sqlalchemy import Select
from sqlalchemy.orm import QueryableAttribute, Session

from app.core.refusals import Unacceptable

Item = TypeVar("Item")
Row = TypeVar("Row")
MAX_LIMIT: Final = 200
_NUMBER: Final = re.compile(r"[0-9]{1,18}")


class CursorUnreadable(Unacceptable):
    """The cursor is not one that Wickbook gave."""

    code = "core.cursor_unreadable"


class Piece(BaseModel, Generic[Item]):
    """A piece of a list; `next_cursor` is null at the end."""

    items: list[Item]
    next_cursor: str | None = Field(
        default=None, description="Hand it back as `cursor` for the next piece; null at the end."
    )


class Paging:
    """Where to begin and how many to return."""

    def __init__(
        self,
        cursor: Annotated[
            str | None, Query(max_length=60, description="The `next_cursor` of the piece before.")
        ] = None,
        limit: Annotated[int, Query(ge=1, le=MAX_LIMIT, description="How many at most.")] = 50,
    ) -> None:
        self.after_id = parse_cursor(cursor) if cursor else None
        self.limit = limit


AskedPage = Annotated[Paging, Depends(Paging)]


def spell_cursor(last_id: int) -> str:
    """Spell the cursor after the row with this id."""
    return base64.urlsafe_b64encode(b"after:%d" % last_id).decode().rstrip("=")


def parse_cursor(cursor: str) -> int:
    """Return the id that a cursor stands after; CursorUnreadable for any other text."""
    try:
        text = base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)).decode()
        word, _, number = text.partition(":")
    except (ValueError, binascii.Error):
        word, number = "", ""
    # The decoder passes over what it does not know, so the spelling is compared as a whole.
    is_ours = word == "after" and _NUMBER.fullmatch(number) and spell_cursor(int(number)) == cursor
    if not is_ours:
        raise CursorUnreadable(
            "This cursor was not given by Wickbook; begin again without one.", field="cursor"
        )
    return int(number)


def take_piece(
    session: Session,
    rows: Select[Row],
    *,
    key: QueryableAttribute[int],
    paging: Paging,
    newest_first: bool = False,
) -> tuple[Sequence[Row], str | None]:
    """Run the select for one piece, ordered by `key`; return its rows and the next cursor."""
    if paging.after_id is not None:
        rows = rows.where(key < paging.after_id if newest_first else key > paging.after_id)
    ordered = rows.order_by(key.desc() if newest_first else key).limit(paging.limit + 1)
    found = session.scalars(ordered).all()
    piece = found[: paging.limit]
    more = len(found) > paging.limit
    return piece, spell_cursor(getattr(piece[-1], key.key)) if more else None
