"""The rules of recipe revisions: states, four eyes, the digest, and where a recipe fits."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from app.accounts.permissions import Action
from app.core.canonical_json import compute_digest, spell_canonical_json
from app.core.refusals import Conflict, Fault, Forbidden, Stale, Unknown, Unreadable
from app.recipes.body.recipe import RecipeBody
from app.recipes.body.template import TO_BE_CHOSEN, list_unchosen


class RevisionState(StrEnum):
    """Where a revision stands; published is locked for good."""

    DRAFT = "draft"
    PROPOSED = "proposed"
    PUBLISHED = "published"
    RETIRED = "retired"


class RevisionAction(StrEnum):
    """What moves a revision from one state to another."""

    PROPOSE = "propose"
    WITHDRAW = "withdraw"
    SEND_BACK = "send back"
    PUBLISH = "publish"
    RETIRE = "retire"


@dataclass(frozen=True)
class Move:
    """One line of the state table."""

    before: RevisionState
    action: RevisionAction
    after: RevisionState
    permission: Action


MOVES: Final = (
    Move(
        RevisionState.DRAFT,
        RevisionAction.PROPOSE,
        RevisionState.PROPOSED,
        Action.RECIPES_WRITE,
    ),
    Move(
        RevisionState.PROPOSED,
        RevisionAction.WITHDRAW,
        RevisionState.DRAFT,
        Action.RECIPES_WRITE,
    ),
    Move(
        RevisionState.PROPOSED,
        RevisionAction.SEND_BACK,
        RevisionState.DRAFT,
        Action.RECIPES_APPROVE,
    ),
    Move(
        RevisionState.PROPOSED,
        RevisionAction.PUBLISH,
        RevisionState.PUBLISHED,
        Action.RECIPES_APPROVE,
    ),
    Move(
        RevisionState.PUBLISHED,
        RevisionAction.RETIRE,
        RevisionState.RETIRED,
        Action.RECIPES_RETIRE,
    ),
)


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


def get_move(state: RevisionState, action: RevisionAction) -> Move:
    """Return the table's line for an action in a state; WrongState where there is none."""
    for move in MOVES:
        if move.before is state and move.action is action:
            return move
    wanted = " or ".join(move.before for move in MOVES if move.action is action)
    raise WrongState(f"To {action} a revision it must be {wanted}; this one is {state}.")


def list_moves(state: RevisionState, permissions: Iterable[Action]) -> tuple[Move, ...]:
    """Return what somebody with these permissions can do to a revision in this state."""
    held = frozenset(permissions)
    return tuple(move for move in MOVES if move.before is state and move.permission in held)


def check_editable(state: RevisionState) -> None:
    """Refuse with RevisionFrozen unless the revision is a draft."""
    if state is not RevisionState.DRAFT:
        raise RevisionFrozen(
            f"The text of a {state} revision is frozen; start a new revision as a copy of it."
        )


def check_worked_out(body: RecipeBody) -> None:
    """Refuse with NotWorkedOut while a value of the template is still open, naming each."""
    unchosen = list_unchosen(body)
    if unchosen:
        raise NotWorkedOut(
            tuple(Fault(path, f"is still “{TO_BE_CHOSEN}”: edit the draft") for path in unchosen)
        )


def check_four_eyes(*, author_id: int, proposer_id: int, approver_id: int) -> None:
    """Refuse an approver who wrote or proposed the revision; four eyes are two persons.

    Raises AuthorCannotApprove or ProposerCannotApprove.
    """
    if approver_id == author_id:
        raise AuthorCannotApprove("You wrote this revision; somebody else has to approve it.")
    if approver_id == proposer_id:
        raise ProposerCannotApprove("You proposed this revision; somebody else has to approve it.")


def check_not_editor(editor_ids: Iterable[int], *, approver_id: int) -> None:
    """Refuse with EditorCannotApprove an approver who once saved the text."""
    if approver_id in frozenset(editor_ids):
        raise EditorCannotApprove("You changed this text; somebody else has to approve it.")


def check_seen(seen_digest: str, digest: str) -> None:
    """Refuse with OtherTextSeen unless the digest that was on the screen is the text's own."""
    if seen_digest != digest:
        raise OtherTextSeen(
            "The text changed since you read it; read it again before you approve it.",
            field="digest",
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
