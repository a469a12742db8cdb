"""Reads benches."""

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from app.plant.measuring import MeasuringChain, lapse_corrections, parse_chain
from app.plant.rules import BenchUnknown
from app.plant.tables import Bench


def get_bench(session: Session, bench_id: int) -> Bench:
    """Return a bench; BenchUnknown if there is none."""
    bench = session.get(Bench, bench_id)
    if bench is None:
        raise BenchUnknown(f"There is no bench number {bench_id}.", field="bench_id")
    return bench


def find_bench(session: Session, code: str) -> Bench | None:
    """Return the bench with this code, or None."""
    return session.scalar(select(Bench).where(Bench.code == code))


def list_benches(session: Session, *, with_retired: bool = False) -> Sequence[Bench]:
    """Return the benches by code; those out of use only when asked for."""
    rows = select(Bench).order_by(Bench.code)
    return session.scalars(rows if with_retired else rows.where(Bench.retired_at.is_(None))).all()


def select_benches() -> Select[Bench]:
    """Return the select of all benches, for reading in pieces."""
    return select(Bench)


def find_chain(bench: Bench) -> MeasuringChain | None:
    """Return the measuring chain that a bench was described with; None where it was not."""
    return None if bench.measuring_chain is None else parse_chain(bench.measuring_chain)


def find_chain_at(bench: Bench, *, now: datetime, zone: ZoneInfo) -> MeasuringChain | None:
    """Return the chain of a bench as it is at a moment, its calibrations lapsed or not."""
    chain = find_chain(bench)
    return None if chain is None else lapse_corrections(chain, now=now, zone=zone)
