"""Columns as a history reads them: thousands at a time, so with as little work as can be."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any, Final

import msgspec
from sqlalchemy import ColumnElement, Dialect, String, Text, cast, type_coerce
from sqlalchemy.types import UserDefinedType

PLAIN_MOMENT_LENGTH: Final = 26

_decode = msgspec.json.Decoder().decode


def take_json(column: Any) -> ColumnElement[Any]:
    """Return a column of JSON that is read from its text; ValueError for a text that is none."""
    return type_coerce(cast(column, Text), _JsonText())


def take_word(column: Any) -> ColumnElement[str]:
    """Return a column of words as plain text; it equals the members of its enumeration."""
    return type_coerce(column, String())


def take_moment(column: Any) -> ColumnElement[Any]:
    """Return a column of moments in UTC; ValueError for a text that is none."""
    return type_coerce(column, _Moment())


def take_plain_moment(column: Any) -> ColumnElement[str]:
    """Return a column of moments as plain text in UTC: `2026-03-04 14:20:07.000000`."""
    return type_coerce(column, _PlainMoment())


def spell_plain_moment(moment: datetime) -> str:
    """Spell a moment as SQLite keeps it: `2026-03-04 14:20:07.000000`."""
    return moment.astimezone(UTC).isoformat(" ", "microseconds")[:PLAIN_MOMENT_LENGTH]


class _JsonText(UserDefinedType[Any]):
    cache_ok = True

    def get_col_spec(self, **_: object) -> str:
        return "TEXT"

    def result_processor(self, _dialect: Dialect, _coltype: object) -> Any:
        return _read_json


def _read_json(text: str | None) -> Any:
    if text is None:
        return None
    try:
        return _decode(text)
    except RecursionError:
        raise ValueError("a JSON text is nested too deeply") from None


class _Moment(UserDefinedType[Any]):
    cache_ok = True

    def get_col_spec(self, **_: object) -> str:
        return "TIMESTAMP WITH TIME ZONE"

    def result_processor(self, dialect: Dialect, _coltype: object) -> Callable[[Any], Any]:
        return _read_moment if dialect.name == "sqlite" else _turn_moment


def _read_moment(text: str | None) -> datetime | None:
    # SQLite keeps the text of a moment in UTC, without its offset.
    return None if text is None else datetime.fromisoformat(text + "+00:00")


def _turn_moment(moment: datetime | None) -> datetime | None:
    return None if moment is None else moment.astimezone(UTC)


class _PlainMoment(UserDefinedType[Any]):
    cache_ok = True

    def get_col_spec(self, **_: object) -> str:
        return "TIMESTAMP WITH TIME ZONE"

    def result_processor(self, dialect: Dialect, _coltype: object) -> Callable[[Any], Any] | None:
        return None if dialect.name == "sqlite" else spell_plain_moment
