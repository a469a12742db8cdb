"""A board's story as a table and as JSON that can be checked elsewhere."""

import csv
import io
import json
import re
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import Any, Final
from urllib.parse import quote
from zoneinfo import ZoneInfo

from fastapi.responses import StreamingResponse

from app.audit.tables import NameCard
from app.core.cells import guard_cell
from app.core.clock import spell_moment, spell_utc
from app.history.composer import StoryLine
from app.history.log_state import Standing
from app.history.story import Story
from app.history.told import ToldEntry
from app.jobs.rules import spell_job

FORMAT: Final = 1
COLUMNS: Final = (
    "line",
    "when",
    "when_utc",
    "who",
    "kind",
    "what",
    "details",
    "job",
    "designators",
    "recipes",
    "recipe_digests",
    "lots",
    "verdict",
    "window_use_pct",
    "run",
    "differs_from_log",
    "entries",
    "leaf_hashes",
)
SENT_AT_ONCE: Final = 64 * 1024
_UNSAFE: Final = re.compile(r"[^A-Za-z0-9._-]+")
# Programs that open tables take a text without it for another encoding.
_MARK: Final = "\ufeff"


def answer_download(pieces: Iterable[str], *, name: str, media_type: str) -> StreamingResponse:
    """Answer a text in pieces, to be saved under a name."""
    plain = _UNSAFE.sub("-", name)
    disposition = f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(name, safe='')}"
    return StreamingResponse(
        _gather(pieces),
        media_type=f"{media_type}; charset=utf-8" if media_type == "text/csv" else media_type,
        headers={"Content-Disposition": disposition},
    )


def stream_csv(lines: Iterable[StoryLine], zone: ZoneInfo) -> Iterator[str]:
    """Yield the lines as CSV with a byte order mark; no cell can be taken for a formula."""
    yield _MARK + _spell_row(COLUMNS)
    for line in lines:
        yield _spell_row(
            (
                str(line.number),
                spell_moment(line.at, zone),
                spell_utc(line.at),
                line.who,
                str(line.kind),
                line.what,
                "; ".join(f"{label}: {text}" for label, text in line.details),
                spell_job(line.job_id) if line.job_id else "",
                " ".join(line.designators),
                "; ".join(f"{used.code} rev {used.number}" for used in line.recipes),
                " ".join(used.digest or "" for used in line.recipes),
                "; ".join(line.lots),
                line.sign.word if line.sign else "",
                "" if line.window_use_pct is None else f"{line.window_use_pct:.1f}",
                str(line.run_id or ""),
                "; ".join(line.faults),
                " ".join(str(entry.seq) for entry in line.entries),
                " ".join(entry.leaf_hash.hex() for entry in line.entries),
            )
        )


def stream_json(
    story: Story,
    lines: Iterable[StoryLine],
    *,
    cards: Sequence[NameCard],
    standing: Standing,
    now: datetime,
    plant: str,
) -> Iterator[str]:
    """Yield the story as one JSON object, a line at a time.

    `entries` holds every entry of the board, whatever lines were asked for: `body` is the exact
    text whose leaf hash (SHA-256 of a zero byte and the text's UTF-8) stands beside it. A name's
    commitment is the SHA-256 of its salt and the canonical JSON of `name` and `username`.
    """
    board, proven = story.board, standing.proven
    head = {
        "format": FORMAT,
        "plant": plant,
        "exported_at": spell_utc(now),
        "board": {
            "id": board.id,
            "serial": board.serial,
            "part_number": board.part_number,
            "revision": board.revision,
            "registered_at": spell_utc(board.registered_at),
            "scrapped_at": spell_utc(board.scrapped_at) if board.scrapped_at else None,
            "note": board.note,
        },
        "log": {
            "size": proven.size,
            "root": proven.root.hex(),
            "whole_since": spell_utc(proven.first_at) if proven.first_at else None,
            "checked_at": spell_utc(proven.checked_at),
            "wrong_entry": proven.wrong.seq if proven.wrong else None,
            "reason": proven.wrong.reason if proven.wrong else None,
        },
        "board_chain_fault": (
            {"seq": story.chain_fault.seq, "reason": story.chain_fault.reason}
            if story.chain_fault
            else None
        ),
        "differences": [str(difference) for difference in story.differences],
        "names": [
            {
                "commitment": card.commitment,
                "name": card.name,
                "username": card.username,
                "salt": card.salt.hex(),
            }
            for card in cards
        ],
    }
    yield json.dumps(head, ensure_ascii=False, indent=1)[:-2] + ',\n "lines": ['
    yield from _join(describe_line(line) for line in lines)
    yield '],\n "entries": ['
    yield from _join(describe_entry(entry) for entry in story.records.entries)
    yield "]\n}\n"


def describe_line(line: StoryLine) -> dict[str, Any]:
    """Return a line as JSON; its entries by their numbers."""
    return {
        "line": line.number,
        "at": spell_utc(line.at),
        "account_id": line.account_id,
        "who": line.who,
        "kind": str(line.kind),
        "what": line.what,
        "details": [{"label": label, "text": text} for label, text in line.details],
        "job_id": line.job_id,
        "designators": list(line.designators),
        "recipes": [
            {
                "revision_id": used.id,
                "code": used.code,
                "number": used.number,
                "digest": used.digest,
                "designator": used.designator,
            }
            for used in line.recipes
        ],
        "lots": list(line.lots),
        "verdict": line.sign.word if line.sign else None,
        "window_use_pct": line.window_use_pct,
        "run_id": line.run_id,
        "differs_from_log": list(line.faults),
        "entries": [entry.seq for entry in line.entries],
    }


def describe_entry(entry: ToldEntry) -> dict[str, Any]:
    """Return an entry as JSON with its exact text; `body` is null where that is no UTF-8."""
    try:
        body = entry.body.decode()
    except UnicodeDecodeError:
        body = None
    return {
        "seq": entry.seq,
        "board_number": entry.board_number,
        "leaf_hash": entry.leaf_hash.hex(),
        "body": body,
    }


def _gather(pieces: Iterable[str]) -> Iterator[bytes]:
    """Yield the pieces as larger ones: each goes out through a thread's turn of its own."""
    waiting: list[str] = []
    length = 0
    for piece in pieces:
        waiting.append(piece)
        length += len(piece)
        if length >= SENT_AT_ONCE:
            yield "".join(waiting).encode()
            waiting.clear()
            length = 0
    yield "".join(waiting).encode()


def _join(items: Iterable[dict[str, Any]]) -> Iterator[str]:
    comma = "\n  "
    for item in items:
        yield comma + json.dumps(item, ensure_ascii=False)
        comma = ",\n  "


def _spell_row(cells: Sequence[str]) -> str:
    out = io.StringIO()
    csv.writer(out).writerow([guard_cell(cell) for cell in cells])
    return out.getvalue()
