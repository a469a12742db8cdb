"""The states of an approved text, the one table of what leads where, and four eyes."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from app.accounts.permissions import Action
from app.core.refusals import Conflict, Forbidden, Stale, Unknown


class RevisionState(StrEnum):
    """Where a revision of a text stands; published is locked for good."""

    DRAFT = "draft"
    PROPOSED = "proposed"
    PUBLISHED = "published"
    RETIRED = "retired"


OPEN: Final = frozenset({RevisionState.DRAFT, RevisionState.PROPOSED})


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


def list_moves(state: RevisionState, permissions: Iterable[Action]) -> tuple[Move, ...]:
    """Return what somebody with these permissions can do to a revision in this state."""
    held = frozenset(permissions)
    return tuple(move for move in MOVES if move.before is state and move.permission in held)


@dataclass(frozen=True)
class Refusals:
    """What each refusal about a kind of text is, with the code that programs read."""

    code_taken: type[Conflict]
    open_already: type[Conflict]
    other_whole: type[Conflict]
    wrong_state: type[Conflict]
    frozen: type[Conflict]
    author: type[Forbidden]
    proposer: type[Forbidden]
    editor: type[Forbidden]
    other_text: type[Stale]
    unknown: type[Unknown]
    whole_unknown: type[Unknown]


@dataclass(frozen=True)
class FourEyes:
    """The rules of one kind of text: what it and its revisions are called, and what refuses.

    `noun` is one revision ("revision", "version"), `whole` what it is of ("recipe", "window"),
    `area` where its log entries belong ("recipes"), and `subject` what they are about.
    """

    noun: str
    whole: str
    area: str
    subject: str
    refusals: Refusals

    @property
    def text_actions(self) -> frozenset[str]:
        """The log's actions by which somebody writes a text."""
        return frozenset(f"{self.area}.{verb}" for verb in ("create", "copy", "save_draft"))

    def get_move(self, state: RevisionState, action: RevisionAction) -> Move:
        """Return the table's line for an action in a state; a wrong state is refused."""
        for move in MOVES:
            if move.before is state and move.action is action:
                return move
        wanted = " or ".join(move.before for move in MOVES if move.action is action)
        raise self.refusals.wrong_state(
            f"To {action} a {self.noun} it must be {wanted}; this one is {state}."
        )

    def check_editable(self, state: RevisionState) -> None:
        """Refuse unless the revision is a draft."""
        if state is not RevisionState.DRAFT:
            raise self.refusals.frozen(
                f"The text of a {state} {self.noun} is frozen; "
                f"start a new {self.noun} as a copy of it."
            )

    def check_approver(
        self, *, author_id: int, proposer_id: int, editor_ids: Iterable[int], approver_id: int
    ) -> None:
        """Refuse an approver who wrote, proposed or once saved the text: two persons are needed."""
        did = (
            ("wrote", self.refusals.author, approver_id == author_id),
            ("proposed", self.refusals.proposer, approver_id == proposer_id),
            ("changed", self.refusals.editor, approver_id in frozenset(editor_ids)),
        )
        for what, refusal, is_so in did:
            if is_so:
                raise refusal(f"You {what} this {self.noun}; somebody else has to approve it.")

    def check_seen(self, seen_digest: str, digest: str) -> None:
        """Refuse unless the digest that was on the screen is the text's own."""
        if seen_digest != digest:
            raise self.refusals.other_text(
                "The text changed since you read it; read it again before you approve it.",
                field="digest",
            )
