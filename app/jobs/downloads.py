"""Hands out a run's file and samples as downloads with names that any system can keep."""

import csv
import io
from collections.abc import Iterator, Sequence
from typing import Final
from urllib.parse import quote

from app.core.cells import guard_cell
from app.core.text import parse_line
from app.traces.queries import RecordedTrace

LONGEST_NAME: Final = 120
_ROWS_AT_ONCE: Final = 2_000


def parse_file_name(text: str) -> str:
    """Return a file's name as one line of at most 120 characters, without folders."""
    shown = "".join(c if c.isprintable() else "_" for c in text.replace("\\", "/"))
    name = parse_line(shown.rsplit("/", 1)[-1])[:LONGEST_NAME].strip()
    return name or "trace.csv"


def spell_disposition(name: str) -> str:
    """Return the header that saves an answer as a file of this name (RFC 6266)."""
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "._- ") else "_" for c in name)
    return f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(name, safe='')}"


def spell_samples(recorded: RecordedTrace, *, about: Sequence[tuple[str, str]]) -> Iterator[str]:
    """Yield a trace as CSV: where it comes from, a blank row, then every sample.

    Seconds since the first sample, and each channel in its file's own digits and unit.
    """
    channels = recorded.channels
    names = [f"{c.name} ({c.column.unit.words if c.column.unit else '?'})" for c in channels]
    origin = [[guard_cell(label), guard_cell(value)] for label, value in about]
    yield _spell_rows([*origin, [], ["time (s)", *map(guard_cell, names)]])
    for start in range(0, len(recorded.ticks), _ROWS_AT_ONCE):
        stop = min(start + _ROWS_AT_ONCE, len(recorded.ticks))
        yield _spell_rows(
            [
                [recorded.spell_time(sample), *(c.column.spell(sample) for c in channels)]
                for sample in range(start, stop)
            ]
        )


def _spell_rows(rows: list[list[str]]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerows(rows)
    return text.getvalue()
