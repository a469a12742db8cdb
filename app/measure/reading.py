"""How fast a logger's file is read, and in how much memory a very long one."""

import multiprocessing
import resource
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter
from typing import Final

import numpy as np

from app.measure.figure import Bound, Figure
from app.measure.rounds import time_in_turns
from app.measure.synthetic import make_trace
from app.traces.files import ReadingLimits, read_logger_file
from app.traces.rules import ReadingChoices

CHANNELS: Final = 5
ROWS: Final = 9_000
MANY_ROWS: Final = 2_000_000
TARGET_TIMES: Final = 3.0
ROUNDS: Final = 15
REPEATS: Final = 3
_BLOCK_ROWS: Final = 9_000
_BEGUN: Final = datetime(2026, 3, 4, 9, 0)  # noqa: DTZ001 a logger's own clock
_KIB_PER_MIB: Final = 1024
_MIB: Final = 1024 * 1024
# ru_maxrss counts kibibytes on Linux, and bytes on macOS (their manual pages, getrusage).
_MAXRSS_UNIT_B: Final = 1 if sys.platform == "darwin" else _KIB_PER_MIB


def measure_reading(*, many_rows: int = MANY_ROWS, rounds: int = ROUNDS) -> list[Figure]:
    """Measure reading 9,000 rows against numpy's loadtxt on the same file, and 2,000,000 rows."""
    with TemporaryDirectory() as folder:
        return [*_measure_short(Path(folder), rounds), *_measure_long(Path(folder), many_rows)]


def write_log(file: Path, *, rows: int) -> None:
    """Write what a general logger would: seconds and °C with two decimals, `rows` of them."""
    with file.open("w", encoding="utf-8") as stream:
        names = ",".join(f"T{place} (°C)" for place in range(1, CHANNELS + 1))
        stream.write(f"Time (s),{names}\n")
        for block in _list_blocks(rows):
            stream.write(block)


def write_dated(text: str) -> bytes:
    """Return the log with a date and a time to the millisecond in the place of its seconds."""
    header, *rows = text.splitlines()
    lines = [header.replace("Time (s)", "Time")]
    for row in rows:
        seconds, _, cells = row.partition(",")
        moment = _BEGUN + timedelta(seconds=float(seconds))
        lines.append(f"{moment.isoformat(sep=' ', timespec='milliseconds')},{cells}")
    return "\n".join([*lines, ""]).encode()


def _list_blocks(rows: int) -> Iterator[str]:
    """Yield rows of one made-up run after the other, the time going on."""
    trace = make_trace(channels=CHANNELS, samples=min(rows, _BLOCK_ROWS))
    cells = np.column_stack(trace.channels_c)
    tails = [",".join(f"{value:.2f}" for value in row) for row in cells.tolist()]
    for start in range(0, rows, len(tails)):
        many = min(len(tails), rows - start)
        yield "".join(f"{(start + k) / 20:.2f},{tails[k]}\n" for k in range(many))


def _measure_short(folder: Path, rounds: int) -> list[Figure]:
    file = folder / "short.csv"
    write_log(file, rows=ROWS)
    content = file.read_bytes()
    lines = content.decode().splitlines()
    bare = {
        "from the file": lambda: np.loadtxt(file, delimiter=",", skiprows=1),
        "from lines in memory": lambda: np.loadtxt(lines, delimiter=",", skiprows=1),
    }
    dated = write_dated(content.decode())
    times = time_in_turns(
        {
            "reader": lambda: read_logger_file(content),
            "dated": lambda: read_logger_file(dated),
            **bare,
        },
        rounds=rounds,
        repeats=REPEATS,
    )
    fastest = min(bare, key=lambda name: times[name])
    what = f"{CHANNELS} channels of {ROWS:,} rows"
    return [
        Figure("reading", what, times["reader"] * 1e3, "ms"),
        Figure(
            "reading",
            f"against numpy.loadtxt {fastest}, its fastest on the same rows",
            times["reader"] / times[fastest],
            "times as long",
            Bound.AT_MOST,
            TARGET_TIMES,
        ),
        Figure("reading", "the same rows with dates and times", times["dated"] * 1e3, "ms"),
    ]


def _measure_long(folder: Path, rows: int) -> list[Figure]:
    file = folder / "long.csv"
    write_log(file, rows=rows)
    # A process of its own: its greatest memory is that of the reading alone.
    spawned = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(max_workers=1, mp_context=spawned) as pool:
        elapsed_s, rise_bytes = pool.submit(_read_once, file, rows).result()
    size = file.stat().st_size
    what = f"{CHANNELS} channels of {rows:,} rows, {size / _MIB:.0f} MiB"
    return [
        Figure("reading", what, rows / elapsed_s, "rows a second"),
        Figure("reading", f"{what}: memory beside the file", rise_bytes / _MIB, "MiB"),
        Figure("reading", "memory beside the file", rise_bytes / size, "times the file"),
    ]


def _read_once(file: Path, rows: int) -> tuple[float, int]:
    """Return how long reading took (s), and by how much memory rose above the file's own (B)."""
    content = file.read_bytes()
    limits = ReadingLimits(max_bytes=len(content), max_rows=rows)
    before = find_peak_bytes()
    began = perf_counter()
    read_logger_file(content, choices=ReadingChoices(), limits=limits)
    elapsed_s = perf_counter() - began
    return elapsed_s, find_peak_bytes() - before


def find_peak_bytes() -> int:
    """Return the most memory that this process has held so far.

    Linux counts in ru_maxrss also what the parent held when it began a process, so its own record
    of the process is read where there is one (proc(5), VmHWM in kB).
    """
    try:
        status = Path("/proc/self/status").read_text(encoding="ascii", errors="replace")
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * _MAXRSS_UNIT_B
    fields = dict(line.split(":", 1) for line in status.splitlines() if ":" in line)
    return int(fields["VmHWM"].split()[0]) * _KIB_PER_MIB
