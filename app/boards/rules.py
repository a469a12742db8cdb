"""What designators, serials and layout files must be, and the refusals that say so."""

import re
import unicodedata
from collections.abc import Collection, Sequence
from enum import StrEnum
from typing import Final

from app.core.refusals import Conflict, Fault, TooLarge, Unacceptable, Unknown, Unreadable
from app.core.text import parse_line

DESIGNATOR_LENGTH_MAX: Final = 32
SERIAL_LENGTH_MAX: Final = 80

FILE_BYTES_MAX: Final = 10_000_000
FILE_LINES_MAX: Final = 20_000
FILE_COLUMNS_MAX: Final = 200
LINE_LENGTH_MAX: Final = 20_000
CELL_LENGTH_MAX: Final = 200
RANGE_LENGTH_MAX: Final = 2_000
COORDINATE_MAX_MM: Final = 5_000
PARTS_DRAWN_MAX: Final = 5_000
BOARDS_AT_ONCE_MAX: Final = 500

# What a refusal repeats of a value is cut, so that a sentence stays a sentence.
_SHOWN_LENGTH_MAX: Final = 40

# Families whose joints lie beneath the body; the names are trade terms.
_ARRAY_FAMILY: Final = re.compile(r"BGA|CSP|LGA|CGA|QFN|DFN|MLF|MLP|SON(?![A-Z])", re.IGNORECASE)
_SEPARATORS: Final = frozenset(",;|")


class Side(StrEnum):
    """The side of a board on which a part is mounted."""

    TOP = "top"
    BOTTOM = "bottom"


class FileKind(StrEnum):
    """The two files that a layout comes from."""

    PLACEMENT = "placement"
    BILL = "bill"


class AssemblyUnknown(Unknown):
    """No assembly has this number."""

    code = "boards.assembly_unknown"


class AssemblyTaken(Conflict):
    """The part number has an assembly of this revision already."""

    code = "boards.assembly_taken"


class BoardUnknown(Unknown):
    """No board has this number."""

    code = "boards.board_unknown"


class PlacementUnknown(Unknown):
    """The assembly has no such designator."""

    code = "boards.placement_unknown"


class SiteUnknown(Unknown):
    """No site has this number."""

    code = "boards.site_unknown"


class DraftUnknown(Unknown):
    """No layout draft has this number."""

    code = "boards.layout_draft_unknown"


class DraftClosed(Conflict):
    """The layout draft was taken already."""

    code = "boards.layout_draft_taken"


class LayoutNotReady(Conflict):
    """Something in the files still stands in the way of taking the layout."""

    code = "boards.layout_not_ready"


class RevisionNotSaid(Unacceptable):
    """A layout that corrects another one needs a revision of its own."""

    code = "boards.revision_not_said"


class FileNotSent(Unacceptable):
    """A file was asked for and none came."""

    code = "boards.file_not_sent"


class SerialsUnusable(Unreadable):
    """Some of several serials cannot be registered; each fault names its line."""

    code = "boards.serials_unusable"


class TooManySerials(TooLarge):
    """More serials came at once than are registered at once."""

    code = "boards.too_many_serials"


class FileTooLarge(TooLarge):
    """A layout file has more bytes than we read."""

    code = "boards.file_too_large"


class FileTooLong(TooLarge):
    """A layout file has more lines than we read."""

    code = "boards.file_too_long"


class FileTooWide(TooLarge):
    """A line of a layout file has more cells than we read."""

    code = "boards.file_too_wide"


class FileEmpty(Unacceptable):
    """A layout file holds nothing to read."""

    code = "boards.file_empty"


class FileHeaderOnly(Unacceptable):
    """A layout file has titles and no line beneath them."""

    code = "boards.file_header_only"


class FileNotText(Unacceptable):
    """What was sent as a layout file is something else."""

    code = "boards.file_not_text"


class UnitsDisagree(Unacceptable):
    """The titles of x and y name different units."""

    code = "boards.units_disagree"


class ChoiceUnusable(Unacceptable):
    """A choice about how to read a file does not fit the file."""

    code = "boards.choice_unusable"


class DesignatorUnusable(Unacceptable):
    """A reference designator cannot be read as one."""

    code = "boards.designator_unusable"


class SerialUnusable(Unacceptable):
    """A board's serial is empty, too long or holds characters that nobody can see."""

    code = "boards.serial_unusable"


def parse_designator(text: str, *, field: str | None = None) -> str:
    """Return a reference designator in its one spelling: NFC, upper case, 1 to 32 characters.

    Blanks, separators and invisible characters are refused inside it, since lists of designators
    come apart at them. Raises DesignatorUnusable.
    """
    try:
        # Upper case can leave the normal form and can lengthen the text, so both come after it.
        designator = parse_line(parse_line(text).upper())
    except ValueError as reason:
        raise DesignatorUnusable(f"The designator's {reason}.", field=field) from None
    if not designator:
        raise DesignatorUnusable("The designator is empty.", field=field)
    if len(designator) > DESIGNATOR_LENGTH_MAX:
        raise DesignatorUnusable(
            f"The designator {spell_cut(designator)} has {len(designator)} characters;"
            f" at most {DESIGNATOR_LENGTH_MAX} are allowed.",
            field=field,
        )
    for character in designator:
        if character.isspace() or character in _SEPARATORS or _is_invisible(character):
            raise DesignatorUnusable(
                f"The designator {spell_cut(designator)} holds {_spell_character(character)};"
                " a designator is one word, such as U3.",
                field=field,
            )
    return designator


def parse_serial(text: str, *, field: str | None = None) -> str:
    """Return a board's serial: opaque text, NFC, 1 to 80 characters, outer blanks cut.

    Nothing is read into it: case, leading zeros and inner blanks stay. Characters that cannot be
    seen are refused, since two serials would then look the same. Raises SerialUnusable.
    """
    try:
        serial = parse_line(text)
    except ValueError as reason:
        raise SerialUnusable(f"The serial's {reason}.", field=field) from None
    if not serial:
        raise SerialUnusable("The serial is empty.", field=field)
    if len(serial) > SERIAL_LENGTH_MAX:
        raise SerialUnusable(
            f"The serial {spell_cut(serial)} has {len(serial)} characters;"
            f" at most {SERIAL_LENGTH_MAX} are allowed.",
            field=field,
        )
    for place, character in enumerate(serial):
        if _is_invisible(character):
            raise SerialUnusable(
                f"The serial's character {place + 1} is {_spell_character(character)},"
                " which cannot be seen; type the serial again.",
                field=field,
            )
    return serial


def parse_serials(lines: Sequence[str], *, known: Collection[str] = ()) -> tuple[str, ...]:
    """Return the serials of lines, one each; empty lines are passed over.

    `known` are serials that the assembly has already. Raises SerialsUnusable with one fault for
    each line that cannot be taken, TooManySerials beyond 500 and SerialUnusable for none at all.
    """
    filled = [(number, line) for number, line in enumerate(lines, start=1) if line.strip()]
    if not filled:
        raise SerialUnusable("Give one serial at least.", field="serials")
    if len(filled) > BOARDS_AT_ONCE_MAX:
        raise TooManySerials(
            f"{len(filled):,} serials came; at most {BOARDS_AT_ONCE_MAX} are registered at once.",
            field="serials",
        )
    faults: list[Fault] = []
    first_lines: dict[str, int] = {}
    for number, line in filled:
        try:
            serial = parse_serial(line)
        except SerialUnusable as refusal:
            faults.append(Fault(f"serials.{number - 1}", f"Line {number}: {refusal.sentence}"))
            continue
        first = first_lines.setdefault(serial, number)
        if first != number:
            told = f"the serial {spell_cut(serial)} stands on line {first} already."
        elif serial in known:
            told = f"the serial {spell_cut(serial)} is registered for this assembly already."
        else:
            continue
        faults.append(Fault(f"serials.{number - 1}", f"Line {number}: {told}"))
    if faults:
        raise SerialsUnusable(tuple(faults))
    return tuple(first_lines)


def list_readable_serials(lines: Sequence[str]) -> tuple[str, ...]:
    """Return what parse_serials would look for among known serials; at most 500."""
    found: dict[str, None] = {}
    for line in [line for line in lines if line.strip()][:BOARDS_AT_ONCE_MAX]:
        try:
            found[parse_serial(line)] = None
        except SerialUnusable:
            continue
    return tuple(found)


def suggest_next_revision(revision: str, *, taken: Collection[str] = ()) -> str:
    """Return the revision code that would follow: B after A, AA after Z, r0.2.2 after r0.2.1.

    A code that ends in neither a letter nor a digit gets a 2 behind it. What is taken is passed
    over.
    """
    following = revision
    for _ in range(len(taken) + 1):
        following = _find_following(following)
        if following not in taken:
            break
    return following


def _find_following(revision: str) -> str:
    number = re.search(r"[0-9]+$", revision)
    if number is not None:
        digits = number[0][-9:]
        head = revision[: len(revision) - len(digits)]
        return head + str(int(digits) + 1).zfill(len(digits))
    word = re.search(r"(?<![A-Za-z])(?:[A-Z]{1,3}|[a-z]{1,3})$", revision)
    if word is None:
        return f"{revision}2"
    first, last = ("A", "Z") if word[0].isupper() else ("a", "z")
    kept = word[0].rstrip(last)
    rolled = len(word[0]) - len(kept)
    carried = kept[:-1] + chr(ord(kept[-1]) + 1) if kept else first
    return revision[: word.start()] + carried + first * rolled


def is_array_package(package: str) -> bool:
    """Tell whether a package name is of a family with its joints beneath the body.

    BGA, CSP, LGA, CGA, QFN, DFN, MLF, MLP and SON; by name only, common practice, no source.
    """
    return _ARRAY_FAMILY.search(package) is not None


def sort_key_of_designator(designator: str) -> tuple[str, int, str]:
    """Return the key by which C2 stands before C10."""
    letters = designator.rstrip("0123456789")
    digits = designator[len(letters) :]
    return letters, int(digits[:18] or -1), designator


def spell_cut(text: str) -> str:
    """Quote a value for a sentence, cut to 40 characters and without anything unprintable."""
    shown = text if len(text) <= _SHOWN_LENGTH_MAX else text[: _SHOWN_LENGTH_MAX - 1] + "…"
    return "“" + "".join(c if c.isprintable() else "�" for c in shown) + "”"


def spell_designators(designators: tuple[str, ...], *, at_most: int = 20) -> str:
    """List designators for a sentence; what goes beyond `at_most` is counted, not dropped."""
    shown = ", ".join(designators[:at_most])
    more = len(designators) - at_most
    return f"{shown} and {more} more" if more > 0 else shown


def _is_invisible(character: str) -> bool:
    return unicodedata.category(character) in {"Cf", "Zl", "Zp"}


def _spell_character(character: str) -> str:
    if character in _SEPARATORS:
        return f"“{character}”"
    return "a blank" if character == " " else f"U+{ord(character):04X}"
