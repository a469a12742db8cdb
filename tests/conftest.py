"""The cast, the clock, and a house of their own for every test, on either database."""

import itertools
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Protocol, TypeVar

import pytest
from alembic import command
from alembic.config import Config
from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import HealthCheck
from hypothesis import settings as hypothesis_settings
from sqlalchemy import Connection, Select, make_url, select, text
from sqlalchemy.orm import Session

from app.accounts.access import COOKIE, CSRF_HEADER
from app.accounts.permissions import Role
from app.accounts.rules import Person, compute_secret_digest
from app.accounts.tables import Account, SignedInSession
from app.audit.rules import Actor, Subject
from app.audit.service import add_name_card, append, install_log
from app.core.db import Sessions, create_house_engine, open_sessions
from app.core.settings import Settings
from app.main import create_app
from app.measure.cluster import Cluster
from seed_demo.load import load_demo
from seed_demo.story import plan_jobs

PROJECT = Path(__file__).parent.parent
# Not a setting: those begin with WICKBOOK_, and others of that kind stop a start.
CLUSTER = "TESTS_CLUSTER"
NOW = datetime(2026, 3, 4, 9, 0, tzinfo=UTC)
# The demo ends before the cast comes to work.
DEMO_END = NOW - timedelta(days=1)
DEMO_JOBS = 4
PASSWORD = "correct lantern under the weir"
CAST = (
    ("odile", "Odile Maasland", Role.OPERATOR),
    ("ines", "Ines Tarvonen", Role.ENGINEER),
    ("edda", "Edda Rauhfels", Role.ENGINEER),
    ("anselm", "Anselm Quirreth", Role.AUDITOR),
    ("ada", "Ada Zellbrook", Role.ADMINISTRATOR),
)

SignedIn = Callable[[Person], TestClient]

# A busy machine is no fault of what is tested.
hypothesis_settings.register_profile(
    "unhurried", deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
hypothesis_settings.load_profile("unhurried")
Row = TypeVar("Row")


class Look(Protocol):
    """Reads what is committed: `look(select(Bench.code))`."""

    def __call__(self, rows: Select[Row], /) -> list[Row]:
        """Return all rows of a select of one thing."""
        ...


_numbers = itertools.count(1)
_started: list[Cluster] = []


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the choice of database; the whole suite runs on each."""
    parser.addoption("--database", choices=("sqlite", "postgresql"), default="sqlite")
    parser.addoption(
        "--with-database-only",
        action="store_true",
        help="leave out the tests that touch no database: they say the same on either",
    )


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what touches no database, where that was asked for."""
    if not config.getoption("--with-database-only"):
        return
    left_out = [item for item in items if "databases" not in getattr(item, "fixturenames", ())]
    config.hook.pytest_deselected(items=left_out)
    items[:] = [item for item in items if item not in set(left_out)]


def pytest_configure(config: pytest.Config) -> None:
    is_worker = hasattr(config, "workerinput")
    if config.getoption("--database") == "postgresql" and not is_worker:
        cluster = Cluster()
        _started.append(cluster)
        os.environ[CLUSTER] = str(cluster.folder)


def pytest_unconfigure() -> None:
    for cluster in _started:
        cluster.stop()
    _started.clear()


@dataclass
class MovableClock:
    """The tests' clock: stands still until a test moves it."""

    moment: datetime = NOW

    def __call__(self) -> datetime:
        """Return the tests' present moment."""
        return self.moment

    def advance(self, **passed: float) -> datetime:
        """Let time pass: `advance(minutes=5)`."""
        self.moment += timedelta(**passed)
        return self.moment


@pytest.fixture(scope="session")
def alembic_config() -> Config:
    return Config(toml_file=PROJECT / "pyproject.toml")


@pytest.fixture(scope="session")
def database(request: pytest.FixtureRequest) -> str:
    """Return `sqlite` or `postgresql`."""
    return str(request.config.getoption("--database"))


class Databases:
    """Makes databases: empty ones, and copies of the furnished one."""

    def __init__(self, kind: str, folder: Path) -> None:
        self.kind = kind
        self.folder = folder

    def create(self, template: str | None = None) -> str:
        """Return the address of a new database, empty or copied from another one."""
        name = f"house_{os.getpid()}_{next(_numbers)}"
        if self.kind == "sqlite":
            file = self.folder / f"{name}.db"
            if template is not None:
                shutil.copy(template.removeprefix("sqlite:///"), file)
            return f"sqlite:///{file}"
        source = f" TEMPLATE {make_url(template).database}" if template else ""
        with self._admin() as connection:
            connection.execute(text(f"CREATE DATABASE {name}{source}"))
        return f"postgresql+psycopg://wickbook@/{name}?host={os.environ[CLUSTER]}"

    def drop(self, url: str) -> None:
        """Remove a database; nobody may be connected on purpose."""
        if self.kind == "sqlite":
            for ending in ("", "-wal", "-shm"):
                Path(url.removeprefix("sqlite:///") + ending).unlink(missing_ok=True)
            return
        name = make_url(url).database
        with self._admin() as connection:
            connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))

    @contextmanager
    def _admin(self) -> Iterator[Connection]:
        engine = create_house_engine(
            f"postgresql+psycopg://wickbook@/postgres?host={os.environ[CLUSTER]}"
        )
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            yield connection
        engine.dispose()


@pytest.fixture(scope="session")
def databases(database: str, tmp_path_factory: pytest.TempPathFactory) -> Databases:
    return Databases(database, tmp_path_factory.mktemp("databases"))


@pytest.fixture(scope="session")
def furnished(databases: Databases, alembic_config: Config) -> str:
    """Return a migrated database with the cast signed in; copy it, never write to it."""
    with make_template(databases, alembic_config) as sessions:
        seat_cast(sessions)
    return sessions.engine.url.render_as_string(hide_password=False)


@pytest.fixture(scope="session")
def with_demo(databases: Databases, alembic_config: Config) -> str:
    """Return a furnished database with the demo's first jobs; copy it, never write to it."""
    with make_template(databases, alembic_config) as sessions:
        url = sessions.engine.url.render_as_string(hide_password=False)
        settings = Settings(database_url=url, argon2_memory_kib=64, argon2_passes=1)
        load_demo(sessions, settings, end=DEMO_END, jobs=plan_jobs(DEMO_END)[:DEMO_JOBS])
        seat_cast(sessions)
    return url


@contextmanager
def make_template(databases: Databases, alembic_config: Config) -> Iterator[Sessions]:
    """Give the sessions of a new, migrated database that can be copied when they are done."""
    url = databases.create()
    engine = create_house_engine(url)
    with engine.begin() as connection:
        alembic_config.attributes["connection"] = connection
        command.upgrade(alembic_config, "head")
    sessions = open_sessions(engine)
    install_log(sessions)
    yield sessions
    if url.startswith("sqlite"):
        with engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    engine.dispose()


def seat_cast(sessions: Sessions) -> None:
    """Give the whole cast accounts and running sign-ins."""
    with sessions.write.begin() as session:
        for username, name, role in CAST:
            seat(session, username, name, role)


def seat(session: Session, username: str, name: str, role: Role) -> None:
    """Give somebody an account and a running sign-in, without the cost of a real password."""
    commitment = add_name_card(session, account_id=0, username=username, name=name, now=NOW)
    account = Account(
        username=username,
        name=name,
        commitment=commitment,
        roles=frozenset({role}),
        password_hash="!",
        created_at=NOW,
    )
    session.add(account)
    session.flush()
    session.add(
        SignedInSession(
            account_id=account.id,
            secret_digest=compute_secret_digest(f"secret of {username}"),
            csrf=f"mark of {username}",
            started_at=NOW,
            seen_at=NOW,
            address="127.0.0.1",
            agent="tests",
        )
    )
    append(
        session,
        action="accounts.add",
        subject=Subject("account", account.id),
        actor=Actor(None, None, (), "terminal"),
        now=NOW,
        details={"person": commitment, "roles": [str(role)]},
    )


@pytest.fixture
def database_url(databases: Databases, furnished: str) -> Iterator[str]:
    url = databases.create(furnished)
    yield url
    databases.drop(url)


@pytest.fixture
def settings(database_url: str) -> Settings:
    return Settings(
        database_url=database_url,
        plant_name="Tarn & Weir Instruments",
        argon2_memory_kib=64,
        argon2_passes=1,
    )


@pytest.fixture
def clock() -> MovableClock:
    return MovableClock()


@pytest.fixture
def now(clock: MovableClock) -> datetime:
    return clock()


@pytest.fixture
def sessions(settings: Settings) -> Iterator[Sessions]:
    """Return the makers of sessions on the test's own database, apart from the house's."""
    sessions = open_sessions(create_house_engine(settings.database_url))
    install_log(sessions)
    yield sessions
    sessions.engine.dispose()


@pytest.fixture
def db(sessions: Sessions) -> Iterator[Session]:
    """Return a writing session; on SQLite it holds the write lock from its first statement."""
    with sessions.write() as session:
        yield session


@pytest.fixture
def look(sessions: Sessions) -> Look:
    """Return a function that reads what is committed by now, and holds nothing."""

    def read(rows: Select[Row], /) -> list[Row]:
        with sessions.read() as session:
            return list(session.scalars(rows).all())

    return read


@pytest.fixture
def house(settings: Settings, clock: MovableClock) -> Iterator[FastAPI]:
    house = create_app(settings, clock=clock)
    yield house
    house.state.sessions.engine.dispose()


@pytest.fixture
def signed_in(house: FastAPI) -> SignedIn:
    """Return a function that puts one person of the cast in front of the house."""

    def sign_in(person: Person) -> TestClient:
        return TestClient(
            house,
            cookies={COOKIE: f"secret of {person.username}"},
            headers={CSRF_HEADER: person.csrf},
            follow_redirects=False,
        )

    return sign_in


@pytest.fixture
def nobody(house: FastAPI) -> TestClient:
    """Return a client that is not signed in."""
    return TestClient(house, follow_redirects=False)


def get_person(sessions: Sessions, username: str) -> Person:
    with sessions.read() as session:
        account = session.scalars(select(Account).where(Account.username == username)).one()
        return Person(
            account_id=account.id,
            username=username,
            name=account.name,
            commitment=account.commitment,
            roles=account.roles,
            via="session",
            csrf=f"mark of {username}",
        )


@pytest.fixture
def odile(sessions: Sessions) -> Person:
    """Odile works at the bench."""
    return get_person(sessions, "odile")


@pytest.fixture
def ines(sessions: Sessions) -> Person:
    """Ines writes recipes."""
    return get_person(sessions, "ines")


@pytest.fixture
def edda(sessions: Sessions) -> Person:
    """Edda approves what Ines wrote."""
    return get_person(sessions, "edda")


@pytest.fixture
def anselm(sessions: Sessions) -> Person:
    """Anselm reads everything and changes nothing."""
    return get_person(sessions, "anselm")


@pytest.fixture
def ada(sessions: Sessions) -> Person:
    """Ada looks after accounts and benches."""
    return get_person(sessions, "ada")
