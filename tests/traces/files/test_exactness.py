"""The file's own digits: nothing is lost between the cell and the stored integer."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.core.refusals import Refusal
from app.traces.files import FindingKind, read_logger_file

# What a sensor can give in °C, away from the numbers that mean "no reading".
temperatures = st.decimals(min_value=-200, max_value=1300, places=None, allow_nan=False).map(
    lambda value: round(value, 6)
)


def spell_with(value: Decimal, places: int) -> str:
    return f"{value:.{places}f}"


@given(
    cells=st.lists(
        st.tuples(temperatures, st.integers(0, 6)).map(lambda pair: spell_with(*pair)),
        min_size=2,
        max_size=40,
    ),
    comma=st.booleans(),
)
def test_every_cell_comes_back_as_its_own_number(cells: list[str], *, comma: bool) -> None:
    rows = "".join(f"{k};{cell}\n" for k, cell in enumerate(cells))
    text = rows.replace(".", ",") if comma else rows
    column = read_logger_file(f"Time [s];T1 [C]\n{text}".encode()).columns[0]
    most = max(len(cell.partition(".")[2]) for cell in cells)
    assert column.decimals == most
    assert not column.missing.any()
    assert [Decimal(column.spell(k)) for k in range(len(cells))] == [Decimal(c) for c in cells]


def test_the_decimals_are_the_most_that_the_column_uses() -> None:
    text = b"Time [s],T1 [C],T2 [C]\n0,20,20.10\n1,20.5,20\n2,-0.25,21.5\n"
    first, second = read_logger_file(text).columns
    assert first.values.tolist() == [2000, 2050, -25]
    assert second.values.tolist() == [2010, 2000, 2150]
    assert first.spell(2) == "-0.25"


@pytest.mark.parametrize(
    ("cell", "spelled"),
    [
        ("+21.5", "21.5"),
        (".5", "0.5"),
        ("21.", "21"),
        ("2.15e1", "21.5"),
        ("2.150000000000000000e+01", "21.5"),
        ("−21.5", "-21.5"),
        ("00021.50", "21.50"),
        ("-0.0", "0.0"),
    ],
)
def test_a_number_is_one_in_every_way_of_writing(cell: str, spelled: str) -> None:
    column = read_logger_file(f"Time [s],T1 [C]\n0,{cell}\n1,{cell}\n".encode()).columns[0]
    assert Decimal(column.spell(1)) == Decimal(spelled)


def test_more_than_six_decimals_are_rounded_and_listed() -> None:
    reading = read_logger_file(b"Time [s],T1 [C]\n0,21.12345650\n1,21.12345651\n2,21.1234565\n")
    assert [reading.columns[0].spell(k) for k in range(3)] == [
        "21.123456",
        "21.123457",
        "21.123456",
    ]
    (finding,) = reading.findings
    assert (finding.kind, finding.count) == (FindingKind.ROUNDED, 3)


def test_zeros_beyond_the_sixth_decimal_cost_nothing() -> None:
    reading = read_logger_file(b"Time [s],T1 [C]\n0,21.50000000\n1,21.25000000\n")
    assert reading.findings == ()
    assert Decimal(reading.columns[0].spell(1)) == Decimal("21.25")


def test_the_samples_of_a_reading_cannot_be_changed() -> None:
    reading = read_logger_file(b"Time [s],T1 [C]\n0,21.5\n1,21.5\n")
    for array in (reading.columns[0].values, reading.columns[0].missing, reading.time.ticks):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1


def test_a_long_file_reads_as_the_same_numbers_that_numpy_reads() -> None:
    rng = np.random.default_rng(7)
    table = np.round(rng.uniform(-20, 260, size=(9_000, 6)), 2)
    table[:, 0] = np.arange(9_000) / 10
    rows = "\n".join(",".join(f"{value:.2f}" for value in row) for row in table)
    header = "Time [s]," + ",".join(f"T{k} [C]" for k in range(1, 6))
    reading = read_logger_file(f"{header}\n{rows}\n".encode())
    assert reading.findings == ()
    np.testing.assert_array_equal(reading.time.elapsed_s(), table[:, 0])
    for column in reading.columns:
        np.testing.assert_array_equal(column.temperature_c(), table[:, column.index])


def test_a_number_with_the_other_decimal_mark_is_refused_with_row_and_column() -> None:
    rows = "".join(f"{k};20,5\n" for k in range(20))
    with pytest.raises(Refusal) as refused:
        read_logger_file(f"Time [s];T1 [C]\n{rows}20;20.5\n".encode())
    assert refused.value.code == "traces.decimal_marks_mixed"
    assert "Row 22, column 2 “T1 [C]”: “20.5”" in refused.value.sentence


def test_a_file_of_megabytes_is_read_as_exactly_as_a_short_one() -> None:
    # Long enough to be split and parsed in several pieces; quoted cells hold the delimiter too.
    count = 60_000
    row = np.arange(count)
    lines = [f'{k},"{k % 997}.{k % 10}","a, b",-{k % 331}.{k % 100:02d}' for k in range(count)]
    reading = read_logger_file(("t [s],A [C],Note,B [F]\n" + "\n".join(lines) + "\n").encode())
    assert reading.rows.tolist() == list(range(2, count + 2))
    np.testing.assert_array_equal(reading.time.ticks, row)
    celsius, fahrenheit = reading.columns
    np.testing.assert_array_equal(celsius.values, row % 997 * 10 + row % 10)
    np.testing.assert_array_equal(fahrenheit.values, -(row % 331 * 100 + row % 100))
    assert (celsius.decimals, fahrenheit.decimals) == (1, 2)
    assert not celsius.missing.any()
