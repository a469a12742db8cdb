"""What both databases promise: references hold, moments are UTC, a stale edit fails, writers wait.

SQLite's own promises stand here too: a commit is on the disk, and a writer takes its lock at once.
"""

from collections.abc import Iterator
from datetime import UTC, datetime
from importlib import import_module
from threading import Event, Thread
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import Engine, event, inspect, select, text, update
from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError, StatementError
from sqlalchemy.orm import Session
from sqlalchemy.orm.exc import StaleDataError

from app.accounts.rules import Person
from app.audit.rules import Subject
from app.audit.service import append
from app.core.db import Base, Sessions, UtcDateTime, Versioned, create_house_engine
from app.main import ROUTES
from app.plant.tables import Bench, BenchReading
from app.web.problems import Busy, get_refusal_of_database
from tests.conftest import NOW, Look


@pytest.fixture
def sqlite(database: str, sessions: Sessions) -> Engine:
    if database != "sqlite":
        pytest.skip("a promise of SQLite's file")
    return sessions.engine


@pytest.fixture
def second(sessions: Sessions, settings: object, database_url: str) -> Iterator[Engine]:
    """Return a second way to the same database, which waits for no lock."""
    engine = create_house_engine(database_url)
    if database_url.startswith("sqlite"):
        event.listen(engine, "connect", lambda one, _: one.execute("PRAGMA busy_timeout = 0"))
    yield engine
    engine.dispose()


def add_bench(session: Session, code: str, who: Person, *, created_at: datetime = NOW) -> Bench:
    bench = Bench(code=code, title="x", has_nitrogen=False, created_at=created_at)
    session.add(bench)
    session.flush()
    tell(session, bench, who)
    return bench


def tell(session: Session, bench: Bench, who: Person) -> None:
    append(
        session,
        action="tests.bench",
        subject=Subject("bench", bench.id),
        actor=who.actor,
        now=NOW,
    )


def pragma(engine: Engine, name: str) -> object:
    with engine.connect() as connection:
        return connection.exec_driver_sql(f"PRAGMA {name}").scalar()


@pytest.mark.parametrize(
    ("name", "value"),
    [("foreign_keys", 1), ("journal_mode", "wal"), ("synchronous", 2), ("busy_timeout", 15_000)],
)
def test_every_connection_to_sqlite_is_made_safe(sqlite: Engine, name: str, value: object) -> None:
    with sqlite.connect(), sqlite.connect():
        assert pragma(sqlite, name) == value


def test_a_row_that_refers_to_nothing_is_refused(db: Session, ines: Person) -> None:
    db.add(
        BenchReading(
            bench_id=999, headers_digest="0" * 64, choices={}, channel_map={}, by_id=1, at=NOW
        )
    )
    with pytest.raises(IntegrityError):
        db.flush()


def test_a_row_that_others_refer_to_cannot_be_deleted(db: Session, ines: Person) -> None:
    bench = add_bench(db, "B1", ines)
    db.add(
        BenchReading(
            bench_id=bench.id,
            headers_digest="0" * 64,
            choices={},
            channel_map={},
            by_id=ines.account_id,
            at=NOW,
        )
    )
    db.flush()
    with pytest.raises(IntegrityError):
        db.execute(text(f"DELETE FROM benches WHERE id = {bench.id}"))


def test_every_reference_of_the_schema_is_known_to_the_database(sessions: Sessions) -> None:
    found = inspect(sessions.engine)
    for table in Base.metadata.sorted_tables:
        declared = {
            (key.parent.name, key.column.table.name)
            for constraint in table.foreign_key_constraints
            for key in constraint.elements
        }
        stored = {
            (column, str(key["referred_table"]))
            for key in found.get_foreign_keys(table.name)
            for column in key["constrained_columns"]
        }
        assert stored == declared, table.name


def test_a_moment_comes_back_in_utc_whatever_zone_it_came_in(
    sessions: Sessions, ines: Person
) -> None:
    there = datetime(2026, 7, 1, 9, 0, 0, 123_456, tzinfo=ZoneInfo("America/St_Johns"))
    with sessions.write.begin() as session:
        add_bench(session, "B1", ines, created_at=there)
    with sessions.read() as session:
        stored = session.scalars(select(Bench.created_at)).one()
    assert stored == there
    assert stored.tzinfo is UTC
    assert stored.microsecond == 123_456


def test_a_moment_without_a_zone_is_never_stored(db: Session, ines: Person) -> None:
    with pytest.raises(StatementError, match="naive datetime"):
        add_bench(db, "B1", ines, created_at=datetime(2026, 7, 1, 9, 0))  # noqa: DTZ001


def test_a_moment_without_a_zone_is_never_asked_for(db: Session) -> None:
    naive = datetime(2026, 7, 1, 9, 0)  # noqa: DTZ001
    with pytest.raises(StatementError, match="naive datetime"):
        db.scalars(select(Bench).where(Bench.created_at > naive)).all()


def test_every_column_of_moments_is_of_the_type_that_minds_the_zone() -> None:
    for name in ROUTES:
        import_module(name)
    columns = [column for table in Base.metadata.sorted_tables for column in table.columns]
    moments = [column for column in columns if "DATETIME" in repr(column.type).upper()]
    assert len(moments) > 20
    assert [str(column) for column in moments if not isinstance(column.type, UtcDateTime)] == []


def test_a_stale_edit_fails_and_the_first_one_stays(
    sessions: Sessions, ines: Person, look: Look
) -> None:
    with sessions.write.begin() as session:
        bench_id = add_bench(session, "B1", ines).id
    with sessions.read() as reader:
        seen = reader.get_one(Bench, bench_id)
        reader.expunge(seen)
    with sessions.write.begin() as session:
        bench = session.get_one(Bench, bench_id)
        bench.title = "the first one's"
        tell(session, bench, ines)
    with sessions.write() as session:
        session.add(seen)
        seen.title = "the second one's"
        with pytest.raises(StaleDataError):
            session.flush()
    assert look(select(Bench.title)) == ["the first one's"]


def test_every_version_counts_up_by_one(sessions: Sessions, ines: Person, look: Look) -> None:
    for number in range(3):
        with sessions.write.begin() as session:
            bench = session.scalars(select(Bench)).first() or add_bench(session, "B1", ines)
            bench.title = f"title {number}"
            tell(session, bench, ines)
    assert look(select(Bench.version)) == [4]
    assert issubclass(Bench, Versioned)


def test_a_writer_takes_the_lock_of_sqlite_at_its_first_statement(
    sqlite: Engine, sessions: Sessions, second: Engine
) -> None:
    with sessions.write() as writer:
        writer.execute(text("SELECT 1"))
        other = second.execution_options(wickbook_writes=True)
        with pytest.raises(OperationalError, match="locked") as refused, other.connect() as late:
            late.execute(text("SELECT 1"))
        refusal = get_refusal_of_database(refused.value)
        assert isinstance(refusal, Busy)
        assert refusal.sentence == "The database is busy or away; try again shortly."
        with second.connect() as reader:
            assert reader.execute(text("SELECT count(*) FROM benches")).scalar() == 0


def test_a_reader_takes_no_lock(sessions: Sessions, second: Engine) -> None:
    with sessions.read() as reader:
        reader.execute(text("SELECT count(*) FROM benches")).scalar()
        with second.execution_options(wickbook_writes=True).begin() as writer:
            writer.execute(text("UPDATE benches SET title = title"))


def test_a_second_writer_waits_for_the_first_and_then_writes(
    sessions: Sessions, ines: Person, look: Look
) -> None:
    begun = Event()

    def write_second() -> None:
        with sessions.write.begin() as session:
            begun.set()
            add_bench(session, "B2", ines)

    thread = Thread(target=write_second)
    with sessions.write.begin() as session:
        add_bench(session, "B1", ines)
        thread.start()
        begun.wait()
    thread.join()
    assert sorted(look(select(Bench.code))) == ["B1", "B2"]


def test_two_writers_of_one_code_leave_one_row(
    sessions: Sessions, ines: Person, look: Look
) -> None:
    refused: list[DBAPIError] = []

    def write_second() -> None:
        try:
            with sessions.write.begin() as session:
                add_bench(session, "B1", ines)
        except DBAPIError as error:
            refused.append(error)

    thread = Thread(target=write_second)
    with sessions.write.begin() as session:
        add_bench(session, "B1", ines)
        thread.start()
    thread.join()
    assert look(select(Bench.code)) == ["B1"]
    assert get_refusal_of_database(refused[0]).code == "core.contradiction"


def test_a_change_that_is_not_committed_is_seen_by_nobody(
    sessions: Sessions, ines: Person, look: Look
) -> None:
    with sessions.write() as session:
        add_bench(session, "B1", ines)
        session.execute(update(Bench).values(title="y"))
        assert look(select(Bench.code)) == []
    assert look(select(Bench.code)) == []
