"""The rules of windows: what moves a version, four eyes, and what a refusal is called."""

from collections.abc import Iterable
from typing import Final

from app.core.refusals import Conflict, Forbidden, Stale, Unacceptable, Unknown, Unreadable
from app.recipes.rules import MOVES, Move, RevisionAction, RevisionState

# The states and moves of a window's versions are those of recipes, permissions included.
VersionState: Final = RevisionState


class WindowUnknown(Unknown):
    """No window has this number."""

    code = "windows.window_unknown"


class VersionUnknown(Unknown):
    """No version of a window has this number."""

    code = "windows.version_unknown"


class BuiltInUnknown(Unknown):
    """No built-in window has this key."""

    code = "windows.built_in_unknown"


class PackageNotStated(Unreadable):
    """The window goes by the package, and thickness or volume are missing or no numbers."""

    code = "windows.package_not_stated"


class CodeTaken(Conflict):
    """Another window has this code already."""

    code = "windows.code_taken"


class VersionOpenAlready(Conflict):
    """The window has a draft or a proposed version already."""

    code = "windows.version_open_already"


class OtherWindow(Conflict):
    """The version belongs to another window."""

    code = "windows.other_window"


class WrongState(Conflict):
    """The version's state does not allow the action."""

    code = "windows.wrong_state"


class VersionFrozen(Conflict):
    """Only a draft's text can be changed."""

    code = "windows.version_frozen"


class AuthorCannotApprove(Forbidden):
    """Four eyes: whoever wrote, changed or proposed a version does not publish it."""

    code = "windows.author_cannot_approve"


class OtherTextSeen(Stale):
    """The text that was approved is not the text that stands there."""

    code = "windows.other_text_seen"


class TextUnreadable(Unreadable):
    """Values of a window do not have the type or the range that their field asks for."""

    code = "windows.text_unreadable"


class FileUnreadable(Unacceptable):
    """The file is no JSON of a window."""

    code = "windows.file_unreadable"


class NotInForce(Conflict):
    """Only a published version or a built-in window can be used."""

    code = "windows.not_in_force"


class PartNotKnown(Conflict):
    """What is known of the part does not say what its body is held against."""

    code = "windows.part_not_known"


class CitationNotPrinted(Conflict):
    """A limit names a source beside a number that the source does not print."""

    code = "windows.citation_not_printed"


class NotYourDraft(Forbidden):
    """The recipe's draft is somebody else's."""

    code = "windows.not_your_draft"


class DoesNotFit(Unreadable):
    """The window and the recipe's draft do not go together."""

    code = "windows.does_not_fit"


def get_move(state: RevisionState, action: RevisionAction) -> Move:
    """Return the table's line for an action in a state; WrongState where there is none."""
    for move in MOVES:
        if move.before is state and move.action is action:
            return move
    wanted = " or ".join(move.before for move in MOVES if move.action is action)
    raise WrongState(f"To {action} a version it must be {wanted}; this one is {state}.")


def check_editable(state: RevisionState) -> None:
    """Refuse with VersionFrozen unless the version is a draft."""
    if state is not RevisionState.DRAFT:
        raise VersionFrozen(
            f"The text of a {state} version is frozen; start a new version as a copy of it."
        )


def check_four_eyes(
    *, author_id: int, proposer_id: int, editor_ids: Iterable[int], approver_id: int
) -> None:
    """Refuse with AuthorCannotApprove who wrote, proposed or once saved the text."""
    did = (
        ("wrote", author_id == approver_id),
        ("proposed", proposer_id == approver_id),
        ("changed", approver_id in frozenset(editor_ids)),
    )
    for what, is_so in did:
        if is_so:
            raise AuthorCannotApprove(f"You {what} this version; somebody else has to approve it.")


def check_seen(seen_digest: str, digest: str) -> None:
    """Refuse with OtherTextSeen unless the digest that was on the screen is the text's own."""
    if seen_digest != digest:
        raise OtherTextSeen(
            "The text changed since you read it; read it again before you approve it.",
            field="digest",
        )
