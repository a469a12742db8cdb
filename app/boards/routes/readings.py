"""Spells what was read of layout files as JSON."""

from dataclasses import asdict

from sqlalchemy.orm import Session

from app.boards.files import BillReading, PlacementReading
from app.boards.files.grid import Guess, T
from app.boards.queries import (
    LayoutPreview,
    ReadBill,
    ReadPlacement,
    get_assembly,
    list_revisions,
)
from app.boards.rules import suggest_next_revision
from app.boards.schemas.layouts import (
    ChangeView,
    ColumnView,
    FileReadingView,
    GuessView,
    LayoutPreviewView,
    RefusedLineView,
    RowView,
)
from app.boards.tables import LayoutDraft


def spell_preview(
    session: Session, draft: LayoutDraft, preview: LayoutPreview
) -> LayoutPreviewView:
    """Return the JSON of a preview."""
    suggested = None
    if preview.corrects_layout:
        assembly = get_assembly(session, draft.assembly_id)
        taken = {row.revision for row in list_revisions(session, assembly.part_number)}
        suggested = suggest_next_revision(assembly.revision, taken=taken)
    return LayoutPreviewView(
        draft_id=draft.id,
        version=draft.version,
        placement=_spell_file(preview.placement),
        bill=_spell_file(preview.bill),
        part_count=len(preview.join.parts),
        findings=list(preview.join.findings),
        not_placed=list(preview.join.not_placed),
        not_billed=list(preview.join.not_billed),
        corrects_layout=preview.corrects_layout,
        changes=[ChangeView(**asdict(change)) for change in preview.changes],
        suggested_revision=suggested,
        refused_count=len(preview.refused),
        hindrances=list(preview.hindrances),
    )


def _spell_file(file: ReadPlacement | ReadBill | None) -> FileReadingView | None:
    if file is None:
        return None
    reading = file.reading
    if reading is None:
        return FileReadingView(name=file.name, sha256=file.sha256, refusal=file.refusal)
    return FileReadingView(
        name=file.name,
        sha256=file.sha256,
        encoding=reading.encoding,
        guesses=_spell_guesses(reading),
        header_line=reading.header_line,
        header=list(reading.header),
        columns=[
            ColumnView(
                field=str(guess.field), index=guess.index, title=guess.title, reason=guess.reason
            )
            for guess in reading.columns
        ],
        sample=[
            RowView(line_number=row.line_number, cells=list(row.cells)) for row in reading.sample
        ],
        line_count=len(reading.lines),
        refused=[RefusedLineView(**asdict(line)) for line in reading.refused],
        duplicates=[twice.sentence for twice in reading.duplicates],
        missing=[str(field) for field in reading.missing],
        findings=list(reading.findings),
    )


def _spell_guesses(reading: PlacementReading | BillReading) -> dict[str, GuessView]:
    guesses = {"delimiter": _spell_guess(reading.delimiter)}
    if isinstance(reading, PlacementReading):
        guesses["decimal_mark"] = _spell_guess(reading.decimal_mark)
        guesses["unit"] = _spell_guess(reading.unit)
    return guesses


def _spell_guess(guess: Guess[T]) -> GuessView:
    return GuessView(value=str(guess.value), reason=guess.reason, is_assumed=guess.is_assumed)
