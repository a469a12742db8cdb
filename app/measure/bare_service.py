"""The least service that stores the same two rows: what the house's own write is held against."""

from datetime import UTC, datetime
from itertools import count
from typing import Annotated

from fastapi import FastAPI, Header
from sqlalchemy import Connection, insert

from app.audit.tables import AuditEntry
from app.core.db import WRITES, create_house_engine
from app.core.settings import read_settings
from app.plant.schemas import BenchFields
from app.plant.tables import Bench

_HASH = bytes(32)
_BODY = bytes(420)


def create_app() -> FastAPI:
    """Create the service on the database of the settings."""
    bare = FastAPI()
    engine = create_house_engine(read_settings().database_url).execution_options(**{WRITES: True})
    numbers = count(1)

    @bare.post("/benches", status_code=201)
    def add(
        fields: BenchFields, authorization: Annotated[str | None, Header()] = None
    ) -> dict[str, int | bool]:
        with engine.begin() as connection:
            number = insert_two_rows(connection, fields.code, next(numbers))
        return {"id": number, "told": authorization is not None}

    return bare


def insert_two_rows(connection: Connection, code: str, seq: int) -> int:
    """Insert a bench and an entry of the log's usual size, and return the bench's number."""
    now = datetime.now(UTC)
    made = connection.execute(
        insert(Bench).values(
            code=code, title="Hot gas bench", has_nitrogen=True, created_at=now, version=1
        )
    )
    number = made.inserted_primary_key
    connection.execute(
        insert(AuditEntry).values(
            seq=seq,
            body=_BODY,
            leaf_hash=_HASH,
            root=_HASH,
            frontier=_HASH * seq.bit_count(),
            at=now,
            actor_id=1,
            action="plant.add_bench",
            subject_kind="bench",
            subject_id=number[0] if number else 0,
        )
    )
    return number[0] if number else 0
