"""JSON routes of histories, of the audit trail and of its verification."""

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.audit.tables import AuditEntry
from app.core.paging import AskedPage, Piece, spell_cursor, take_piece
from app.core.request import HouseSettings, PathId
from app.history.asked import StoryAsked, TrailAsked, select_asked
from app.history.queries import get_entry
from app.history.snapshot import Snapshot
from app.history.story import check_shown, filter_lines, load_piece, load_story
from app.history.views import AuditEntryView, StoryLineView, VerificationView
from app.history.watch import HouseLog

router = APIRouter(tags=["history"])

Reader = Annotated[Person, Depends(needs(Action.READ))]
Auditor = Annotated[Person, Depends(needs(Action.AUDIT_READ))]
Verifier = Annotated[Person, Depends(needs(Action.AUDIT_VERIFY))]


@router.get("/boards/{board_id}/history")
def list_history(
    board_id: PathId,
    session: Snapshot,
    settings: HouseSettings,
    paging: AskedPage,
    asked: StoryAsked,
    _: Reader,
) -> Piece[StoryLineView]:
    """List everything that ever happened to a board, oldest first, with the entries beneath."""
    wanted = asked.parse(settings.zone)
    begin = paging.after_id or 0
    if wanted.is_open:
        piece = load_piece(session, board_id, begin=begin, limit=paging.limit)
        after = begin + paging.limit
        return Piece(
            items=[StoryLineView.of(line) for line in piece.lines],
            next_cursor=spell_cursor(after) if after < piece.total else None,
        )
    story = load_story(session, board_id)
    lines = filter_lines(story.lines, wanted)
    shown = check_shown(session, story, lines[begin : begin + paging.limit])
    after = begin + paging.limit
    return Piece(
        items=[StoryLineView.of(line) for line in shown],
        next_cursor=spell_cursor(after) if after < len(lines) else None,
    )


@router.get("/audit-entries")
def list_entries(
    session: Snapshot, settings: HouseSettings, paging: AskedPage, asked: TrailAsked, _: Auditor
) -> Piece[AuditEntryView]:
    """List the entries of the log, newest first."""
    rows, cursor = take_piece(
        session,
        select_asked(asked, settings.zone),
        key=AuditEntry.seq,
        paging=paging,
        newest_first=True,
    )
    return Piece(items=[AuditEntryView.of(row) for row in rows], next_cursor=cursor)


@router.get("/audit-entries/{seq}")
def show_entry(seq: PathId, session: Snapshot, _: Auditor) -> AuditEntryView:
    """Show one entry whole."""
    return AuditEntryView.of(get_entry(session, seq))


@router.get("/audit-log/verification")
def show_verification(house_log: HouseLog, _: Auditor) -> VerificationView:
    """Show how the log stands: new entries are proven first, then the last whole check told."""
    return VerificationView.of(house_log.look())


@router.post("/audit-log/verification", status_code=HTTPStatus.ACCEPTED)
def begin_verification(house_log: HouseLog, _: Verifier) -> VerificationView:
    """Begin a check of every entry and record; ask with GET until `running` is null."""
    house_log.start_check()
    return VerificationView.of(house_log.look())


@router.delete("/audit-log/verification")
def stop_verification(house_log: HouseLog, _: Verifier) -> VerificationView:
    """Ask the running check to stop."""
    house_log.stop_check()
    return VerificationView.of(house_log.look())
