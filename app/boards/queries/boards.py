"""Reads boards and sites."""

from collections.abc import Collection, Sequence
from typing import Final

from sqlalchemy import Select, select
from sqlalchemy.orm import Session, joinedload

from app.boards.rules import (
    BoardUnknown,
    SerialUnusable,
    SiteUnknown,
    parse_serial,
    sort_key_of_designator,
)
from app.boards.tables import Board, Placement, Site

BOARDS_FOUND_MAX: Final = 50


def get_board(session: Session, board_id: int) -> Board:
    """Return a board with its assembly; BoardUnknown if there is none."""
    board = session.get(Board, board_id, options=[joinedload(Board.assembly)])
    if board is None:
        raise BoardUnknown(f"There is no board number {board_id}.", field="board_id")
    return board


def find_boards(session: Session, serial: str) -> Sequence[Board]:
    """Return the boards with exactly this serial, newest first, with their assemblies.

    A serial is unique within an assembly only. Text that is no serial finds nothing.
    """
    try:
        spelt = parse_serial(serial)
    except SerialUnusable:
        return []
    return session.scalars(
        select_boards().where(Board.serial == spelt).order_by(Board.id.desc())
    ).all()


def select_boards(*, assembly_id: int | None = None, text: str = "") -> Select[Board]:
    """Return the select of boards with their assemblies: of one assembly, or holding a text."""
    rows = select(Board).options(joinedload(Board.assembly))
    if assembly_id is not None:
        rows = rows.where(Board.assembly_id == assembly_id)
    return rows.where(Board.serial.icontains(text, autoescape=True)) if text else rows


def list_serials(session: Session, *, assembly_id: int, among: Collection[str]) -> Sequence[str]:
    """Return those of some serials that an assembly has already."""
    return session.scalars(
        select(Board.serial).where(Board.assembly_id == assembly_id, Board.serial.in_(among))
    ).all()


def find_site(session: Session, *, board_id: int, placement_id: int) -> Site | None:
    """Return the site of a designator on a board, or None where nothing was ever asked of it."""
    return session.scalar(
        select(Site).where(Site.board_id == board_id, Site.placement_id == placement_id)
    )


def get_site(session: Session, site_id: int) -> Site:
    """Return a site with its board, assembly, designator and part; SiteUnknown for none."""
    site = session.get(
        Site,
        site_id,
        options=[
            joinedload(Site.board).joinedload(Board.assembly),
            joinedload(Site.placement).joinedload(Placement.part),
        ],
    )
    if site is None:
        raise SiteUnknown(f"There is no site number {site_id}.", field="site_id")
    return site


def list_sites(session: Session, board_id: int) -> Sequence[Site]:
    """Return the sites of a board with designators and parts, C2 before C10."""
    rows = session.scalars(
        select(Site)
        .where(Site.board_id == board_id)
        .options(joinedload(Site.placement).joinedload(Placement.part))
    ).all()
    return sorted(rows, key=lambda row: sort_key_of_designator(row.placement.designator))
