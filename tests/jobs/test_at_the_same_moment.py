"""Two people do the same thing at once: one does it, the other is told what the rule says."""

import time
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Final, TypeVar

import pytest
from sqlalchemy import text
from sqlalchemy.orm import Session

from app.accounts import service as accounts
from app.accounts.passwords.hashing import Hasher
from app.accounts.permissions import Role
from app.approval.queries import get_digest
from app.boards import service as boards
from app.boards.queries import get_assembly, get_board, get_draft
from app.boards.rules import FileKind
from app.boards.schemas.assemblies import AssemblyFields
from app.core.db import Sessions
from app.core.refusals import Refusal
from app.jobs import runs, service, work
from app.jobs.queries import get_run
from app.jobs.rules import StepKind
from app.jobs.tables import Job
from app.materials.rules import PackageType
from app.materials.schemas import PartFields
from app.materials.service import add_part
from app.plant import service as plant
from app.plant.queries import get_bench
from app.plant.schemas import BenchFields
from app.recipes import service as recipes
from app.recipes.queries import get_recipe, get_revision
from app.recipes.schemas import NewRecipe
from tests.jobs.conftest import Shop, make_body, write_log

WAIT_S: Final = 60
WAITING: Final = text("SELECT count(*) FROM pg_locks WHERE NOT granted")
LAYOUT: Final = b"Designator,X (mm),Y (mm),Rotation,Side\nQ1,1,2,0,top\nQ2,3,4,90,top\n"


@dataclass
class Scene:
    """The shop, and the numbers of what is raced for."""

    shop: Shop
    hasher: Hasher
    job_id: int = 0
    run_id: int = 0
    revision_id: int = 0
    other_run_id: int = 0
    draft_id: int = 0

    def lock(self, session: Session) -> Job:
        """Return the job as a request takes it."""
        return service.lock_job(session, self.job_id)


Act = Callable[[Scene, Session], object]


def set_nothing(_scene: Scene, _session: Session) -> None:
    """Leave the shop as it is."""


def set_job(scene: Scene, session: Session) -> None:
    job = scene.shop.open_job(session)
    scene.job_id = job.id
    scene.shop.clear(session, job)


def set_hold(scene: Scene, session: Session) -> None:
    set_job(scene, session)
    place_hold(scene, session)


def set_run(scene: Scene, session: Session) -> None:
    set_job(scene, session)
    scene.run_id = scene.shop.start(session, scene.lock(session), StepKind.REMOVE).id


def set_remembering(scene: Scene, session: Session) -> None:
    """Let the runs of two boards record at one bench."""
    set_run(scene, session)
    assembly = get_assembly(session, get_board(session, scene.shop.board_id).assembly_id)
    (board,) = boards.register_boards(
        session, assembly, ["0418"], person=scene.shop.odile, now=scene.shop.now
    )
    other = replace(scene.shop, board_id=board.id).open_job(session)
    scene.shop.clear(session, other)
    content = write_log(peak_shift_k=1.0)
    scene.other_run_id = scene.shop.start(session, other, StepKind.REMOVE, content).id


def set_proposed(scene: Scene, session: Session) -> None:
    copy(scene, session)
    recipes.propose(
        session, get_revision(session, scene.revision_id), person=scene.shop.ines,
        now=scene.shop.now,
    )  # fmt: skip


def set_copy(scene: Scene, session: Session) -> None:
    copy(scene, session)


def set_layout(scene: Scene, session: Session) -> None:
    fields = AssemblyFields(part_number="WEIR-02", revision="A", title="Gate driver")
    assembly = boards.add_assembly(session, fields, person=scene.shop.ines, now=scene.shop.now)
    files = {FileKind.PLACEMENT: ("xy.csv", LAYOUT)}
    draft = boards.start_draft(session, assembly, files, person=scene.shop.ines, now=scene.shop.now)
    scene.draft_id = draft.id


def open_job(scene: Scene, session: Session) -> None:
    scene.shop.open_job(session)


def skip_line(scene: Scene, session: Session) -> None:
    job = scene.lock(session)
    step_id = scene.shop.step_id(session, job, StepKind.REMOVE)
    work.skip_step(
        session, job, step_id, "Lifted off already", person=scene.shop.odile, now=scene.shop.now
    )


def place_hold(scene: Scene, session: Session) -> None:
    service.place_hold(
        session, scene.lock(session), "The bench smells", person=scene.shop.odile,
        now=scene.shop.now,
    )  # fmt: skip


def lift_hold(scene: Scene, session: Session) -> None:
    service.lift_hold(
        session, scene.lock(session), "Aired", person=scene.shop.ines, now=scene.shop.now
    )


def cancel_job(scene: Scene, session: Session) -> None:
    service.cancel_job(
        session, scene.lock(session), "Not needed", person=scene.shop.odile, now=scene.shop.now
    )


def start_run(scene: Scene, session: Session) -> None:
    scene.shop.start(session, scene.lock(session), StepKind.REMOVE)


def complete_run(scene: Scene, session: Session) -> None:
    scene.shop.complete(session, get_run(session, scene.run_id))


def abort_run(scene: Scene, session: Session) -> None:
    run = get_run(session, scene.run_id)
    runs.abort_run(session, run, "Probe fell off", person=scene.shop.odile, now=scene.shop.now)


def publish(scene: Scene, session: Session) -> None:
    revision = get_revision(session, scene.revision_id)
    recipes.publish(
        session, revision, seen_digest=get_digest(revision), person=scene.shop.edda,
        now=scene.shop.now,
    )  # fmt: skip


def withdraw(scene: Scene, session: Session) -> None:
    revision = get_revision(session, scene.revision_id)
    recipes.withdraw(session, revision, person=scene.shop.ines, now=scene.shop.now)


def discard(scene: Scene, session: Session) -> None:
    revision = get_revision(session, scene.revision_id)
    recipes.discard_draft(session, revision, person=scene.shop.ines, now=scene.shop.now)


def retire(scene: Scene, session: Session) -> None:
    revision = get_revision(session, scene.shop.revision_id)
    recipes.retire(
        session, revision, reason="Paste changed", person=scene.shop.edda, now=scene.shop.now
    )


def copy(scene: Scene, session: Session) -> None:
    source = get_revision(session, scene.shop.revision_id)
    made = recipes.copy_revision(
        session, get_recipe(session, source.recipe_id), source, reason="Longer soak",
        person=scene.shop.ines, now=scene.shop.now,
    )  # fmt: skip
    scene.revision_id = made.id


def create_recipe(scene: Scene, session: Session) -> None:
    fields = NewRecipe(code="WEIR-U1", title="Place", reason="First issue", body=make_body())
    recipes.create_recipe(session, fields, person=scene.shop.ines, now=scene.shop.now)


def add_bench(scene: Scene, session: Session) -> None:
    fields = BenchFields(code="B9", title="By the door", has_nitrogen=False)
    plant.add_bench(session, fields, person=scene.shop.edda, now=scene.shop.now)


def retire_bench(scene: Scene, session: Session) -> None:
    bench = get_bench(session, scene.shop.bench_id)
    plant.retire_bench(session, bench, person=scene.shop.edda, now=scene.shop.now)


def add_number(scene: Scene, session: Session) -> None:
    fields = PartFields(
        part_number="ZQ-5510",
        title="Gate",
        package_type=PackageType.BGA,
        classification_c=260,
        max_body_c=260,
        reflow_cycles_allowed=3,
    )
    add_part(session, fields, person=scene.shop.ines, now=scene.shop.now)


def add_assembly(scene: Scene, session: Session) -> None:
    fields = AssemblyFields(part_number="WEIR-03", revision="A", title="Gate driver")
    boards.add_assembly(session, fields, person=scene.shop.ines, now=scene.shop.now)


def register(scene: Scene, session: Session) -> None:
    assembly = get_assembly(session, get_board(session, scene.shop.board_id).assembly_id)
    boards.register_boards(
        session, assembly, ["0500", "0501"], person=scene.shop.odile, now=scene.shop.now
    )


def take_layout(scene: Scene, session: Session) -> None:
    boards.take_layout(
        session,
        get_draft(session, scene.draft_id),
        leave_out_refused=False,
        new_revision=None,
        person=scene.shop.ines,
        now=scene.shop.now,
    )


def drop_layout(scene: Scene, session: Session) -> None:
    draft = get_draft(session, scene.draft_id)
    boards.drop_draft(session, draft, person=scene.shop.ines, now=scene.shop.now)


def add_person(scene: Scene, session: Session) -> None:
    accounts.add_person(
        session,
        username="quill",
        name="Quill Ostrander",
        roles={Role.OPERATOR},
        hasher=scene.hasher,
        actor=accounts.TERMINAL,
        now=scene.shop.now,
    )


@dataclass(frozen=True)
class Race:
    """What stands there, what one does first, what the other does, and how the other is told."""

    stands: Act
    first: Act
    second: Act
    told: str


RACES: Final = {
    "two open a job for one site": Race(set_nothing, open_job, open_job, "jobs.site_busy"),
    "two write one line": Race(set_job, skip_line, skip_line, "jobs.already_written"),
    "two place a hold": Race(set_job, place_hold, place_hold, "jobs.held"),
    "two lift a hold": Race(set_hold, lift_hold, lift_hold, "jobs.not_held"),
    "two close a job": Race(set_job, cancel_job, cancel_job, "jobs.move_not_allowed"),
    "one holds, one writes": Race(set_job, place_hold, skip_line, "jobs.held"),
    "two start a run": Race(set_job, start_run, start_run, "jobs.run_recording"),
    "two complete a run": Race(set_run, complete_run, complete_run, "jobs.run_over"),
    "one aborts, one completes": Race(set_run, abort_run, complete_run, "jobs.run_over"),
    "two publish a revision": Race(set_proposed, publish, publish, "recipes.wrong_state"),
    "one withdraws, one publishes": Race(set_proposed, withdraw, publish, "recipes.wrong_state"),
    "two retire a revision": Race(set_nothing, retire, retire, "recipes.wrong_state"),
    "two copy a revision": Race(set_nothing, copy, copy, "recipes.revision_open_already"),
    "two discard a draft": Race(set_copy, discard, discard, "recipes.revision_unknown"),
    "two create a recipe": Race(set_nothing, create_recipe, create_recipe, "recipes.code_taken"),
    "two add a bench": Race(set_nothing, add_bench, add_bench, "plant.bench_code_taken"),
    "two retire a bench": Race(set_nothing, retire_bench, retire_bench, "plant.bench_retired"),
    "two add a part": Race(set_nothing, add_number, add_number, "materials.part_number_taken"),
    "two add an assembly": Race(set_nothing, add_assembly, add_assembly, "boards.assembly_taken"),
    "two register a serial": Race(set_nothing, register, register, "boards.serials_unusable"),
    "two take a layout": Race(
        set_layout, take_layout, take_layout, "boards.layout_draft_taken"
    ),
    "one drops, one takes a layout": Race(
        set_layout, drop_layout, take_layout, "boards.layout_draft_unknown"
    ),
    "two add a person": Race(set_nothing, add_person, add_person, "accounts.username_taken"),
}  # fmt: skip


def meet(sessions: Sessions, scene: Scene, race: Race) -> str:
    """Let the first have done it but not kept it when the second tries; return the second's end."""
    return run_second(sessions, scene, race.first, race.second)


Stage = TypeVar("Stage")


def run_second(
    sessions: Sessions,
    scene: Stage,
    first: Callable[[Stage, Session], object],
    second: Callable[[Stage, Session], object],
) -> str:
    """Let the second begin before the first has committed; return the second's end."""

    def come_second() -> str:
        with sessions.write() as session:
            try:
                second(scene, session)
                session.commit()
            except Refusal as refusal:
                return refusal.code
        return "done"

    with ThreadPoolExecutor(1) as pool:
        with sessions.write() as session:
            first(scene, session)
            session.flush()
            coming = pool.submit(come_second)
            if sessions.engine.dialect.name == "postgresql":
                wait_until_waiting(sessions, coming)
            session.commit()
        return coming.result(timeout=WAIT_S)


def wait_until_waiting(sessions: Sessions, second: Future[str]) -> None:
    """Return once the second waits for the first, or has ended without."""
    ends_at = time.monotonic() + WAIT_S
    while time.monotonic() < ends_at and not second.done():
        with sessions.engine.connect() as connection:
            if connection.execute(WAITING).scalar():
                return
        time.sleep(0.01)


@pytest.fixture
def scene(shop: Shop) -> Scene:
    return Scene(shop, Hasher(memory_kib=64, passes=1))


@pytest.mark.parametrize("named", RACES)
def test_who_comes_second_is_told_by_the_rule_itself(
    sessions: Sessions, scene: Scene, named: str
) -> None:
    race = RACES[named]
    with sessions.write() as session:
        race.stands(scene, session)
        session.commit()
    assert meet(sessions, scene, race) == race.told


def test_two_runs_of_one_bench_may_end_at_the_same_moment(sessions: Sessions, scene: Scene) -> None:
    def complete_other(scene: Scene, session: Session) -> None:
        scene.shop.complete(session, get_run(session, scene.other_run_id))

    with sessions.write() as session:
        set_remembering(scene, session)
        session.commit()
    race = Race(set_nothing, complete_run, complete_other, "done")
    assert meet(sessions, scene, race) == "done"
