"""The first day: accounts, benches, parts and assemblies with their layouts."""

from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta
from functools import partial
from typing import Final

from sqlalchemy.orm import Session

from app.accounts.passwords.hashing import get_hasher
from app.accounts.passwords.wording import make_temporary_password
from app.accounts.permissions import Role
from app.accounts.rules import Person as SignedIn
from app.accounts.service import TERMINAL, add_account
from app.boards.queries import get_assembly, get_draft
from app.boards.rules import FileKind
from app.boards.schemas.assemblies import AssemblyFields
from app.boards.service import add_assembly, start_draft, take_layout
from app.materials.rules import PackageType
from app.materials.schemas import PartFields
from app.materials.service import add_part
from app.plant.schemas import BenchFields
from app.plant.service import add_bench, describe_chain
from seed_demo.chains import make_chain
from seed_demo.layout_files import write_bill, write_placement
from seed_demo.load_acts import Act, DemoAccount, Do, Stage, spread
from seed_demo.plant import (
    ASSEMBLIES,
    BENCHES,
    PARTS,
    PEOPLE,
    Assembly,
    Bench,
    Part,
    Person,
    list_people,
)
from seed_demo.working_time import ZONE, at, find_working_day

# Before the earliest draft of a recipe, which lies at most 244 days before the end.
_FIRST_DAY_DAYS: Final = 250
_ARRAY_FAMILIES: Final = {str(kind) for kind in PackageType}


def list_plant_acts(stage: Stage, end: datetime) -> Iterator[Act]:
    """List the acts of the plant's first day, which lies before everything else of the story."""
    day = find_working_day(end.astimezone(ZONE).date() - timedelta(days=_FIRST_DAY_DAYS))
    administrators = list_people("administrator")
    others = [person for person in PEOPLE if person not in administrators]
    yield from spread(
        _count_minutes(day, hour=7), [partial(_add_account, stage, one) for one in administrators]
    )
    keeper = administrators[0].username
    yield from spread(
        _count_minutes(day, hour=8),
        [partial(_add_account, stage, one, keeper=keeper) for one in others],
    )
    yield from spread(
        _count_minutes(day, hour=9),
        [partial(_add_bench, stage, bench, keeper=keeper) for bench in BENCHES],
    )
    engineer = list_people("engineer")[0].username
    yield from spread(
        _count_minutes(day, hour=10),
        [partial(_add_part, stage, part, engineer=engineer) for part in PARTS],
    )
    yield from spread(
        _count_minutes(day, hour=13), _list_layout_doings(stage, ASSEMBLIES, engineer=engineer)
    )


def _count_minutes(day: date, *, hour: int) -> Iterator[datetime]:
    moment = at(day, hour)
    while True:
        moment += timedelta(minutes=1, seconds=23)
        yield moment


def _add_account(
    stage: Stage, one: Person, session: Session, now: datetime, *, keeper: str | None = None
) -> None:
    """Add one account; the first administrator comes from the terminal, as in any plant."""
    password = make_temporary_password(one.username)
    account = add_account(
        session,
        username=one.username,
        name=one.name,
        roles=[Role(role) for role in one.roles],
        password=password,
        hasher=get_hasher(stage.settings),
        actor=stage.people[keeper].actor if keeper else TERMINAL,
        now=now,
    )
    stage.people[one.username] = SignedIn(
        account_id=account.id,
        username=account.username,
        name=account.name,
        commitment=account.commitment,
        roles=account.roles,
        via="session",
        csrf="",
    )
    stage.accounts.append(DemoAccount(one.username, one.name, one.roles, password))


def _add_bench(stage: Stage, bench: Bench, session: Session, now: datetime, *, keeper: str) -> None:
    fields = BenchFields(code=bench.code, title=bench.name, has_nitrogen=bench.has_nitrogen)
    row = add_bench(session, fields, person=stage.people[keeper], now=now)
    chain = make_chain(bench.code, first_day=now.astimezone(ZONE).date())
    describe_chain(session, row, chain, person=stage.people[keeper], now=now)
    stage.bench_ids[bench.code] = row.id


def _add_part(stage: Stage, part: Part, session: Session, now: datetime, *, engineer: str) -> None:
    is_array = part.package in _ARRAY_FAMILIES
    fields = PartFields.model_validate(
        {
            "part_number": part.part_number,
            "title": part.description,
            "package_type": part.package if is_array else "other",
            "length_mm": part.length_mm,
            "width_mm": part.width_mm,
            "height_mm": part.height_mm,
            "pitch_mm": part.pitch_mm,
            "ball_alloy": part.ball_alloy,
            "moisture_level": part.moisture_level,
            "classification_c": part.classification_c,
            "max_body_c": part.max_body_c,
            "reflow_cycles_allowed": part.reflow_cycles,
            "notes": "" if is_array else f"Package {part.package}.",
        }
    )
    add_part(session, fields, person=stage.people[engineer], now=now)


def _list_layout_doings(
    stage: Stage, assemblies: Iterable[Assembly], *, engineer: str
) -> Iterator[Do]:
    for assembly in assemblies:
        draft_ids: list[int] = []
        yield partial(_add_assembly, stage, assembly, engineer=engineer)
        yield partial(_start_layout, stage, assembly, draft_ids, engineer=engineer)
        yield partial(_take_layout, stage, draft_ids, engineer=engineer)


def _add_assembly(
    stage: Stage, assembly: Assembly, session: Session, now: datetime, *, engineer: str
) -> None:
    fields = AssemblyFields(
        part_number=assembly.part_number,
        revision=assembly.revision,
        title=assembly.name,
        length_mm=assembly.length_mm,
        width_mm=assembly.width_mm,
        thickness_mm=assembly.thickness_mm,
        layers=assembly.layers,
        alloy=assembly.joint_alloy,
        finish=assembly.finish,
        notes=assembly.notes,
    )
    row = add_assembly(session, fields, person=stage.people[engineer], now=now)
    stage.assembly_ids[assembly.part_number] = row.id


def _start_layout(
    stage: Stage,
    assembly: Assembly,
    draft_ids: list[int],
    session: Session,
    now: datetime,
    *,
    engineer: str,
) -> None:
    number = assembly.part_number
    name = f"{number}-{assembly.revision}"
    draft = start_draft(
        session,
        get_assembly(session, stage.assembly_ids[number]),
        {
            FileKind.PLACEMENT: (f"{name}-placement.csv", write_placement(number).encode()),
            FileKind.BILL: (f"{name}-bill.csv", write_bill(number).encode()),
        },
        person=stage.people[engineer],
        now=now,
    )
    draft_ids.append(draft.id)


def _take_layout(
    stage: Stage, draft_ids: list[int], session: Session, now: datetime, *, engineer: str
) -> None:
    take_layout(
        session,
        get_draft(session, draft_ids[-1]),
        leave_out_refused=False,
        new_revision=None,
        person=stage.people[engineer],
        now=now,
    )
