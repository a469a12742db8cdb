"""The rules of windows: what moves a version, four eyes, and what a refusal is called."""

from typing import Final

from app.approval.rules import FourEyes, Refusals
from app.core.refusals import Conflict, Forbidden, Stale, Unacceptable, Unknown, Unreadable


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


VERSIONS: Final = FourEyes(
    noun="version",
    whole="window",
    area="windows",
    subject="window_version",
    refusals=Refusals(
        code_taken=CodeTaken,
        open_already=VersionOpenAlready,
        other_whole=OtherWindow,
        wrong_state=WrongState,
        frozen=VersionFrozen,
        author=AuthorCannotApprove,
        proposer=AuthorCannotApprove,
        editor=AuthorCannotApprove,
        other_text=OtherTextSeen,
        unknown=VersionUnknown,
        whole_unknown=WindowUnknown,
    ),
)
