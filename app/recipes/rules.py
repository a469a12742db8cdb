"""The rules of recipe revisions: states, four eyes, the digest, and where a recipe fits."""

from dataclasses import dataclass
from typing import Final

from app.approval.rules import FourEyes, Refusals
from app.core.canonical_json import compute_digest, spell_canonical_json
from app.core.refusals import Conflict, Fault, Forbidden, Stale, Unknown, Unreadable
from app.recipes.body.recipe import RecipeBody
from app.recipes.body.template import TO_BE_CHOSEN, list_unchosen


class WrongState(Conflict):
    """The revision's state does not allow the action."""

    code = "recipes.wrong_state"


class RevisionFrozen(Conflict):
    """Only a draft's text can be changed."""

    code = "recipes.revision_frozen"


class NotWorkedOut(Unreadable):
    """The draft still says “to be chosen” where the engineer has to choose."""

    code = "recipes.not_worked_out"


class AuthorCannotApprove(Forbidden):
    """Four eyes: whoever wrote a revision does not publish it."""

    code = "recipes.author_cannot_approve"


class EditorCannotApprove(Forbidden):
    """Four eyes: whoever changed a revision's text does not publish it."""

    code = "recipes.editor_cannot_approve"


class RecipeUnknown(Unknown):
    """No recipe has this number."""

    code = "recipes.recipe_unknown"


class RevisionUnknown(Unknown):
    """No revision has this number."""

    code = "recipes.revision_unknown"


class RecipeCodeTaken(Conflict):
    """Another recipe has this code already."""

    code = "recipes.code_taken"


class RevisionOpenAlready(Conflict):
    """The recipe has a draft or a proposed revision already."""

    code = "recipes.revision_open_already"


class OtherTextSeen(Stale):
    """The text that was approved is not the text that stands there."""

    code = "recipes.other_text_seen"


class OtherRecipe(Conflict):
    """The revision belongs to another recipe."""

    code = "recipes.other_recipe"


class ProposerCannotApprove(Forbidden):
    """Four eyes: whoever proposed a revision does not publish it."""

    code = "recipes.proposer_cannot_approve"


REVISIONS: Final = FourEyes(
    noun="revision",
    whole="recipe",
    area="recipes",
    subject="recipe_revision",
    refusals=Refusals(
        code_taken=RecipeCodeTaken,
        open_already=RevisionOpenAlready,
        other_whole=OtherRecipe,
        wrong_state=WrongState,
        frozen=RevisionFrozen,
        author=AuthorCannotApprove,
        proposer=ProposerCannotApprove,
        editor=EditorCannotApprove,
        other_text=OtherTextSeen,
        unknown=RevisionUnknown,
        whole_unknown=RecipeUnknown,
    ),
)


def check_worked_out(body: RecipeBody) -> None:
    """Refuse with NotWorkedOut while a value of the template is still open, naming each."""
    unchosen = list_unchosen(body)
    if unchosen:
        raise NotWorkedOut(
            tuple(Fault(path, f"is still “{TO_BE_CHOSEN}”: edit the draft") for path in unchosen)
        )


def canonical_bytes(body: RecipeBody) -> bytes:
    """Return the body's canonical JSON (RFC 8785): what is stored, and what the digest is of.

    Lengths stay the text that was typed; other numbers are doubles in their shortest spelling.
    """
    return spell_canonical_json(body.model_dump(mode="json"))


def digest_of(body: RecipeBody) -> str:
    """Return the SHA-256 of the canonical bytes as 64 hexadecimal digits."""
    return compute_digest(body.model_dump(mode="json"))


@dataclass(frozen=True)
class Fit:
    """Whether a recipe may be used at a site, and why not; the reason is empty when it may."""

    fits: bool
    reason: str = ""


def fits(
    body: RecipeBody,
    *,
    assembly_part_number: str,
    assembly_revision: str,
    designator: str,
    part_number: str | None,
) -> Fit:
    """Say whether a recipe applies to a site of a board.

    Every list the recipe gives must hold the site's own value. Part numbers and revisions are
    compared as they are, designators without regard to case. `part_number` is None where nobody
    knows it, and then a recipe for certain parts does not fit.
    """
    where = body.applies_to
    if where.assembly_part_number != assembly_part_number:
        return _no(f"it is for assembly {where.assembly_part_number}, not {assembly_part_number}")
    if where.revisions is not None and assembly_revision not in where.revisions:
        listed = ", ".join(where.revisions)
        return _no(f"it is for assembly revision {listed}, not {assembly_revision}")
    sites = {name.casefold() for name in where.designators}
    if sites and designator.casefold() not in sites:
        return _no(f"it is for {', '.join(where.designators)}, not {designator}")
    if where.part_numbers and part_number is None:
        return _no(f"it is for certain part numbers, and that of {designator} is not known")
    if where.part_numbers and part_number not in where.part_numbers:
        return _no(f"it is for part {', '.join(where.part_numbers)}, not {part_number}")
    return Fit(fits=True)


def _no(reason: str) -> Fit:
    return Fit(fits=False, reason=reason)
