"""Looks boards and jobs up by what was typed."""

from typing import Any, Final

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from app.boards.tables import Assembly, Board
from app.history.queries import Rows
from app.jobs.tables import Job

SIMILAR_MAX: Final = 20


def list_similar_boards(session: Session, start: str) -> Rows:
    """Return boards whose serial begins with a text, without regard to case; at most twenty."""
    return session.execute(
        _select_found()
        .where(Board.serial.istartswith(start, autoescape=True))
        .order_by(Board.serial, Board.id)
        .limit(SIMILAR_MAX)
    ).all()


def list_boards_with_serial(session: Session, serial: str) -> Rows:
    """Return the boards with exactly this serial, newest first."""
    return session.execute(
        _select_found().where(Board.serial == serial).order_by(Board.id.desc()).limit(SIMILAR_MAX)
    ).all()


def list_jobs_with_reference(session: Session, text: str) -> Rows:
    """Return the newest jobs whose reference holds a text, without regard to case."""
    return session.execute(
        select(Job.id, Job.reference, Job.state, Job.outcome, Board.serial)
        .join(Board, Board.id == Job.board_id)
        .where(Job.reference != "", Job.reference.icontains(text, autoescape=True))
        .order_by(Job.id.desc())
        .limit(SIMILAR_MAX)
    ).all()


def has_job(session: Session, job_id: int) -> bool:
    """Say whether there is a job with this number."""
    return session.scalar(select(Job.id).where(Job.id == job_id)) is not None


def _select_found() -> Select[*tuple[Any, ...]]:
    return select(
        Board.id,
        Board.serial,
        Board.scrapped_at,
        Assembly.part_number,
        Assembly.revision,
        Assembly.title,
    ).join(Assembly, Assembly.id == Board.assembly_id)
