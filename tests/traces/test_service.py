"""Traces kept and read back: every digit, the file whole, and damage found."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.audit import service as audit
from app.audit.rules import Subject
from app.files.queries import get_content
from app.traces.files import read_logger_file
from app.traces.queries import SamplesDamaged, TraceUnknown, get_trace, load_samples, unpack_trace
from app.traces.rules import ChannelMap, ReadingChoices
from app.traces.service import QuestionsOpen, TooShort, keep_trace
from app.traces.tables import Trace

VIENNA = ZoneInfo("Europe/Vienna")
ONE = ChannelMap.model_validate({"channels": [{"column": 1, "name": "T1", "role": "body"}]})
PLAIN = b"Time (s),A (\xc2\xb0C)\n0.00,21.50\n0.25,22.75\n0.50,OPEN\n0.75,-3.05\n"


def keep(
    session: Session,
    content: bytes,
    person: Person,
    now: datetime,
    *,
    channel_map: ChannelMap = ONE,
    choices: ReadingChoices = ReadingChoices(),  # noqa: B008 - frozen
) -> Trace:
    trace = keep_trace(
        session,
        content,
        file_name="log.csv",
        reading=read_logger_file(content, choices=choices),
        choices=choices,
        channel_map=channel_map,
        zone=VIENNA,
        person=person,
        now=now,
    )
    audit.append(
        session,
        action="traces.keep",
        subject=Subject("trace", trace.id),
        actor=person.actor,
        now=now,
    )
    return trace


def test_every_digit_and_gap_comes_back(db: Session, odile: Person, now: datetime) -> None:
    trace = keep(db, PLAIN, odile, now)
    db.commit()
    db.expire_all()
    recorded = load_samples(db, get_trace(db, trace.id))
    (channel,) = recorded.channels
    assert [channel.column.spell(k) for k in range(4)] == ["21.50", "22.75", "", "-3.05"]
    assert [recorded.spell_time(k) for k in range(4)] == ["0.00", "0.25", "0.50", "0.75"]
    assert recorded.time_s.tolist() == [0.0, 0.25, 0.5, 0.75]
    assert np.isnan(channel.temperature_c()[2])
    assert get_content(db, trace.file_sha256) == PLAIN


def test_what_was_found_while_reading_is_kept_beside_it(
    db: Session, odile: Person, now: datetime
) -> None:
    trace = keep(db, PLAIN, odile, now)
    assert (trace.rows, trace.duration_s) == (4, 0.75)
    assert [finding["kind"] for finding in trace.reading["findings"]] == ["open"]
    assert trace.channels[0]["header"] == "A (°C)"


def test_the_same_file_is_kept_once_however_often_it_comes(
    db: Session, odile: Person, now: datetime
) -> None:
    first, second = keep(db, PLAIN, odile, now), keep(db, PLAIN, odile, now)
    assert first.file_sha256 == second.file_sha256
    assert db.scalar(text("SELECT count(*) FROM stored_files")) == 1


def test_a_loggers_own_clock_is_the_plants(db: Session, odile: Person, now: datetime) -> None:
    content = "When,A (°C)\n2026-03-04 10:00:00,21\n2026-03-04 10:00:01,22\n".encode()
    trace = keep(db, content, odile, now)
    assert trace.started_at == datetime(2026, 3, 4, 9, 0, tzinfo=UTC)


def test_an_unanswered_question_about_a_used_column_keeps_nothing(
    db: Session, odile: Person, now: datetime
) -> None:
    content = b"Time (s),A,B (\xc2\xb0C)\n0,21,5\n1,22,6\n"
    with pytest.raises(QuestionsOpen):
        keep(db, content, odile, now)
    other = ChannelMap.model_validate({"channels": [{"column": 2, "name": "B", "role": "body"}]})
    assert keep(db, content, odile, now, channel_map=other).rows == 2


def test_one_sample_is_no_trace(db: Session, odile: Person, now: datetime) -> None:
    content = b"Time (s),A (\xc2\xb0C)\n0,21\n1,22\n"
    reading = read_logger_file(content)
    short = type(reading)(**{**vars(reading), "rows": reading.rows[:1]})
    with pytest.raises(TooShort):
        keep_trace(
            db,
            content,
            file_name="x",
            reading=short,
            choices=ReadingChoices(),
            channel_map=ONE,
            zone=VIENNA,
            person=odile,
            now=now,
        )


def test_changed_samples_are_found(db: Session, odile: Person, now: datetime) -> None:
    trace = keep(db, PLAIN, odile, now)
    damaged = bytes([*trace.samples[:-1], trace.samples[-1] ^ 1])
    with pytest.raises(SamplesDamaged, match="were changed"):
        unpack_trace(trace, damaged)


def test_the_database_refuses_to_change_a_trace(db: Session, odile: Person, now: datetime) -> None:
    keep(db, PLAIN, odile, now)
    db.commit()
    with pytest.raises(DBAPIError):
        db.execute(text("UPDATE traces SET samples_sha256 = file_sha256"))


def test_an_unknown_trace_is_said_so(db: Session) -> None:
    with pytest.raises(TraceUnknown):
        get_trace(db, 999)
