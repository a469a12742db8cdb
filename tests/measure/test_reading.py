"""The measure of reading reads the rows that it says it reads."""

from pathlib import Path

import numpy as np

from app.measure.reading import (
    CHANNELS,
    find_peak_bytes,
    measure_reading,
    write_dated,
    write_log,
)
from app.traces.files import read_logger_file


def test_the_written_log_is_plain_for_both_readers(tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    write_log(file, rows=20_000)
    reading = read_logger_file(file.read_bytes())
    bare = np.loadtxt(file, delimiter=",", skiprows=1)
    assert bare.shape == (20_000, CHANNELS + 1)
    np.testing.assert_array_equal(reading.time.elapsed_s(), bare[:, 0])
    for place, column in enumerate(reading.columns, start=1):
        np.testing.assert_array_equal(column.temperature_c(), bare[:, place])
    assert (reading.questions, reading.findings) == ((), ())


def test_speed_and_memory_are_measured_and_one_of_them_has_a_target() -> None:
    figures = measure_reading(many_rows=60_000, rounds=1)
    assert [figure.unit for figure in figures] == [
        "ms", "times as long", "ms", "rows a second", "MiB", "times the file",
    ]  # fmt: skip
    assert [figure.target for figure in figures] == [None, 3.0, None, None, None, None]
    assert all(figure.value > 0 for figure in figures)
    assert "60,000 rows" in figures[3].what


def test_the_log_with_dates_tells_of_the_same_samples(tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    write_log(file, rows=500)
    plain = read_logger_file(file.read_bytes())
    dated = read_logger_file(write_dated(file.read_text(encoding="utf-8")))
    assert dated.time.is_absolute
    np.testing.assert_array_equal(dated.time.elapsed_s(), plain.time.elapsed_s())
    np.testing.assert_array_equal(dated.columns[4].values, plain.columns[4].values)


def test_the_peak_of_memory_rises_with_what_is_held() -> None:
    before = find_peak_bytes()
    held = np.ones(64 * 2**20, dtype=np.uint8)
    assert held.all()
    assert find_peak_bytes() >= before
