"""What a request asks of a history or of the trail, as it came in the address."""

from collections.abc import Mapping
from typing import Annotated, Final
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from fastapi import Depends, Query
from pydantic import AfterValidator
from sqlalchemy import Select

from app.audit.tables import AuditEntry
from app.core.text import parse_line
from app.history.queries import select_entries
from app.history.rules import EventKind, FilterUnreadable, parse_period
from app.history.story import StoryFilter
from app.jobs.rules import parse_job

LARGEST_ID: Final = 2**31 - 1
_ID_DIGITS: Final = 10

Text = Annotated[str, Query(max_length=64), AfterValidator(parse_line)]
Day = Annotated[str, Query(max_length=20, description="A day of the plant, like `2026-03-04`.")]


class AskedStory:
    """Which lines of a board's history are asked for; everything blank asks for all."""

    def __init__(
        self,
        kind: Annotated[
            str, Query(max_length=24, description=f"One of {', '.join(EventKind)}.")
        ] = "",
        job: Annotated[Text, Query(max_length=64, description="`J-00042` or `42`.")] = "",
        designator: Text = "",
        person: Annotated[str, Query(max_length=12, description="An account's number.")] = "",
        first: Annotated[Day, Query(alias="from", max_length=20)] = "",
        last: Annotated[Day, Query(alias="to", max_length=20)] = "",
    ) -> None:
        self.values = {
            "kind": kind,
            "job": job,
            "designator": designator,
            "person": person,
            "from": first,
            "to": last,
        }

    def parse(self, zone: ZoneInfo) -> StoryFilter:
        """Return the filter; FilterUnreadable and DayUnreadable name the field."""
        values = self.values
        return StoryFilter(
            kind=_parse_kind(values["kind"]),
            job_id=_parse_job(values["job"]),
            designator=values["designator"] or None,
            account_id=parse_id(values["person"], field="person"),
            period=parse_period(values["from"], values["to"], zone),
        )

    def spell_query(self, **more: str) -> str:
        """Spell what is asked for as a query, `?` before it; nothing when all is blank."""
        return spell_query({**self.values, **more})


class AskedTrail:
    """Which entries of the audit trail are asked for."""

    def __init__(
        self,
        action: Annotated[Text, Query(max_length=64, description="`jobs.open`")] = "",
        person: Annotated[str, Query(max_length=12, description="An account's number.")] = "",
        subject: Annotated[Text, Query(max_length=64, description="`job`, `run`, `board` …")] = "",
        number: Annotated[
            str, Query(max_length=12, description="The number of the thing acted on.")
        ] = "",
        board: Annotated[str, Query(max_length=12, description="A board's number.")] = "",
        job: Annotated[Text, Query(max_length=64, description="`J-00042` or `42`.")] = "",
        first: Annotated[Day, Query(alias="from", max_length=20)] = "",
        last: Annotated[Day, Query(alias="to", max_length=20)] = "",
    ) -> None:
        self.values = {
            "action": action,
            "person": person,
            "subject": subject,
            "number": number,
            "board": board,
            "job": job,
            "from": first,
            "to": last,
        }

    def spell_query(self, **more: str) -> str:
        """Spell what is asked for as a query, `?` before it."""
        return spell_query({**self.values, **more})


StoryAsked = Annotated[AskedStory, Depends(AskedStory)]
TrailAsked = Annotated[AskedTrail, Depends(AskedTrail)]


def select_asked(asked: AskedTrail, zone: ZoneInfo) -> Select[AuditEntry]:
    """Return the select of the entries that are asked for.

    FilterUnreadable and DayUnreadable name the field.
    """
    values = asked.values
    return select_entries(
        action=values["action"] or None,
        actor_id=parse_id(values["person"], field="person"),
        subject_kind=values["subject"] or None,
        subject_id=parse_id(values["number"], field="number"),
        board_id=parse_id(values["board"], field="board"),
        job_id=_parse_job(values["job"]),
        period=parse_period(values["from"], values["to"], zone),
    )


def spell_query(values: Mapping[str, str]) -> str:
    """Spell the values that say something as a query, `?` before it; nothing for none."""
    given = {name: value for name, value in values.items() if value}
    return f"?{urlencode(given)}" if given else ""


def parse_id(text: str, *, field: str) -> int | None:
    """Return a number typed into a filter, None for a blank; FilterUnreadable otherwise."""
    typed = text.strip()
    if not typed:
        return None
    is_number = typed.isascii() and typed.isdigit() and len(typed) <= _ID_DIGITS
    if not is_number or not 1 <= int(typed) <= LARGEST_ID:
        raise FilterUnreadable(f"must be a whole number from 1 to {LARGEST_ID}", field=field)
    return int(typed)


def _parse_kind(text: str) -> EventKind | None:
    if not text:
        return None
    try:
        return EventKind(text)
    except ValueError:
        raise FilterUnreadable(f"must be one of {', '.join(EventKind)}", field="kind") from None


def _parse_job(text: str) -> int | None:
    if not text:
        return None
    found = int(text) if text.isascii() and text.isdigit() and len(text) < _ID_DIGITS else None
    found = found or parse_job(text)
    if found is None:
        raise FilterUnreadable("must be a job's number like J-00042", field="job")
    return found
