"""From the bytes of a file to its text, or a refusal that says what the bytes look like."""

import codecs
import re
from dataclasses import dataclass
from typing import Final

from app.core.refusals import TooLarge, Unacceptable
from app.traces.files.limits import ReadingLimits

FIELD: Final = "file"

# The first bytes by which other kinds of files know themselves (from memory of the formats).
_SIGNATURES: Final = (
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"GIF8", "a GIF picture"),
    (b"BM", "a bitmap picture"),
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "a ZIP archive"),
    (b"PK\x05\x06", "an empty ZIP archive"),
    (b"\xd0\xcf\x11\xe0", "an old office document or workbook"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"\x28\xb5\x2f\xfd", "a zstd archive"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"BZh", "a bzip2 archive"),
    (b"\xfd7zXZ", "an xz archive"),
    (b"RIFF", "a sound or video file"),
    (b"SQLite format 3\x00", "an SQLite database"),
    (b"\x7fELF", "a program"),
    (b"MZ", "a program"),
)
# These two-letter marks can begin a text too: they count when the rest is no text either.
_ALSO_TEXT: Final = frozenset({b"BM", b"MZ", b"BZh", b"RIFF", b"GIF8"})
_CONTROLS: Final = re.compile(r"[\x00-\x08\x0b\x0e-\x1f\x7f]")
_LOOK_BYTES: Final = 4_096
_MOSTLY: Final = 0.9
_BOMS: Final = (
    (codecs.BOM_UTF8, "utf-8", "UTF-8 with byte order mark"),
    (codecs.BOM_UTF16_LE, "utf-16-le", "UTF-16"),
    (codecs.BOM_UTF16_BE, "utf-16-be", "UTF-16"),
)


class EmptyFile(Unacceptable):
    """The file holds nothing but blanks."""

    code = "traces.empty_file"


class FileTooLarge(TooLarge):
    """The file has more bytes than are read."""

    code = "traces.file_too_large"


class NotText(Unacceptable):
    """The bytes are not those of a text."""

    code = "traces.not_text"


@dataclass(frozen=True)
class Decoded:
    """A text with line ends of one kind, and the encoding as a person says it, with why."""

    text: str
    encoding: str
    why: str


def decode(content: bytes, *, limits: ReadingLimits) -> Decoded:
    """Return the file's text; UTF-8, UTF-16 and Windows-1252 are known.

    Raises EmptyFile, FileTooLarge, NotText.
    """
    if len(content) > limits.max_bytes:
        raise FileTooLarge(
            f"The file has {len(content):,} bytes; {limits.max_bytes:,} is the limit.", field=FIELD
        )
    for signature, kind in _SIGNATURES:
        if content.startswith(signature) and signature not in _ALSO_TEXT:
            raise NotText(_spell_kind(kind), field=FIELD)
    text, encoding, why = _decode_known(content)
    # Ctrl-Z ended text files once, and some loggers still write it.
    text = text.rstrip("\x1a")
    control = _CONTROLS.search(text)
    if control is not None:
        raise NotText(_spell_control(content, text, control), field=FIELD)
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\f", "\n")
    return check_text(Decoded(text, encoding, why))


def check_text(decoded: Decoded) -> Decoded:
    """Return the text, or refuse one of blanks with EmptyFile."""
    if not decoded.text.strip():
        raise EmptyFile("The file is empty: there is no row in it.", field=FIELD)
    return decoded


def _decode_known(content: bytes) -> tuple[str, str, str]:
    if content.startswith((codecs.BOM_UTF32_BE,)) or (
        content.startswith(codecs.BOM_UTF32_LE) and len(content) % 4 == 0
    ):
        raise NotText("The file is in UTF-32; save it as UTF-8.", field=FIELD)
    for mark, codec, words in _BOMS:
        if content.startswith(mark):
            try:
                text = content[len(mark) :].decode(codec)
            except UnicodeDecodeError as error:
                raise NotText(
                    f"The file says that it is {words}, and byte {error.start + len(mark) + 1} "
                    "is not.",
                    field=FIELD,
                ) from error
            return text, words, "the file begins with its byte order mark"
    unmarked = _find_unmarked_utf16(content)
    if unmarked is not None:
        return (
            unmarked,
            "UTF-16",
            "every second byte is zero, though the byte order mark is missing",
        )
    try:
        return content.decode("utf-8"), "UTF-8", "all its bytes are UTF-8"
    except UnicodeDecodeError as error:
        why = f"byte {error.start + 1} is no UTF-8, and all are characters of Windows-1252"
    try:
        return content.decode("cp1252"), "Windows-1252", why
    except UnicodeDecodeError as error:
        raise NotText(
            f"Byte {error.start + 1} (0x{content[error.start]:02X}) is no character in UTF-8 or "
            f"Windows-1252; the file does not look like text.",
            field=FIELD,
        ) from error


def _find_unmarked_utf16(content: bytes) -> str | None:
    """Return the text of UTF-16 without its mark: nearly all of one byte in two are zeros there."""
    if len(content) % 2 or b"\x00" not in content[:_LOOK_BYTES]:
        return None
    look = content[:_LOOK_BYTES]
    for codec, zeros, others in (
        ("utf-16-le", look[1::2], look[::2]),
        ("utf-16-be", look[::2], look[1::2]),
    ):
        if zeros.count(0) >= _MOSTLY * len(zeros) and 0 not in others:
            try:
                return content.decode(codec)
            except UnicodeDecodeError:
                return None
    return None


def _spell_kind(kind: str) -> str:
    return (
        f"The file looks like {kind}; a logger's text file (CSV) or an Excel workbook (.xlsx) is "
        "what can be read."
    )


def _spell_control(content: bytes, text: str, control: re.Match[str]) -> str:
    for signature, kind in _SIGNATURES:
        if content.startswith(signature):
            return _spell_kind(kind)
    row = text.count("\n", 0, control.start()) + 1
    sign = ord(control.group())
    if sign == 0:
        return (
            f"The file holds a NUL byte in row {row}; it looks like a binary file, or UTF-16 "
            "without its byte order mark. Save it as UTF-8."
        )
    return (
        f"The file holds the control character U+{sign:04X} in row {row}; it looks like a "
        "binary file, not like text."
    )
