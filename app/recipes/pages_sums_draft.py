"""The part of a sum's screen that belongs to a draft: what it would change, and doing it."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlencode

from sqlalchemy.orm import Session

from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.approval.rules import RevisionState
from app.core.refusals import Refusal
from app.recipes.body.site import PasteDeposit
from app.recipes.draft_sums import USABLE, Destination, list_last_changes, preview
from app.recipes.queries import get_body, get_revision
from app.recipes.sums.into_draft import ApertureUnknown, Fineness, list_written_heights
from app.recipes.sums.links import DRAFT_FIELD, ROW_FIELD
from app.recipes.sums.sheets import JOINT, STENCIL, SumSheet
from app.recipes.tables import RecipeRevision
from app.web.shell import add_notices

FINENESS_FIELD: Final = "fineness"
_NUMBER: Final = re.compile(r"[0-9]{1,4}")
_ID: Final = re.compile(r"[1-9][0-9]{0,8}")

add_notices({"sum-used": "The sum's values are in the draft."})


@dataclass(frozen=True)
class DraftWords:
    """A draft that a sum was begun from.

    `hidden` are the sum's values and where they go; `choices` the places or spellings to choose
    from; `changes` what using it would change (label, old, new); `refused` why it cannot be used.
    """

    name: str
    href: str
    use_href: str
    fields: tuple[tuple[str, str], ...]
    version: str
    hidden: tuple[tuple[str, str], ...]
    choice_name: str
    choice_label: str
    choices: tuple[tuple[str, str], ...]
    chosen: str
    changes: tuple[tuple[str, str, str], ...]
    refused: str
    conflict: str
    last_changes: tuple[tuple[str, str, str], ...]


def find_draft(session: Session, asked: Mapping[str, str], person: Person) -> RecipeRevision | None:
    """Return the draft that an address names, for whoever may write it; None where none is named.

    Raises RevisionUnknown. What is no number names none.
    """
    text = asked.get(DRAFT_FIELD, "")
    if not _ID.fullmatch(text) or not person.may(Action.RECIPES_WRITE):
        return None
    return get_revision(session, int(text))


def read_destination(asked: Mapping[str, str]) -> Destination:
    """Return where in the draft the sum is to go; ApertureUnknown for what is no number."""
    number = asked.get(ROW_FIELD, "1")
    if not _NUMBER.fullmatch(number):
        raise ApertureUnknown("Name the aperture by its number.", field=ROW_FIELD)
    fineness = asked.get(FINENESS_FIELD, "")
    known = fineness in set(Fineness)
    return Destination(int(number), Fineness(fineness) if known else Fineness.MM)


def word_draft(
    session: Session,
    revision: RecipeRevision,
    sheet: SumSheet,
    texts: Mapping[str, str],
    asked: Mapping[str, str],
    *,
    is_worked_out: bool,
    was_used: bool,
    conflict: str = "",
) -> DraftWords:
    """Return what a sum's screen says of the draft it was begun from."""
    changes: tuple[tuple[str, str, str], ...] = ()
    choices: tuple[tuple[str, str], ...] = ()
    refused, chosen = "", ""
    where = Destination()
    is_usable = is_worked_out and sheet.name in USABLE
    if revision.state is not RevisionState.DRAFT:
        refused = f"It is {revision.state}: its text is frozen, and the sum cannot be put into it."
    elif is_usable:
        try:
            where = read_destination(asked)
            found = preview(revision, sheet, texts, where)
        except Refusal as refusal:
            found = refusal
        if isinstance(found, Refusal):
            refused = found.sentence
        else:
            changes = tuple((one.label, one.old or "–", one.new or "–") for one in found)
    if is_usable and not refused:
        choices, chosen = _list_choices(revision, sheet, texts, where)
    kept = [(name, text) for name, text in texts.items() if text]
    draft = [(DRAFT_FIELD, str(revision.id))]
    goes = [(ROW_FIELD, str(where.aperture))] if sheet.name == STENCIL.name else []
    return DraftWords(
        name=f"{revision.recipe.code} revision {revision.number}",
        href=f"/recipes/revisions/{revision.id}/edit"
        if revision.state is RevisionState.DRAFT
        else f"/recipes/revisions/{revision.id}",
        use_href=f"{sheet.href}/use" if is_usable and not refused else "",
        fields=(*draft, *goes),
        version=str(revision.version),
        hidden=(*kept, *draft),
        choice_name=ROW_FIELD if sheet.name == STENCIL.name else FINENESS_FIELD,
        choice_label="Aperture" if sheet.name == STENCIL.name else "Write the height as",
        choices=choices,
        chosen=chosen,
        changes=changes,
        refused=refused,
        conflict=conflict,
        last_changes=list_last_changes(session, revision) if was_used else (),
    )


def spell_address(
    sheet: SumSheet, texts: Mapping[str, str], revision: RecipeRevision, where: Destination
) -> str:
    """Return the address of a sum with its values and the draft it belongs to."""
    kept = {name: text for name, text in texts.items() if text}
    place = (
        {ROW_FIELD: str(where.aperture)}
        if sheet.name == STENCIL.name
        else {FINENESS_FIELD: str(where.fineness)}
    )
    return f"{sheet.href}?{urlencode({**kept, DRAFT_FIELD: str(revision.id), **place})}"


def _list_choices(
    revision: RecipeRevision, sheet: SumSheet, texts: Mapping[str, str], where: Destination
) -> tuple[tuple[tuple[str, str], ...], str]:
    if sheet.name == JOINT.name:
        heights = list_written_heights(texts)
        return tuple((str(one.fineness), one.words) for one in heights), str(where.fineness)
    deposit = get_body(revision).deposit
    there = deposit.apertures if isinstance(deposit, PasteDeposit) else ()
    named = [
        (str(place), f"aperture {place}{f', {one.name}' if one.name else ''}")
        for place, one in enumerate(there, start=1)
    ]
    new = (str(len(there) + 1), f"a new one, number {len(there) + 1}")
    return (*named, new), str(where.aperture)
