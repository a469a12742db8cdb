"""A database with benches goes back before measuring chains and forward again."""

from datetime import UTC, datetime

from alembic import command
from alembic.config import Config
from sqlalchemy import select, text

from app.accounts.rules import Person
from app.core.db import create_house_engine
from app.core.settings import Settings
from app.plant.tables import Bench, BenchReading
from tests.conftest import Look, SignedIn

BEFORE = "5e21b7f4c0d9"
BENCH = {"code": "B1", "title": "Hot gas bench by the window"}


def test_benches_and_what_points_at_them_outlast_the_way_down_and_up(
    settings: Settings, signed_in: SignedIn, ada: Person, look: Look, alembic_config: Config
) -> None:
    signed_in(ada).post("/api/v1/benches", json=BENCH)
    engine = create_house_engine(settings.database_url)
    with engine.begin() as connection:
        connection.execute(
            BenchReading.__table__.insert().values(  # type: ignore[attr-defined]
                bench_id=1,
                headers_digest="0" * 64,
                choices={},
                channel_map={},
                by_id=ada.account_id,
                at=datetime(2026, 3, 4, tzinfo=UTC),
                version=1,
            )
        )
        alembic_config.attributes["connection"] = connection
        command.downgrade(alembic_config, BEFORE)
        assert connection.scalar(text("SELECT code FROM benches")) == "B1"
        command.upgrade(alembic_config, "head")
    engine.dispose()
    assert look(select(Bench.code)) == ["B1"]
    assert look(select(Bench.measuring_chain)) == [None]
    assert look(select(BenchReading.bench_id)) == [1]
