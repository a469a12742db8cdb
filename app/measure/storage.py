"""How many bytes a stored temperature takes, time and heads included."""

import json
from pathlib import Path

from app.measure.figure import Bound, Figure
from app.measure.synthetic import RUN_S, make_trace, spell_ticks
from app.numerics.sample_codec import ScaledColumn, pack_samples
from app.traces.files.reader import read_logger_file

CHANNELS = 5
RATES_HZ = (4, 10)
TARGET = 0.6
UNIT = "byte a sample"


def measure_storage(files: tuple[Path, ...] = ()) -> list[Figure]:
    """Measure made-up runs at usual rates, and the logger files that were named."""
    figures = []
    for rate_hz in RATES_HZ:
        trace = make_trace(channels=CHANNELS, samples=RUN_S * rate_hz)
        ticks, decimals = spell_ticks(trace.time_s)
        columns = trace.as_columns()
        blob = pack_samples(ticks, tick_decimals=decimals, columns=columns)
        what = f"made-up run, {CHANNELS} channels, {rate_hz} a second, tenths of a degree"
        figures.append(_judge(what, blob, columns))
    return figures + [_measure_file(file) for file in files]


def _measure_file(file: Path) -> Figure:
    reading = read_logger_file(file.read_bytes())
    columns = tuple(ScaledColumn(c.values, c.decimals, c.missing) for c in reading.columns)
    blob = pack_samples(reading.time.ticks, tick_decimals=-reading.time.exponent, columns=columns)
    what = f"{json.dumps(file.name)}, {len(columns)} channels, {reading.sample_count:,} samples"
    return _judge(what, blob, columns)


def _judge(what: str, blob: bytes, columns: tuple[ScaledColumn, ...]) -> Figure:
    samples = sum(column.values.size for column in columns)
    return Figure("storage", what, len(blob) / samples, UNIT, Bound.AT_MOST, TARGET)
