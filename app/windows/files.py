"""Windows as files: the JSON of this program, in and out, and a table for people.

One JSON object, UTF-8, at most 1 MiB:

    {"wickbook_window": 1, "name": "Joints of SAC305, our boards",
     "is_never_exceed": false, "part_numbers": [], "alloy": "Sn96.5Ag3.0Cu0.5 (SAC305)",
     "solidus_c": 217, "liquidus_c": 220, "ramp_window_s": 5,
     "soak_min_c": null, "soak_max_c": null, "classification_c": null, "note": "",
     "rows": [{"metric": "peak_c", "roles": ["joint_centre", "joint_corner"],
               "lower": 230, "upper": 242, "unit": "°C", "status": "plants_own",
               "document": "Work instruction 12", "clause": "", "seen_in": "",
               "caution": "", "note": "", "others": []}]}

`metric`, `roles` and the ranges are those of a recipe's window; `status` is seen, from_memory,
sources_differ or plants_own. A limit whose number was changed after it was copied says what it
`was`: numbers, source and status there, and `of` which window. An export also says `key`,
`version`, `state`, `digest`, `cautions` and, beside each row, its `caution`: all of them follow
from the rest, and are not read back. The command `wickbook analyse --window FILE.json` reads the
same file; and where it reads a bare window, with `limits` in place of `rows`, so does the import.
"""

import csv
import io
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Final, Literal

from pydantic import Field, ValidationError

from app.core.canonical_json import JsonValue
from app.core.cells import guard_cell
from app.core.faults import faults_of
from app.core.refusals import Fault
from app.core.text import Line, OptionalLine
from app.recipes.body.fields import Part
from app.recipes.body.window import Window
from app.windows.body import LineStatus, WindowLine, WindowText
from app.windows.describe import list_temperatures, spell_line
from app.windows.rules import FileUnreadable, TextUnreadable

LARGEST_FILE: Final = 1024 * 1024
FORMAT: Final = "wickbook_window"
_KINDS: Final = {True: "never exceed", False: "aim"}


class _Head(Part):
    """What stands beside the text in a file."""

    wickbook_window: Literal[1]
    name: Line
    key: OptionalLine = ""
    version: Annotated[int, Field(ge=1)] | None = None
    state: OptionalLine = ""
    digest: Annotated[str, Field(pattern=r"^([0-9a-f]{64})?$")] = ""
    cautions: Annotated[tuple[OptionalLine, ...], Field(max_length=100)] = ()


_HEAD_FIELDS: Final = frozenset(_Head.model_fields)


@dataclass(frozen=True)
class Stated:
    """A window as it goes out: which one, how it stands, and its text."""

    key: str
    version: int
    name: str
    state: str
    digest: str
    text: WindowText


@dataclass(frozen=True)
class ReadWindow:
    """What a file held; the name is empty where it was a bare window."""

    name: str
    text: WindowText


def read_json(content: bytes | str) -> object:
    """Return the JSON value of a file; FileUnreadable for anything else or too much of it."""
    if len(content) > LARGEST_FILE:
        raise FileUnreadable(
            f"The file is larger than {LARGEST_FILE:,} bytes, which no window is.", field="file"
        )
    try:
        text = content.decode("utf-8-sig") if isinstance(content, bytes) else content
        told: object = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise FileUnreadable(f"The file is no JSON: {error}."[:300], field="file") from None
    return told


def parse_window_file(told: object) -> ReadWindow:
    """Return the window that a file's JSON holds.

    FileUnreadable when it is no window at all; TextUnreadable with one fault a field (`rows.0.
    upper`) when it is one with something wrong.
    """
    if not isinstance(told, dict) or not ("rows" in told or "limits" in told):
        raise FileUnreadable(
            "The file holds no window: that is a JSON object with “rows”, as an export has, or "
            "with “limits”.",
            field="file",
        )
    if "rows" not in told:
        return ReadWindow("", _take_bare(told))
    faults: tuple[Fault, ...] = ()
    head: _Head | None = None
    text: WindowText | None = None
    try:
        head = _Head.model_validate({k: v for k, v in told.items() if k in _HEAD_FIELDS})
    except ValidationError as error:
        faults = faults_of(error)
    if "format" in told:
        faults += (Fault("format", f"is not a field of this; {FORMAT} names the form"),)
    rest = {k: v for k, v in told.items() if k not in _HEAD_FIELDS}
    try:
        text = parse_text({**rest, "format": 1})
    except TextUnreadable as refusal:
        faults += refusal.faults
    if faults or head is None or text is None:
        raise TextUnreadable(faults)
    return ReadWindow(head.name, text)


def parse_text(given: object, *, context: Mapping[str, bool] | None = None) -> WindowText:
    """Return the text that a JSON value or a form's nested fields hold; TextUnreadable else."""
    try:
        return WindowText.model_validate(given, context=dict(context) if context else None)
    except ValidationError as error:
        raise TextUnreadable(faults_of(error)) from None


def spell_window_json(stated: Stated) -> str:
    """Spell a window as the file that the import and `wickbook analyse` read."""
    rows: list[JsonValue] = [
        {**row.model_dump(mode="json"), "unit": row.unit, "caution": row.status.caution}
        for row in stated.text.rows
    ]
    told = stated.text.model_dump(mode="json", exclude={"format", "rows"})
    whole: dict[str, JsonValue] = {
        FORMAT: 1,
        "name": stated.name,
        "key": stated.key,
        "version": stated.version,
        "state": stated.state,
        "digest": stated.digest,
        "cautions": list(stated.text.cautions),
        **told,
        "rows": rows,
    }
    return json.dumps(whole, ensure_ascii=False, indent=2) + "\n"


def spell_window_csv(stated: Stated) -> str:
    """Spell a window as a table for people: the facts on top, then one line a limit."""
    lines: list[list[str]] = [
        ["Window", stated.name],
        ["Key", stated.key],
        ["Version", str(stated.version)],
        ["State", stated.state],
        ["Kind", _KINDS[stated.text.is_never_exceed]],
        ["Digest", stated.digest],
        *(["Caution", one] for one in stated.text.cautions),
        *([label, value] for label, value in list_temperatures(stated.text)),
    ]
    if stated.text.part_numbers:
        lines.append(["Holds for parts", ", ".join(stated.text.part_numbers)])
    if stated.text.note:
        lines.append(["Note", stated.text.note])
    head = "Metric,Channels,Lower,Upper,Unit,Status,Caution,Source,Note,Also printed,Changed"
    lines += [[], head.split(",")]
    for row in stated.text.rows:
        words = spell_line(row)
        lines.append(
            [
                words.label,
                words.where,
                words.lower,
                words.upper,
                words.unit,
                words.status,
                words.caution,
                words.source,
                words.note,
                "; ".join(words.others),
                words.was,
            ]
        )
    out = io.StringIO()
    # Numbers of a limit are never below zero: no cell of theirs begins like a formula.
    csv.writer(out, lineterminator="\r\n").writerows(
        [[guard_cell(cell) for cell in line] for line in lines]
    )
    # The mark tells spreadsheet programs that the text is UTF-8.
    return "\ufeff" + out.getvalue()


def _take_bare(told: Mapping[str, object]) -> WindowText:
    """Return a bare window's text: its limits are the plant's own."""
    try:
        window = Window.model_validate(told)
    except ValidationError as error:
        raise TextUnreadable(faults_of(error)) from None
    fields = window.model_dump(exclude={"limits"})
    rows = [
        WindowLine(
            metric=one.metric,
            roles=one.roles,
            lower=one.lower,
            upper=one.upper,
            status=LineStatus.OWN,
        )
        for one in window.limits
    ]
    return parse_text({**fields, "format": 1, "is_never_exceed": False, "rows": rows})
