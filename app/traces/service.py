"""Keeps traces: the file as it came, and its samples exactly as the file spells them."""

from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.core.refusals import Conflict, Unacceptable
from app.files.service import keep_file
from app.numerics.sample_codec import ScaledColumn, pack_samples
from app.traces.files import LoggerReading, TemperatureColumn
from app.traces.rules import Channel, ChannelMap, ReadingChoices, check_channels_fit
from app.traces.tables import Trace

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class QuestionsOpen(Conflict):
    """The file does not say something that only a person can answer."""

    code = "traces.questions_open"


class TooShort(Unacceptable):
    """A trace needs two samples or more."""

    code = "traces.too_short"


def check_answered(reading: LoggerReading, channel_map: ChannelMap) -> None:
    """Refuse with QuestionsOpen while something about a column in use must still be answered."""
    used = {channel.column for channel in channel_map.in_use}
    for question in reading.questions:
        if not question.is_of_column or question.column in used:
            raise QuestionsOpen(question.sentence, field=question.about)


def keep_trace(
    session: Session,
    content: bytes,
    *,
    file_name: str,
    reading: LoggerReading,
    choices: ReadingChoices,
    channel_map: ChannelMap,
    zone: ZoneInfo,
    person: Person,
    now: datetime,
) -> Trace:
    """Keep a read file as a trace; the caller's audit entry names both digests.

    Raises what compose_trace raises. `zone` is where a logger's own clock is set when its file
    gives dates without a zone.
    """
    trace = compose_trace(reading, choices=choices, channel_map=channel_map, zone=zone)
    digest = keep_file(session, content, by_id=person.account_id, now=now)
    return keep_composed(
        session, trace, file_sha256=digest, file_name=file_name, person=person, now=now
    )


def compose_trace(
    reading: LoggerReading, *, choices: ReadingChoices, channel_map: ChannelMap, zone: ZoneInfo
) -> Trace:
    """Return a read file as the trace it will be kept as, which needs no database.

    Raises QuestionsOpen, ChannelWithoutColumn and TooShort.
    """
    columns = {column.index: column for column in reading.columns}
    check_channels_fit(channel_map, columns=columns)
    check_answered(reading, channel_map)
    if reading.sample_count < 2:  # noqa: PLR2004 - a line needs two ends
        raise TooShort("A trace needs at least 2 samples; this file has 1.", field="file")
    used = [(channel, columns[channel.column]) for channel in channel_map.in_use]
    blob = pack_samples(
        reading.time.ticks,
        tick_decimals=-reading.time.exponent,
        columns=[ScaledColumn(c.values, c.decimals, c.missing) for _, c in used],
    )
    return Trace(
        reading=describe_reading(reading, choices),
        channels=[_describe_channel(channel, column) for channel, column in used],
        started_at=find_start(reading, ZoneInfo(choices.zone) if choices.zone else zone),
        rows=reading.sample_count,
        duration_s=float(reading.time.elapsed_s()[-1]),
        samples=blob,
        samples_sha256=sha256(blob).hexdigest(),
    )


def keep_composed(
    session: Session,
    trace: Trace,
    *,
    file_sha256: str,
    file_name: str,
    person: Person,
    now: datetime,
) -> Trace:
    """Keep a composed trace of a file that is kept; the caller's audit entry names both digests."""
    trace.file_sha256, trace.file_name = file_sha256, file_name
    trace.by_id, trace.at = person.account_id, now
    session.add(trace)
    session.flush()
    return trace


def describe_reading(reading: LoggerReading, choices: ReadingChoices) -> dict[str, Any]:
    """Return how a file was read, as it is kept beside the trace."""
    return {
        "choices": choices.model_dump(mode="json", exclude_defaults=True),
        "encoding": reading.encoding,
        "taken": [{"about": one.about, "what": one.what, "why": one.why} for one in reading.taken],
        "delimiter": str(reading.delimiter),
        "decimal_mark": str(reading.decimal_mark),
        "time_form": str(reading.time.form),
        "first_time": reading.time.first_written,
        "assumptions": list(reading.assumptions),
        "findings": [
            {
                "column": finding.column,
                "kind": str(finding.kind),
                "first_row": finding.first_row,
                "last_row": finding.last_row,
                "count": finding.count,
                "sentence": finding.sentence,
            }
            for finding in reading.findings
        ],
    }


def find_start(reading: LoggerReading, zone: ZoneInfo) -> datetime | None:
    """Return the moment of the first sample where the file gives dates, else None."""
    if not reading.time.is_absolute:
        return None
    seconds = int(reading.time.ticks[0]) / 10.0**-reading.time.exponent
    moment = _EPOCH + timedelta(seconds=seconds)
    return moment if reading.time.is_zoned else moment.replace(tzinfo=zone).astimezone(UTC)


def _describe_channel(channel: Channel, column: TemperatureColumn) -> dict[str, Any]:
    described: dict[str, Any] = {
        "name": channel.name,
        "role": str(channel.role),
        "designator": channel.designator,
        "column": column.index,
        "header": column.header[:200],
        "unit": str(column.unit),
        "decimals": column.decimals,
    }
    if column.computed_step_k is not None:
        described["computed_step_k"] = column.computed_step_k
    return described
