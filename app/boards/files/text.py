"""Bytes of a layout file into text: what it looks like, how it is encoded, how long it is."""

from dataclasses import dataclass
from typing import Final

from app.boards.rules import (
    FILE_BYTES_MAX,
    FILE_LINES_MAX,
    FileEmpty,
    FileNotText,
    FileTooLarge,
    FileTooLong,
)

_FIELD: Final = "file"

# The first bytes of what is uploaded by mistake; signatures as the formats define them.
_LOOKS: Final[tuple[tuple[bytes, str], ...]] = (
    (b"\x89PNG\r\n\x1a\n", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"GIF8", "a GIF picture"),
    (b"II*\x00", "a TIFF picture"),
    (b"MM\x00*", "a TIFF picture"),
    (b"RIFF", "a picture, sound or film"),
    (b"%PDF-", "a PDF document"),
    (b"PK\x03\x04", "a zip archive or a workbook; save the sheet as CSV"),
    (b"PK\x05\x06", "an empty zip archive"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "an old workbook or document; save the sheet as CSV"),
    (b"\x1f\x8b", "a gzip archive; unpack it first"),
    (b"BZh", "a bzip2 archive; unpack it first"),
    (b"\xfd7zXZ\x00", "an xz archive; unpack it first"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive; unpack it first"),
    (b"\x28\xb5\x2f\xfd", "a zstd archive; unpack it first"),
    (b"Rar!\x1a\x07", "a rar archive; unpack it first"),
    (b"SQLite format 3\x00", "a database"),
    (b"\x7fELF", "a program"),
)
_TEXT_LOOKS: Final[tuple[tuple[str, str], ...]] = (
    ("<", "HTML or XML"),
    ("{", "JSON"),
    ("%!PS", "PostScript"),
    ("G04 ", "a drawing of a layer"),
)
_CONTROLS_ALLOWED: Final = frozenset("\t\n\r\f\x1a")
# More control characters than one in fifty is no text with a slip in it.
_CONTROL_SHARE: Final = 50
_ZERO_SHARE: Final = 3


@dataclass(frozen=True)
class FileText:
    """The lines of a file without their ends, and how its bytes were read."""

    lines: tuple[str, ...]
    encoding: str
    findings: tuple[str, ...]


def read_text(content: bytes) -> FileText:
    """Decode a file of at most 10 MB and 20,000 lines as UTF-8, UTF-16 or Windows-1252.

    Raises FileEmpty, FileTooLarge, FileTooLong or FileNotText.
    """
    if len(content) > FILE_BYTES_MAX:
        raise FileTooLarge(
            f"The file has {len(content):,} bytes; at most {FILE_BYTES_MAX:,} are read.",
            field=_FIELD,
        )
    for signature, name in _LOOKS:
        if content.startswith(signature):
            raise FileNotText(f"The file is no CSV: it looks like {name}.", field=_FIELD)
    text, encoding = _decode(content)
    _check_is_text(text)
    # The end mark of old text files is no line of its own.
    text = text.removeprefix("\ufeff").removesuffix("\x1a")
    lines = text.replace("\r\n", "\n").replace("\r", "\n").removesuffix("\n").split("\n")
    if len(lines) > FILE_LINES_MAX:
        raise FileTooLong(
            f"The file has {len(lines):,} lines; at most {FILE_LINES_MAX:,} are read.",
            field=_FIELD,
        )
    findings: tuple[str, ...] = ()
    if encoding == "Windows-1252":
        findings = ("The file is not UTF-8 and was read as Windows-1252: look at special signs.",)
    return FileText(lines=tuple(lines), encoding=encoding, findings=findings)


def _decode(content: bytes) -> tuple[str, str]:
    if content.startswith(b"\xef\xbb\xbf"):
        return _decode_as(content[3:], "utf-8", "UTF-8")
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return _decode_as(content, "utf-16", "UTF-16")
    unmarked = _find_unmarked_utf16(content)
    if unmarked is not None:
        return _decode_as(content, unmarked, "UTF-16")
    try:
        return content.decode("utf-8"), "UTF-8"
    except UnicodeDecodeError:
        return _decode_as(content, "cp1252", "Windows-1252")


def _decode_as(content: bytes, codec: str, name: str) -> tuple[str, str]:
    try:
        return content.decode(codec), name
    except UnicodeDecodeError as error:
        raise FileNotText(
            f"The file is no text: byte {error.start + 1:,} (0x{content[error.start]:02X})"
            f" cannot stand in {name}. Save it as CSV in UTF-8.",
            field=_FIELD,
        ) from None


def _find_unmarked_utf16(content: bytes) -> str | None:
    """Without a byte order mark, UTF-16 shows by every second byte being zero."""
    sample = content[:4096]
    half = len(sample) // 2
    if len(content) % 2 or not half or b"\x00" not in sample:
        return None
    even, odd = sample[0::2].count(0), sample[1::2].count(0)
    if odd * _ZERO_SHARE > half and not even:
        return "utf-16-le"
    if even * _ZERO_SHARE > half and not odd:
        return "utf-16-be"
    return None


def _check_is_text(text: str) -> None:
    if not text.strip("\ufeff \t\r\n\f\x1a"):
        raise FileEmpty("The file is empty.", field=_FIELD)
    if "\x00" in text:
        raise FileNotText(
            f"The file is no text: character {text.index(chr(0)) + 1:,} is U+0000.", field=_FIELD
        )
    controls = sum(c < " " and c not in _CONTROLS_ALLOWED for c in text)
    if controls * _CONTROL_SHARE > len(text):
        raise FileNotText(
            f"The file is no text: {controls:,} of its {len(text):,} characters are control"
            " characters.",
            field=_FIELD,
        )
    start = text[:200].lstrip("\ufeff \t\r\n")
    for beginning, name in _TEXT_LOOKS:
        if start.startswith(beginning):
            raise FileNotText(f"The file is no CSV: it looks like {name}.", field=_FIELD)
