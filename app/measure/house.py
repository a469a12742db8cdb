"""A furnished house for measuring: a migrated database with one person, and a running service."""

import os
import secrets
import shutil
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from http.client import HTTPConnection
from pathlib import Path
from time import monotonic, sleep
from typing import Final, Literal

from alembic import command
from alembic.config import Config
from sqlalchemy import make_url, text

from app.accounts.permissions import Role
from app.accounts.rules import compute_secret_digest
from app.accounts.tables import ApiToken
from app.audit.service import install_log
from app.core.db import create_house_engine, open_sessions
from app.measure.cluster import Cluster
from app.measure.people import seat

PROJECT: Final = Path(__file__).parent.parent.parent
HOST: Final = "127.0.0.1"
START_LIMIT_S: Final = 30.0

Kind = Literal["sqlite", "postgresql"]


@contextmanager
def make_database_url(kind: Kind) -> Iterator[str]:
    """Make a place for databases, durable as in real use, and remove it at the end.

    The address is of a database that does not exist yet on SQLite, and of the maintenance
    database of a cluster on PostgreSQL; `add_database` makes one beside it.
    """
    if kind == "postgresql":
        cluster = Cluster(durable=True)
        try:
            yield cluster.url
        finally:
            cluster.stop()
        return
    folder = Path(tempfile.mkdtemp(prefix="wickbook-measure-"))
    try:
        yield f"sqlite:///{folder / 'measure.db'}"
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def add_database(place: str, name: str) -> str:
    """Add a migrated, empty database beside the given address and return its own."""
    if place.startswith("sqlite"):
        url = f"sqlite:///{Path(place.removeprefix('sqlite:///')).with_name(f'{name}.db')}"
    else:
        engine = create_house_engine(place)
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.execute(text(f"CREATE DATABASE {name}"))
        engine.dispose()
        url = make_url(place).set(database=name).render_as_string(hide_password=False)
    engine = create_house_engine(url)
    config = Config(toml_file=PROJECT / "pyproject.toml")
    with engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
    engine.dispose()
    return url


def seat_administrator(url: str) -> str:
    """Add an administrator with a token made now, and return the token's secret."""
    now = datetime.now(UTC)
    secret = secrets.token_urlsafe(32)
    sessions = open_sessions(create_house_engine(url))
    install_log(sessions)
    with sessions.write.begin() as session:
        person = seat(session, "administrator", Role.ADMINISTRATOR, now=now)
        session.add(
            ApiToken(
                account_id=person.account_id,
                name="measure",
                secret_digest=compute_secret_digest(secret),
                roles=person.roles,
                created_at=now,
                expires_at=now + timedelta(days=1),
            )
        )
    sessions.engine.dispose()
    return secret


@contextmanager
def serve(factory: str, url: str) -> Iterator[HTTPConnection]:
    """Serve an app in a process of its own and hand out one connection that stays open."""
    with socket.socket() as door:
        door.bind((HOST, 0))
        port: int = door.getsockname()[1]
    options = ("--factory", "--host", HOST, "--port", str(port), "--log-level", "warning")
    service = subprocess.Popen(  # noqa: S603
        [sys.executable, "-m", "uvicorn", factory, *options],
        cwd=PROJECT,
        env={**os.environ, "WICKBOOK_DATABASE_URL": url},
    )
    try:
        _wait_until_open(service, port)
        connection = HTTPConnection(HOST, port, timeout=30)
        yield connection
        connection.close()
    finally:
        service.terminate()
        service.wait(timeout=10)


def _wait_until_open(service: "subprocess.Popen[bytes]", port: int) -> None:
    began = monotonic()
    while service.poll() is None and monotonic() - began < START_LIMIT_S:
        with socket.socket() as door:
            if door.connect_ex((HOST, port)) == 0:
                return
        sleep(0.05)
    raise RuntimeError("the service that was to be measured did not start")
