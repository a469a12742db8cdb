"""Changes boards and their sites."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.audit import service as audit
from app.audit.rules import Subject
from app.boards.queries import find_site, get_placement, list_serials
from app.boards.rules import list_readable_serials, parse_serials
from app.boards.tables import Assembly, Board, Site
from app.core.races import wait_for_row


def register_boards(
    session: Session,
    assembly: Assembly,
    lines: Sequence[str],
    *,
    note: str = "",
    person: Person,
    now: datetime,
) -> list[Board]:
    """Register one board for each line that holds a serial: all of them or none.

    Raises the refusals of parse_serials.
    """
    # Two people who register the same serial would otherwise not see each other's.
    wait_for_row(session, assembly)
    asked = list_readable_serials(lines)
    known = list_serials(session, assembly_id=assembly.id, among=asked)
    serials = parse_serials(lines, known=set(known))
    boards = [
        Board(
            assembly=assembly,
            assembly_id=assembly.id,
            serial=serial,
            note=note,
            registered_at=now,
            registered_by_id=person.account_id,
        )
        for serial in serials
    ]
    session.add_all(boards)
    session.flush()
    for board in boards:
        audit.append(
            session,
            action="boards.register",
            subject=Subject("board", board.id),
            actor=person.actor,
            now=now,
            board_id=board.id,
            details={
                "serial": board.serial,
                "assembly_id": assembly.id,
                "part_number": assembly.part_number,
                "revision": assembly.revision,
                "note": note,
            },
        )
    return boards


def edit_board(
    session: Session, board: Board, *, note: str, person: Person, now: datetime
) -> Board:
    """Change a board's note; its serial and assembly stay for good."""
    if board.note == note:
        return board
    before = board.note
    board.note = note
    session.flush()
    audit.append(
        session,
        action="boards.edit_board",
        subject=Subject("board", board.id),
        actor=person.actor,
        now=now,
        board_id=board.id,
        details={"before": {"note": before}, "after": {"note": note}},
    )
    return board


def get_or_create_site(session: Session, board: Board, designator: str) -> Site:
    """Return the site of a designator on a board, made at its first use.

    PlacementUnknown when the board's assembly has no such designator. The caller's own audit
    entry names the designator.
    """
    placement = get_placement(session, assembly_id=board.assembly_id, designator=designator)
    site = find_site(session, board_id=board.id, placement_id=placement.id)
    if site is None:
        site = Site(board_id=board.id, placement_id=placement.id, board=board, placement=placement)
        session.add(site)
        session.flush()
    return site
