"""Reads layout drafts, and the files they hold."""

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.boards.files import (
    BillChoices,
    PlacementChoices,
    read_bill_file,
    read_placement_file,
)
from app.boards.queries.assemblies import get_assembly
from app.boards.queries.placements import select_placements
from app.boards.queries.previews import LayoutPreview, ReadBill, ReadPlacement, make_preview
from app.boards.rules import DraftUnknown, FileKind
from app.boards.tables import Assembly, LayoutDraft
from app.core.refusals import Refusal
from app.files.queries import get_content


def get_draft(session: Session, draft_id: int) -> LayoutDraft:
    """Return a layout draft; DraftUnknown if there is none."""
    draft = session.get(LayoutDraft, draft_id)
    if draft is None:
        raise DraftUnknown(f"There is no layout draft number {draft_id}.", field="draft_id")
    return draft


def list_open_drafts(session: Session, assembly_id: int) -> Sequence[LayoutDraft]:
    """Return the drafts of an assembly that were neither taken nor dropped, newest first."""
    return session.scalars(
        select(LayoutDraft)
        .where(LayoutDraft.assembly_id == assembly_id, LayoutDraft.taken_at.is_(None))
        .order_by(LayoutDraft.id.desc())
        .limit(20)
    ).all()


def find_taken_draft(
    session: Session, *, part_number: str, kind: FileKind, sha256: str
) -> LayoutDraft | None:
    """Return the newest taken draft of any revision that held a file, or None."""
    column = {
        FileKind.PLACEMENT: LayoutDraft.placement_sha256,
        FileKind.BILL: LayoutDraft.bill_sha256,
    }[kind]
    return session.scalar(
        select(LayoutDraft)
        .join(Assembly, LayoutDraft.assembly_id == Assembly.id)
        .where(
            Assembly.part_number == part_number,
            LayoutDraft.taken_at.is_not(None),
            column == sha256,
        )
        .order_by(LayoutDraft.id.desc())
        .limit(1)
    )


def read_preview(session: Session, draft: LayoutDraft) -> LayoutPreview:
    """Read a draft's files as its choices say, join them, and compare with the stored layout."""
    assembly = get_assembly(session, draft.assembly_id)
    stored = None
    if assembly.layout_at is not None:
        stored = session.scalars(select_placements(assembly.id)).all()
    return make_preview(_read_placement(session, draft), _read_bill(session, draft), stored=stored)


def _read_placement(session: Session, draft: LayoutDraft) -> ReadPlacement | None:
    if draft.placement_sha256 is None:
        return None
    name, digest = draft.placement_name or "", draft.placement_sha256
    choices = PlacementChoices.model_validate(draft.placement_choices)
    try:
        reading = read_placement_file(get_content(session, digest), choices=choices)
    except Refusal as refusal:
        return ReadPlacement(name, digest, None, refusal.sentence)
    return ReadPlacement(name, digest, reading)


def _read_bill(session: Session, draft: LayoutDraft) -> ReadBill | None:
    if draft.bill_sha256 is None:
        return None
    name, digest = draft.bill_name or "", draft.bill_sha256
    choices = BillChoices.model_validate(draft.bill_choices)
    try:
        reading = read_bill_file(get_content(session, digest), choices=choices)
    except Refusal as refusal:
        return ReadBill(name, digest, None, refusal.sentence)
    return ReadBill(name, digest, reading)
