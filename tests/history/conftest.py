"""A board with a story: a job with a hold, an aborted run, a skip and a correction."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

import pytest
from sqlalchemy import text
from sqlalchemy.orm import Session

from app.audit.service import install_log
from app.core.db import Sessions, create_house_engine, open_sessions
from app.core.settings import Settings
from app.history.snapshot import open_snapshot
from app.history.story import Story, load_story
from app.jobs import runs, service, work
from app.jobs.queries import get_job, load_card
from app.jobs.rules import StepKind
from app.jobs.schemas import CloseJob, LotUsed, StepCorrected, ValueUsed
from app.jobs.tables import Job
from tests.conftest import NOW, Databases, get_person
from tests.jobs.conftest import Shop, furnish

LOCKED = (
    "audit_entries",
    "name_cards",
    "stored_files",
    "traces",
    "recipe_revisions",
    "jobs",
    "runs",
    "step_entries",
    "job_holds",
    "job_sites",
    "job_steps",
    "placements",
)


@dataclass
class Teller:
    """Lets the shop's people work, a minute between their acts."""

    shop: Shop

    def later(self) -> None:
        """Let a minute pass."""
        self.shop.now += timedelta(minutes=1)

    def tell_whole(self) -> int:
        """Do one job with everything that can happen in it, and return its number."""
        shop = self.shop
        with shop.sessions.write() as session:
            job = shop.open_job(session)
            self.later()
            shop.clear(session, job)
            self.later()
            service.place_hold(session, job, "Wrong nozzle", person=shop.odile, now=shop.now)
            self.later()
            service.lift_hold(session, job, "Nozzle came", person=shop.ines, now=shop.now)
            self.later()
            run = shop.start(session, job, StepKind.REMOVE)
            self.later()
            runs.abort_run(session, run, "Sensor fell off", person=shop.odile, now=shop.now)
            for kind in StepKind:
                self.later()
                self._do(session, job, kind)
            self.later()
            said = CloseJob.model_validate({"outcome": "accepted", "remark": "Good joints"})
            service.close_job(session, job, said, person=shop.odile, now=shop.now)
            session.commit()
            return job.id

    def tell_plain(self) -> int:
        """Do one job without trouble."""
        shop = self.shop
        with shop.sessions.write() as session:
            job = shop.open_job(session)
            shop.clear(session, job)
            self.later()
            shop.finish(session, job, remark="Good joints")
            session.commit()
            return job.id

    def _do(self, session: Session, job: Job, kind: StepKind) -> None:
        shop = self.shop
        steps = {step.kind for step in load_card(session, job).sites[0].steps}
        if kind not in steps:
            return
        step_id = shop.step_id(session, job, kind)
        if kind is StepKind.DRESS:
            work.skip_step(session, job, step_id, "Pads are flat", person=shop.odile, now=shop.now)
            return
        entry_id = shop.sign(
            session, job, kind, lots=[LotUsed(what="flux", lot="F-2231")], remark=""
        )
        if kind is StepKind.PLACE:
            self.later()
            said = StepCorrected(
                values=[ValueUsed(label="Nozzle", value="N-12")], reason="Typed the wrong one"
            )
            work.correct_entry(
                session, job, step_id, entry_id, said, person=shop.odile, now=shop.now
            )


def make_shop(sessions: Sessions, url: str) -> Shop:
    odile, ines, edda = (get_person(sessions, name) for name in ("odile", "ines", "edda"))
    return Shop(sessions, Settings(database_url=url), odile, ines, edda, NOW)


@pytest.fixture(scope="session")
def furnished(databases: Databases, furnished: str) -> str:
    """Return a house in which job 1 of board 0417 was told; made once, copied for each test."""
    url = databases.create(furnished)
    sessions = open_sessions(create_house_engine(url))
    install_log(sessions)
    shop = furnish(make_shop(sessions, url), get_person(sessions, "ada"))
    assert (shop.board_id, shop.bench_id, shop.revision_id) == (1, 1, 1)
    assert Teller(shop).tell_whole() == 1
    if url.startswith("sqlite"):
        with sessions.engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    sessions.engine.dispose()
    return url


@pytest.fixture
def shop(sessions: Sessions, settings: Settings) -> Shop:
    made = make_shop(sessions, settings.database_url)
    made.board_id = made.bench_id = made.revision_id = 1
    made.now += timedelta(hours=1)
    return made


@pytest.fixture
def teller(shop: Shop) -> Teller:
    return Teller(shop)


@pytest.fixture
def job_id(shop: Shop) -> int:
    """Return the number of the job of board 0417 in which everything happened."""
    return 1


Tamper = Callable[..., None]


@pytest.fixture
def tamper(sessions: Sessions) -> Tamper:
    """Return a function that changes the database past every lock, as only its owner can."""

    def change(statement: str, **values: object) -> None:
        with sessions.write.begin() as session:
            for table in LOCKED:
                if session.get_bind().dialect.name == "postgresql":
                    session.execute(text(f"ALTER TABLE {table} DISABLE TRIGGER USER"))
                else:
                    for event in ("update", "delete"):
                        session.execute(text(f"DROP TRIGGER IF EXISTS {table}_no_{event}"))
            session.execute(text(statement), values)

    return change


def read_story(sessions: Sessions, board_id: int, *, with_all_figures: bool = True) -> Story:
    with open_snapshot(sessions) as session:
        return load_story(session, board_id, with_all_figures=with_all_figures)


def find_job(sessions: Sessions, job_id: int) -> Job:
    with sessions.read() as session:
        return get_job(session, job_id)
