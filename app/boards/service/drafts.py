"""Changes layout drafts: files in, choices about how to read them."""

from collections.abc import Mapping
from datetime import datetime
from typing import Final

from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.audit import service as audit
from app.audit.rules import Subject
from app.boards.files import (
    BillChoices,
    BillField,
    PlacementChoices,
    PlacementField,
    read_bill_file,
    read_placement_file,
)
from app.boards.queries import find_taken_draft
from app.boards.rules import DraftClosed, DraftUnknown, FileKind, FileNotSent, UnitsDisagree
from app.boards.tables import Assembly, LayoutDraft
from app.core.canonical_json import JsonValue
from app.core.conditional import check_version
from app.core.races import wait_for_row
from app.core.refusals import Refusal
from app.files.queries import get_content
from app.files.service import keep_file

FILE_NAME_MAX: Final = 120


def start_draft(
    session: Session,
    assembly: Assembly,
    files: Mapping[FileKind, tuple[str, bytes]],
    *,
    person: Person,
    now: datetime,
) -> LayoutDraft:
    """Start a layout draft from a placement file, a bill, or both, each as name and content.

    Where the assembly has a layout, the file that is not given is the one that it was made from.
    Raises FileNotSent, and the refusals of the readers; nothing is kept then.
    """
    draft = LayoutDraft(
        assembly_id=assembly.id,
        placement_choices={},
        bill_choices={},
        by_id=person.account_id,
        at=now,
    )
    _check_files(files)
    _carry_over(session, draft, assembly)
    _set_files(session, draft, files, person=person, now=now)
    session.add(draft)
    session.flush()
    _tell(session, draft, "boards.start_layout", person=person, now=now, details=_spell(draft))
    return draft


def put_draft_files(
    session: Session,
    draft: LayoutDraft,
    files: Mapping[FileKind, tuple[str, bytes]],
    *,
    person: Person,
    now: datetime,
) -> LayoutDraft:
    """Add files to a draft, or put them in the place of those before; their choices start anew.

    Raises what start_draft raises, and DraftClosed; the draft is as it was then.
    """
    lock_open(session, draft)
    _check_files(files)
    _set_files(session, draft, files, person=person, now=now)
    session.flush()
    _tell(session, draft, "boards.put_layout_file", person=person, now=now, details=_spell(draft))
    return draft


def choose_placement_reading(
    session: Session,
    draft: LayoutDraft,
    choices: PlacementChoices,
    *,
    person: Person,
    now: datetime,
) -> LayoutDraft:
    """Set how the placement file is read; refused where the file cannot be read so."""
    lock_open(session, draft)
    if draft.placement_sha256 is None:
        raise FileNotSent("This draft has no placement file yet.", field="placement")
    read_placement_file(get_content(session, draft.placement_sha256), choices=choices)
    chosen = choices.model_dump(mode="json", exclude_none=True, exclude={"columns"})
    draft.placement_choices = {**chosen, "columns": _spell_columns(choices.columns)}
    session.flush()
    details: dict[str, JsonValue] = {"placement_choices": draft.placement_choices}
    _tell(session, draft, "boards.choose_reading", person=person, now=now, details=details)
    return draft


def choose_bill_reading(
    session: Session, draft: LayoutDraft, choices: BillChoices, *, person: Person, now: datetime
) -> LayoutDraft:
    """Set how the bill is read; refused where the file cannot be read so."""
    lock_open(session, draft)
    if draft.bill_sha256 is None:
        raise FileNotSent("This draft has no bill yet.", field="bill")
    read_bill_file(get_content(session, draft.bill_sha256), choices=choices)
    chosen = choices.model_dump(mode="json", exclude_none=True, exclude={"columns"})
    draft.bill_choices = {**chosen, "columns": _spell_columns(choices.columns)}
    session.flush()
    details: dict[str, JsonValue] = {"bill_choices": draft.bill_choices}
    _tell(session, draft, "boards.choose_reading", person=person, now=now, details=details)
    return draft


def drop_draft(session: Session, draft: LayoutDraft, *, person: Person, now: datetime) -> None:
    """Take an open draft away; its files stay kept, as the log names them."""
    lock_open(session, draft)
    _tell(session, draft, "boards.drop_layout", person=person, now=now, details=_spell(draft))
    session.delete(draft)
    session.flush()


def lock_open(session: Session, draft: LayoutDraft) -> None:
    """Let nobody else change a draft until this is done; DraftClosed, or DraftUnknown if dropped.

    EditedMeanwhile when it is no longer as it was seen.
    """
    seen = draft.version
    gone = DraftUnknown(f"Layout draft number {draft.id} was dropped.", field="draft_id")
    wait_for_row(session, draft, gone=gone)
    check_open(draft)
    check_version(str(seen), draft.version)


def check_open(draft: LayoutDraft) -> None:
    """Refuse with DraftClosed when a draft was taken already."""
    if draft.taken_at is not None:
        raise DraftClosed("This layout was taken already; import the file again to change it.")


def _carry_over(session: Session, draft: LayoutDraft, assembly: Assembly) -> None:
    """Begin with the files of the stored layout, read as they were read then."""
    if assembly.placement_sha256 is not None:
        before = find_taken_draft(
            session,
            part_number=assembly.part_number,
            kind=FileKind.PLACEMENT,
            sha256=assembly.placement_sha256,
        )
        draft.placement_sha256 = assembly.placement_sha256
        draft.placement_name = before.placement_name if before else "placement as stored"
        draft.placement_choices = before.placement_choices if before else {}
    if assembly.bill_sha256 is not None:
        before = find_taken_draft(
            session,
            part_number=assembly.part_number,
            kind=FileKind.BILL,
            sha256=assembly.bill_sha256,
        )
        draft.bill_sha256 = assembly.bill_sha256
        draft.bill_name = before.bill_name if before else "bill as stored"
        draft.bill_choices = before.bill_choices if before else {}


def _set_files(
    session: Session,
    draft: LayoutDraft,
    files: Mapping[FileKind, tuple[str, bytes]],
    *,
    person: Person,
    now: datetime,
) -> None:
    for kind, (name, content) in files.items():
        digest = keep_file(session, content, by_id=person.account_id, now=now)
        shown = _clean_name(name) or f"{kind}.csv"
        if kind is FileKind.PLACEMENT:
            draft.placement_name, draft.placement_sha256 = shown, digest
            draft.placement_choices = {}
        else:
            draft.bill_name, draft.bill_sha256 = shown, digest
            draft.bill_choices = {}


def _check_files(files: Mapping[FileKind, tuple[str, bytes]]) -> None:
    """Refuse what no choice could make readable, before any file is kept; faults name the file."""
    if not files:
        raise FileNotSent("Choose a placement file or a bill.", field="placement")
    for kind, (_, content) in files.items():
        try:
            if kind is FileKind.PLACEMENT:
                read_placement_file(content)
            else:
                read_bill_file(content)
        except UnitsDisagree:
            # A person can choose the unit.
            continue
        except Refusal as refusal:
            refusal.field = str(kind)
            raise


def _clean_name(name: str) -> str:
    return "".join(c if c.isprintable() else "_" for c in name).strip()[:FILE_NAME_MAX]


def _spell_columns(
    columns: Mapping[PlacementField, int | None] | Mapping[BillField, int | None],
) -> JsonValue:
    return {str(field): index for field, index in columns.items()}


def _spell(draft: LayoutDraft) -> dict[str, JsonValue]:
    return {
        "placement_sha256": draft.placement_sha256,
        "placement_name": draft.placement_name,
        "bill_sha256": draft.bill_sha256,
        "bill_name": draft.bill_name,
    }


def _tell(
    session: Session,
    draft: LayoutDraft,
    action: str,
    *,
    person: Person,
    now: datetime,
    details: dict[str, JsonValue],
) -> None:
    audit.append(
        session,
        action=action,
        subject=Subject("layout_draft", draft.id),
        actor=person.actor,
        now=now,
        details={"assembly_id": draft.assembly_id, **details},
    )
