"""What several screens of windows show: a text in words, and a state's shape."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from app.approval.rules import RevisionState
from app.windows.body import WindowText
from app.windows.describe import LineWords, list_temperatures, spell_line

DIGEST_SHOWN: Final = 12
SHAPES: Final[Mapping[RevisionState, str]] = {
    RevisionState.DRAFT: "plain",
    RevisionState.PROPOSED: "caution",
    RevisionState.PUBLISHED: "go",
    RevisionState.RETIRED: "stop",
}


@dataclass(frozen=True)
class TextWords:
    """A window's text as every page shows it; `cautions` stand above the rows."""

    kind: str
    part_numbers: str
    temperatures: tuple[tuple[str, str], ...]
    note: str
    cautions: tuple[str, ...]
    rows: tuple[LineWords, ...]


def spell_text(text: WindowText) -> TextWords:
    """Spell a text for a page."""
    return TextWords(
        kind="never to be exceeded" if text.is_never_exceed else "aims",
        part_numbers=", ".join(text.part_numbers),
        temperatures=list_temperatures(text),
        note=text.note,
        cautions=text.cautions,
        rows=tuple(map(spell_line, text.rows)),
    )
