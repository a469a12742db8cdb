"""How one layout file was read, as a sheet of the preview: guesses, choices, rows, refusals."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from app.boards.files import (
    BillField,
    BillReading,
    DecimalMark,
    Delimiter,
    LengthUnit,
    PlacementField,
    PlacementReading,
    RefusedLine,
)
from app.boards.files.columns import ColumnGuess
from app.boards.files.grid import Guess, T
from app.boards.queries import ReadBill, ReadPlacement
from app.boards.rules import Side
from app.boards.tables import LayoutDraft

REFUSED_SHOWN: Final = 100
_TITLE_SHOWN: Final = 40
_NONE: Final = "none"

_FIELD_LABELS: Final[Mapping[str, str]] = {
    "designator": "Designator",
    "designators": "Designators",
    "value": "Value",
    "package": "Package",
    "x": "Centre x",
    "y": "Centre y",
    "rotation": "Rotation",
    "side": "Side",
    "quantity": "Quantity",
    "part_number": "Part number",
}
_WORDS: Final[Mapping[str, str]] = {
    "comma": "comma ,",
    "semicolon": "semicolon ;",
    "tab": "tab",
    "pipe": "pipe |",
    "blanks": "blanks",
    "point": "point, 1.5",
    "mil": "mil, thousandths of an inch",
}


@dataclass(frozen=True)
class ChoiceField:
    """One thing about a file that can be chosen; without choices it is typed."""

    name: str
    label: str
    value: str
    choices: tuple[tuple[str, str], ...]
    hint: str


@dataclass(frozen=True)
class SampleRow:
    """One of the first rows beneath the titles."""

    line_number: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class FileSheet:
    """All that the preview shows of one file."""

    kind: str
    title: str
    name: str
    digest: str
    refusal: str
    summary: str
    choices: tuple[ChoiceField, ...]
    findings: tuple[str, ...]
    titles: tuple[str, ...]
    meanings: tuple[str, ...]
    sample: tuple[SampleRow, ...]
    refused: tuple[RefusedLine, ...]
    refused_more: int


def list_choices(kind: str) -> dict[str, str]:
    """Return name → label of everything that can be chosen about a kind of file."""
    fields: Iterable[StrEnum] = PlacementField if kind == "placement" else BillField
    labels = {"delimiter": "Between cells", "header_line": "Line of the titles"}
    if kind == "placement":
        labels |= {
            "unit": "Unit of x and y",
            "decimal_mark": "Decimal mark",
            "mirror_bottom_x": "Turn the sign of x on the bottom side",
            "side_if_absent": "Side of lines without one",
        }
    return labels | {f"columns.{field}": _FIELD_LABELS[field] for field in fields}


def make_placement_sheet(
    draft: LayoutDraft, file: ReadPlacement, typed: Mapping[str, str] | None
) -> FileSheet:
    """Return the sheet of a placement file; `typed` is what a refused form held."""
    reading = file.reading
    values = typed if typed is not None else _spell_chosen(draft.placement_choices)
    mirrored = "" if reading is None else ("yes" if reading.is_bottom_mirrored else "no")
    absent = "" if reading is None else str(reading.choices.side_if_absent)
    extra = [
        _pick("unit", LengthUnit, values, _hint(reading.unit if reading else None)),
        _pick(
            "decimal_mark", DecimalMark, values, _hint(reading.decimal_mark if reading else None)
        ),
        ChoiceField(
            "mirror_bottom_x",
            "Turn the sign of x on the bottom side",
            values.get("mirror_bottom_x", ""),
            (("", _as_read(mirrored)), ("yes", "yes"), ("no", "no")),
            "For files that count x the other way there",
        ),
        ChoiceField(
            "side_if_absent",
            "Side of lines without one",
            values.get("side_if_absent", ""),
            (("", _as_read(absent)), *((str(side), str(side)) for side in Side)),
            "Where no column gives the side",
        ),
    ]
    return _make_sheet("placement", "Placement file", file, reading, values, extra)


def make_bill_sheet(
    draft: LayoutDraft, file: ReadBill, typed: Mapping[str, str] | None
) -> FileSheet:
    """Return the sheet of a bill; `typed` is what a refused form held."""
    values = typed if typed is not None else _spell_chosen(draft.bill_choices)
    return _make_sheet("bill", "Bill of materials", file, file.reading, values, [])


def _make_sheet(
    kind: str,
    title: str,
    file: ReadPlacement | ReadBill,
    reading: PlacementReading | BillReading | None,
    values: Mapping[str, str],
    extra: Sequence[ChoiceField],
) -> FileSheet:
    labels = list_choices(kind)
    header_hint = "0 when the file has no titles"
    if reading is not None:
        header_hint += f"; as read: {reading.header_line}"
    choices = [
        _pick("delimiter", Delimiter, values, _hint(reading.delimiter if reading else None)),
        ChoiceField(
            "header_line", labels["header_line"], values.get("header_line", ""), (), header_hint
        ),
        *extra,
    ]
    meanings: tuple[str, ...] = ()
    if reading is not None:
        options = _list_columns(reading)
        columns: Sequence[ColumnGuess[PlacementField] | ColumnGuess[BillField]] = reading.columns
        choices += [_pick_column(guess, values, options) for guess in columns]
        taken = {guess.index: _FIELD_LABELS[guess.field] for guess in columns}
        meanings = tuple(taken.get(index, "") for index in range(reading.width))
    return FileSheet(
        kind=kind,
        title=title,
        name=file.name,
        digest=file.sha256,
        refusal=file.refusal or "",
        summary=_summarise(reading),
        choices=tuple(choices),
        findings=reading.findings if reading else (),
        titles=tuple(name for _, name in _list_columns(reading)) if reading else (),
        meanings=meanings,
        sample=(
            tuple(SampleRow(row.line_number, row.cells) for row in reading.sample)
            if reading
            else ()
        ),
        refused=reading.refused[:REFUSED_SHOWN] if reading else (),
        refused_more=max(0, len(reading.refused) - REFUSED_SHOWN) if reading else 0,
    )


def _summarise(reading: PlacementReading | BillReading | None) -> str:
    if reading is None:
        return ""
    parts = [
        f"{len(reading.lines):,} lines taken over",
        f"{len(reading.refused):,} refused",
        reading.encoding,
        f"{reading.delimiter.value} between cells",
    ]
    if isinstance(reading, PlacementReading):
        parts += [f"{reading.unit.value}", f"decimal {reading.decimal_mark.value}"]
    return " · ".join(parts)


def _list_columns(reading: PlacementReading | BillReading) -> list[tuple[str, str]]:
    """Return a file's columns, from 0, with a name that a person can find them by."""
    named = []
    for index in range(reading.width):
        title = reading.header[index] if index < len(reading.header) else ""
        named.append((str(index), f"{index + 1}: {title[:_TITLE_SHOWN] or '(no title)'}"))
    return named


def _pick_column(
    guess: ColumnGuess[PlacementField] | ColumnGuess[BillField],
    values: Mapping[str, str],
    options: list[tuple[str, str]],
) -> ChoiceField:
    name = f"columns.{guess.field}"
    taken = options[guess.index][1] if guess.index is not None else "no column"
    return ChoiceField(
        name,
        _FIELD_LABELS[guess.field],
        values.get(name, ""),
        (("", _as_read(taken)), *options, (_NONE, "leave it out")),
        guess.reason,
    )


def _pick(
    name: str, kinds: Iterable[StrEnum], values: Mapping[str, str], hint: tuple[str, str]
) -> ChoiceField:
    taken, reason = hint
    options = tuple((str(kind), _WORDS.get(kind, str(kind))) for kind in kinds)
    return ChoiceField(
        name,
        list_choices("placement")[name],
        values.get(name, ""),
        (("", _as_read(_WORDS.get(taken, taken))), *options),
        reason,
    )


def _hint(guess: Guess[T] | None) -> tuple[str, str]:
    return (str(guess.value), guess.reason) if guess is not None else ("", "")


def _as_read(taken: str) -> str:
    return f"as read: {taken}" if taken else "as the file says"


def _spell_chosen(stored: Mapping[str, Any]) -> dict[str, str]:
    """Spell the choices of a draft as its form holds them."""
    values = {
        name: ("yes" if value else "no") if isinstance(value, bool) else str(value)
        for name, value in stored.items()
        if name != "columns"
    }
    for name, index in stored.get("columns", {}).items():
        values[f"columns.{name}"] = _NONE if index is None else str(index)
    return values
