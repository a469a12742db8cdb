"""A bench with a board to rework, its published recipe, and a logger that writes files."""

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import pytest
from fastapi.testclient import TestClient
from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.approval.queries import get_digest
from app.boards.rules import Side
from app.boards.schemas.assemblies import AssemblyFields
from app.boards.service import add_assembly, register_boards
from app.boards.tables import Placement
from app.core.db import Sessions
from app.core.settings import Settings
from app.jobs import runs, service, work
from app.jobs.logger_file import LoggerFile
from app.jobs.queries import get_job, get_run, load_card
from app.jobs.rules import HEATED, RunState, StepKind
from app.jobs.schemas import (
    CloseJob,
    InspectionResult,
    LotUsed,
    NewJob,
    NewJobSite,
    StepDone,
    TraceChosen,
    ValueUsed,
)
from app.jobs.tables import Job, Run
from app.materials.rules import PackageType
from app.materials.schemas import PartFields
from app.materials.service import add_part
from app.plant.queries import get_bench
from app.plant.schemas import BenchFields
from app.plant.service import add_bench
from app.recipes.body.recipe import RecipeBody
from app.recipes.body.template import choose, default_body
from app.recipes.schemas import NewRecipe
from app.recipes.service import create_recipe, propose, publish
from app.traces.rules import Channel, ChannelMap, ChannelRole, ReadingChoices

PROFILE = ((0, 18), (90, 150), (180, 200), (215, 220), (245, 238), (290, 220), (400, 80))
OFFSETS = {"T1": 0.0, "T2": 1.5, "T3": 2.5, "T4": -20.0}


def heat(moment_s: float, *, peak_shift_k: float = 0.0) -> float:
    """Return an invented joint temperature in °C; what is above 200 °C grows by the shift."""
    for (from_s, from_c), (to_s, to_c) in itertools.pairwise(PROFILE):
        if moment_s <= to_s:
            at = from_c + (to_c - from_c) * (moment_s - from_s) / (to_s - from_s)
            return at + peak_shift_k * max(at - 200, 0.0) / 38.0
    return float(PROFILE[-1][1])


def write_log(
    *,
    unit: str = "°C",
    headers: Sequence[str] = ("T1", "T2", "T3", "T4"),
    delimiter: str = ",",
    mark: str = ".",
    decimals: int = 1,
    peak_shift_k: float = 0.0,
    cells: Mapping[tuple[int, str], str] | None = None,
) -> bytes:
    """Write what a general logger would: one row a second, `cells` put in by second and header."""
    named = [f"{name} ({unit})" if unit else name for name in headers]
    lines = [delimiter.join(["Time (s)", *named])]
    for second in range(401):
        row = [str(second)]
        for place, name in enumerate(headers):
            celsius = heat(second, peak_shift_k=peak_shift_k) + list(OFFSETS.values())[place]
            value = celsius * 9 / 5 + 32 if unit == "°F" else celsius
            text = f"{value:.{decimals}f}".replace(".", mark)
            row.append((cells or {}).get((second, name), text))
        lines.append(delimiter.join(row))
    return ("\n".join(lines) + "\n").encode()


def make_body(**parts: object) -> RecipeBody:
    """Return the template's body for U3 of the level controller, some parts replaced."""
    body = choose(
        default_body(assembly_part_number="LIMNET-07", designators=["U3"]),
        nozzle="N-15",
        vacuum_cup="CUP-4",
        flux="tacky flux",
    )
    return RecipeBody.model_validate({**body.model_dump(mode="json"), **parts})


CHANNELS = ChannelMap(
    channels=(
        Channel(column=1, name="T1", role=ChannelRole.JOINT_CENTRE),
        Channel(column=2, name="T2", role=ChannelRole.JOINT_CORNER),
        Channel(column=3, name="T3", role=ChannelRole.BODY),
        Channel(column=4, name="T4", role=ChannelRole.BOARD),
    )
)


@dataclass
class Shop:
    """The numbers of what stands in the shop, and the acts of its people in short."""

    sessions: Sessions
    settings: Settings
    odile: Person
    ines: Person
    edda: Person
    now: datetime
    board_id: int = 0
    bench_id: int = 0
    revision_id: int = 0

    def open_job(self, session: Session, *, designator: str = "U3") -> Job:
        """Open a job for one site."""
        new = NewJob(
            board_id=self.board_id,
            reason="Opens under U3 in the boundary test",
            reference="NC-2291",
            sites=[NewJobSite(designator=designator, recipe_revision_id=self.revision_id)],
        )
        job = service.open_job(session, new, person=self.odile, now=self.now)
        return get_job(session, job.id)

    def clear(self, session: Session, job: Job) -> None:
        """Clear a job at the bench."""
        service.clear_job(
            session,
            job,
            get_bench(session, self.bench_id),
            settings=self.settings,
            person=self.odile,
            now=self.now,
        )

    def step_id(self, session: Session, job: Job, kind: StepKind) -> int:
        """Return the number of a job's line."""
        (site,) = load_card(session, job).sites
        return next(step.id for step in site.steps if step.kind is kind)

    def start(
        self, session: Session, job: Job, kind: StepKind, content: bytes | None = None
    ) -> Run:
        """Start a run of a line with a file."""
        run = runs.start_run(
            session,
            job,
            self.step_id(session, job, kind),
            bench=get_bench(session, self.bench_id),
            file=LoggerFile(write_log() if content is None else content, settings=self.settings),
            file_name="log.csv",
            settings=self.settings,
            person=self.odile,
            now=self.now,
        )
        return get_run(session, run.id)

    def complete(self, session: Session, run: Run, **said: object) -> Run:
        """Complete a run with the shop's channels."""
        chosen = TraceChosen.model_validate({"channel_map": CHANNELS, **said})
        return runs.complete_run(
            session, run, chosen, settings=self.settings, person=self.odile, now=self.now
        )

    def record(
        self, session: Session, job: Job, kind: StepKind, content: bytes | None = None
    ) -> Run:
        """Start and complete a run of a line."""
        return self.complete(session, self.start(session, job, kind, content))

    def sign(self, session: Session, job: Job, kind: StepKind, **said: object) -> int:
        """Sign a line, after recording its run where it is heated."""
        if kind in HEATED:
            assert self.record(session, job, kind).state is RunState.COMPLETE
        given: dict[str, object] = {
            "values": [ValueUsed(label="Nozzle", value="N-15")],
            "lots": [LotUsed(what="flux", lot="F-2231")] if kind is StepKind.DEPOSIT else [],
            "inspection": InspectionResult(visual="pass", xray="pass", electrical="pass")
            if kind is StepKind.INSPECT
            else None,
            **said,
        }
        done = StepDone.model_validate(given)
        step_id = self.step_id(session, job, kind)
        return work.sign_step(session, job, step_id, done, person=self.odile, now=self.now).id

    def finish(self, session: Session, job: Job, **said: object) -> None:
        """Sign every line of a cleared job and close it."""
        (site,) = load_card(session, job).sites
        for step in site.steps:
            self.sign(session, job, step.kind)
        close = CloseJob.model_validate({"outcome": "accepted", **said})
        service.close_job(session, job, close, person=self.odile, now=self.now)


MakeRevision = Callable[..., int]


@pytest.fixture
def shop(
    sessions: Sessions,
    settings: Settings,
    odile: Person,
    ines: Person,
    edda: Person,
    ada: Person,
    now: datetime,
) -> Shop:
    """Furnish a bench, board 0417 of assembly LIMNET-07, and a published recipe for U3."""
    return furnish(Shop(sessions, settings, odile, ines, edda, now), ada)


def furnish(made: Shop, ada: Person) -> Shop:
    """Put the bench, the part, the assembly, the board and the recipe into a house."""
    ines, now = made.ines, made.now
    with made.sessions.write() as session:
        bench = add_bench(
            session,
            BenchFields(code="B1", title="Hot gas bench", has_nitrogen=True),
            person=ada,
            now=now,
        )
        part = add_part(
            session,
            PartFields(
                part_number="ZQ-4410",
                title="Controller",
                package_type=PackageType.BGA,
                classification_c=260,
                max_body_c=260,
                reflow_cycles_allowed=3,
            ),
            person=ines,
            now=now,
        )
        assembly = add_assembly(
            session,
            AssemblyFields(part_number="LIMNET-07", revision="B", title="Level controller"),
            person=ines,
            now=now,
        )
        for number, designator in enumerate(("U3", "U5", "R1")):
            is_array = designator != "R1"
            session.add(
                Placement(
                    assembly_id=assembly.id,
                    designator=designator,
                    part_id=part.id if is_array else None,
                    part_number="ZQ-4410" if is_array else "R-10K",
                    value="",
                    package="BGA144" if is_array else "0402",
                    x_mm=10.0 + number,
                    y_mm=20.0,
                    rotation_deg=0.0,
                    side=Side.TOP,
                )
            )
        session.flush()
        (board,) = register_boards(session, assembly, ["0417"], person=made.odile, now=now)
        made.bench_id, made.board_id = bench.id, board.id
        made.revision_id = publish_recipe(made, session, make_body())
        session.commit()
    return made


def publish_recipe(shop: Shop, session: Session, body: RecipeBody, *, code: str = "LIM-U3") -> int:
    """Write, propose and publish a recipe's first revision, and return its number."""
    fields = NewRecipe(code=code, title="Remove and place", reason="First issue", body=body)
    revision = create_recipe(session, fields, person=shop.ines, now=shop.now)
    propose(session, revision, person=shop.ines, now=shop.now)
    publish(session, revision, seen_digest=get_digest(revision), person=shop.edda, now=shop.now)
    return revision.id


@dataclass
class Caller:
    """The shop as a program sees it over REST."""

    client: TestClient
    shop: Shop

    def open_job(self, **more: object) -> dict[str, object]:
        """Open a job and return its JSON."""
        body = {
            "board_id": self.shop.board_id,
            "reason": "Opens under U3",
            "sites": [{"designator": "U3", "recipe_revision_id": self.shop.revision_id}],
            **more,
        }
        answer = self.client.post("/api/v1/jobs", json=body)
        assert answer.status_code == 201, answer.text
        found: dict[str, object] = answer.json()
        return found


def is_near(value: float, wanted: float, *, within: float) -> bool:
    """Say whether two numbers are no further apart than `within`."""
    return math.isclose(value, wanted, rel_tol=0, abs_tol=within)


NO_CHOICES = ReadingChoices()
