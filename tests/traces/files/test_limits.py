"""Every limit is named by the refusal that it causes."""

import pytest

from app.core.refusals import Refusal, TooLarge
from app.traces.files import ReadingLimits, read_logger_file


def refuse(content: bytes, limits: ReadingLimits | None = None) -> Refusal:
    with pytest.raises(Refusal) as refused:
        read_logger_file(content, limits=limits or ReadingLimits())
    return refused.value


def test_a_file_of_too_many_bytes_is_refused() -> None:
    refusal = refuse(b"0,20.5\n" * 20, ReadingLimits(max_bytes=100))
    assert isinstance(refusal, TooLarge)
    assert refusal.code == "traces.file_too_large"
    assert "140 bytes; 100 is the limit" in refusal.sentence


def test_two_million_rows_are_refused_with_their_count() -> None:
    refusal = refuse(b"0,20.5\n" * 2_000_000)
    assert refusal.code == "traces.too_many_rows"
    assert "2,000,000 rows; 500,000 is the limit" in refusal.sentence


def test_rows_are_counted_without_the_header() -> None:
    rows = "".join(f"{k},20.5\n" for k in range(10))
    content = f"Time [s],T1 [C]\n{rows}".encode()
    assert read_logger_file(content, limits=ReadingLimits(max_rows=10)).sample_count == 10
    refusal = refuse(content, ReadingLimits(max_rows=9))
    assert "10 rows; 9 is the limit" in refusal.sentence


def test_ten_thousand_columns_are_refused_with_the_row() -> None:
    row = ",".join("1" * 10_000)
    refusal = refuse(f"{row}\n{row}\n".encode())
    assert refusal.code == "traces.too_many_columns"
    assert "Row 1 has 10,000 columns; 1,000 is the limit" in refusal.sentence


def test_sixty_five_temperature_columns_are_refused() -> None:
    header = "Time [s]," + ",".join(f"T{k} [C]" for k in range(65))
    rows = "".join(f"{k}{',20.5' * 65}\n" for k in range(3))
    refusal = refuse(f"{header}\n{rows}".encode())
    assert refusal.code == "traces.too_many_temperature_columns"
    assert "65 temperature columns; 64 is the limit" in refusal.sentence


def test_a_line_that_is_too_long_is_refused_with_the_row() -> None:
    refusal = refuse(b"0,20.5\n1," + b"9" * 40_000 + b"\n")
    assert refusal.code == "traces.line_too_long"
    assert "Row 2 is 40,002 bytes long; 32,768 is the limit" in refusal.sentence
