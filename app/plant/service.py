"""Changes benches."""

from datetime import datetime

from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.audit import service as audit
from app.audit.rules import Subject
from app.core.races import insert_unless_taken, wait_for_names, wait_for_row
from app.plant.measuring import MeasuringChain
from app.plant.queries import find_bench
from app.plant.rules import BenchCodeTaken, check_in_use
from app.plant.schemas import BenchFields
from app.plant.tables import Bench


def add_bench(session: Session, fields: BenchFields, *, person: Person, now: datetime) -> Bench:
    """Add a bench."""
    bench = insert_unless_taken(
        session,
        Bench,
        name="code",
        values={**fields.model_dump(), "created_at": now, "version": 1},
    )
    if bench is None:
        raise _spell_taken(fields.code)
    _tell(session, bench, "plant.add_bench", person=person, now=now, fields=fields)
    return bench


def edit_bench(
    session: Session, bench: Bench, fields: BenchFields, *, person: Person, now: datetime
) -> Bench:
    """Change what a bench is called and has."""
    check_in_use(bench.code, is_retired=bench.retired_at is not None)
    _check_code_free(session, fields.code, bench_id=bench.id)
    for name, value in fields.model_dump().items():
        setattr(bench, name, value)
    session.flush()
    _tell(session, bench, "plant.edit_bench", person=person, now=now, fields=fields)
    return bench


def retire_bench(session: Session, bench: Bench, *, person: Person, now: datetime) -> Bench:
    """Take a bench out of use; its runs keep naming it."""
    wait_for_row(session, bench)
    check_in_use(bench.code, is_retired=bench.retired_at is not None)
    bench.retired_at = now
    session.flush()
    _tell(session, bench, "plant.retire_bench", person=person, now=now, fields=None)
    return bench


def reinstate_bench(session: Session, bench: Bench, *, person: Person, now: datetime) -> Bench:
    """Take a bench into use again; one that is in use is left alone."""
    wait_for_row(session, bench)
    if bench.retired_at is None:
        return bench
    bench.retired_at = None
    session.flush()
    _tell(session, bench, "plant.reinstate_bench", person=person, now=now, fields=None)
    return bench


def describe_chain(
    session: Session,
    bench: Bench,
    chain: MeasuringChain | None,
    *,
    person: Person,
    now: datetime,
) -> Bench:
    """Say how a bench measures, or with None that nothing is said any more.

    What is said already changes nothing. Runs keep the chain they were analysed with.
    """
    check_in_use(bench.code, is_retired=bench.retired_at is not None)
    before = bench.measuring_chain
    after = None if chain is None else chain.model_dump(mode="json")
    if after == before:
        return bench
    bench.measuring_chain = after
    session.flush()
    audit.append(
        session,
        action="plant.describe_chain",
        subject=Subject("bench", bench.id),
        actor=person.actor,
        now=now,
        details={"code": bench.code, "before": before, "after": after},
    )
    return bench


def _check_code_free(session: Session, code: str, *, bench_id: int | None) -> None:
    wait_for_names(session, "plant.bench_code")
    other = find_bench(session, code)
    if other is not None and other.id != bench_id:
        raise _spell_taken(code)


def _spell_taken(code: str) -> BenchCodeTaken:
    return BenchCodeTaken(f"Another bench has the code {code} already.", field="code")


def _tell(
    session: Session,
    bench: Bench,
    action: str,
    *,
    person: Person,
    now: datetime,
    fields: BenchFields | None,
) -> None:
    audit.append(
        session,
        action=action,
        subject=Subject("bench", bench.id),
        actor=person.actor,
        now=now,
        details={"code": bench.code} if fields is None else fields.model_dump(),
    )
