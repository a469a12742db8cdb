"""A board with many jobs, made through the services as people would have made it."""

from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy.orm import Session

from app.accounts.permissions import Role
from app.accounts.rules import Person
from app.approval.queries import get_digest
from app.boards.rules import Side
from app.boards.schemas.assemblies import AssemblyFields
from app.boards.service import add_assembly, register_boards
from app.boards.tables import Placement
from app.core.db import Sessions
from app.core.settings import Settings
from app.jobs.queries import get_job, load_card
from app.jobs.rules import Outcome
from app.jobs.schemas import CloseJob, NewJob, NewJobSite
from app.jobs.service import clear_job, close_job, lift_hold, open_job, place_hold
from app.jobs.work import skip_step
from app.measure.people import seat
from app.plant.queries import get_bench
from app.plant.schemas import BenchFields
from app.plant.service import add_bench
from app.recipes.body.template import choose, default_body
from app.recipes.schemas import NewRecipe
from app.recipes.service import create_recipe, propose, publish

PART_NUMBER = "MEASURE-1"
DESIGNATOR = "U1"


@dataclass(frozen=True)
class _Shop:
    operator: Person
    engineer: Person
    board_id: int
    bench_id: int
    revision_id: int


def make_busy_board(sessions: Sessions, settings: Settings, *, jobs: int) -> int:
    """Make one board with this many jobs, each held, skipped through and closed; its number."""
    with sessions.write.begin() as session:
        shop = _furnish(session)
    for _ in range(jobs):
        with sessions.write.begin() as session:
            _do_job(session, shop, settings)
    return shop.board_id


def _furnish(session: Session) -> _Shop:
    now = datetime.now(UTC)
    operator = seat(session, "operator", Role.OPERATOR, now=now)
    author = seat(session, "author", Role.ENGINEER, now=now)
    approver = seat(session, "approver", Role.ENGINEER, now=now)
    administrator = seat(session, "administrator", Role.ADMINISTRATOR, now=now)
    bench = add_bench(session, BenchFields(code="B1", title="Bench"), person=administrator, now=now)
    fields = AssemblyFields(part_number=PART_NUMBER, revision="A", title="Board")
    assembly = add_assembly(session, fields, person=author, now=now)
    session.add(
        Placement(
            assembly_id=assembly.id,
            designator=DESIGNATOR,
            part_id=None,
            part_number="ARRAY",
            value="",
            package="BGA144",
            x_mm=10.0,
            y_mm=10.0,
            rotation_deg=0.0,
            side=Side.TOP,
        )
    )
    session.flush()
    (board,) = register_boards(session, assembly, ["1"], person=operator, now=now)
    body = choose(
        default_body(assembly_part_number=PART_NUMBER, designators=[DESIGNATOR]),
        nozzle="N-15",
        vacuum_cup="CUP-4",
        flux="tacky flux",
    )
    recipe = NewRecipe(code="R1", title="Remove and place", reason="First issue", body=body)
    revision = create_recipe(session, recipe, person=author, now=now)
    propose(session, revision, person=author, now=now)
    publish(session, revision, seen_digest=get_digest(revision), person=approver, now=now)
    return _Shop(operator, author, board.id, bench.id, revision.id)


def _do_job(session: Session, shop: _Shop, settings: Settings) -> None:
    now = datetime.now(UTC)
    new = NewJob(
        board_id=shop.board_id,
        reason="Opens in the boundary test",
        reference="NC-1",
        sites=[NewJobSite(designator=DESIGNATOR, recipe_revision_id=shop.revision_id)],
    )
    job = get_job(session, open_job(session, new, person=shop.operator, now=now).id)
    place_hold(session, job, "Waits for a nozzle", person=shop.operator, now=now)
    lift_hold(session, job, "The nozzle came", person=shop.engineer, now=now)
    bench = get_bench(session, shop.bench_id)
    clear_job(session, job, bench, settings=settings, person=shop.operator, now=now)
    for step in load_card(session, job).sites[0].steps:
        skip_step(session, job, step.id, "Not needed", person=shop.operator, now=now)
    said = CloseJob(outcome=Outcome.REJECTED, remark="Nothing was done")
    close_job(session, job, said, person=shop.operator, now=now)
