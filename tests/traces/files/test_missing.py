"""Cells that hold no temperature are missing, and each kind is listed with its rows."""

import numpy as np
import pytest

from app.core.refusals import Refusal
from app.traces.files import Finding, FindingKind, LoggerReading, read_logger_file


def read_cells(*cells: str, header: str = "T1 [°C]") -> LoggerReading:
    rows = "".join(f"{k};20.5;{cell}\n" for k, cell in enumerate(cells))
    return read_logger_file(f"Time [s];T0 [°C];{header}\n{rows}".encode())


def only_finding(reading: LoggerReading) -> Finding:
    (finding,) = reading.findings
    return finding


@pytest.mark.parametrize(
    ("cell", "kind"),
    [
        ("", FindingKind.EMPTY),
        ("OPEN", FindingKind.OPEN),
        ("open circuit", FindingKind.OPEN),
        ("Burnout", FindingKind.OPEN),
        ("NaN", FindingKind.NOT_A_NUMBER),
        ("#N/A", FindingKind.NOT_A_NUMBER),
        ("---", FindingKind.DASHES),
        ("****", FindingKind.DASHES),
        ("-.-", FindingKind.DASHES),
        ("OL", FindingKind.OVER),
        ("O.L", FindingKind.OVER),
        ("over", FindingKind.OVER),
        ("Inf", FindingKind.OVER),
        (">1372", FindingKind.OVER),
        ("under", FindingKind.UNDER),
        ("-OL", FindingKind.UNDER),
        ("err", FindingKind.ERROR),
        ("Err 12", FindingKind.ERROR),
        ("1372.0", FindingKind.SENTINEL),
        ("3276.7", FindingKind.SENTINEL),
        ("9999", FindingKind.SENTINEL),
        ("-9999", FindingKind.SENTINEL),
        ("6999", FindingKind.SENTINEL),
        ("32767", FindingKind.SENTINEL),
        ("-300.0", FindingKind.IMPOSSIBLE),
        ("1e308", FindingKind.IMPOSSIBLE),
        ("9.9E+37", FindingKind.IMPOSSIBLE),
        ("123456789012", FindingKind.IMPOSSIBLE),
        ("lamp off", FindingKind.UNREADABLE),
    ],
)
def test_a_cell_without_a_temperature_is_missing_and_listed(cell: str, kind: FindingKind) -> None:
    reading = read_cells("21.5", cell, cell, "22.5")
    column = reading.columns[1]
    assert column.missing.tolist() == [False, True, True, False]
    finding = only_finding(reading)
    assert (finding.column, finding.kind, finding.count) == (2, kind, 2)
    assert (finding.first_row, finding.last_row) == (3, 4)
    assert "2 × " in finding.sentence
    np.testing.assert_array_equal(column.temperature_c(), [21.5, np.nan, np.nan, 22.5])
    assert [column.spell(k) for k in range(4)] == ["21.5", "", "", "22.5"]


def test_the_top_of_type_k_is_known_in_fahrenheit_and_a_common_heat_there_is_not() -> None:
    reading = read_cells("70.5", "2501.6", "1372.0", header="T1 [°F]")
    assert reading.columns[1].missing.tolist() == [False, True, False]
    assert only_finding(reading).kind is FindingKind.SENTINEL


def test_a_number_between_the_sentinels_stays() -> None:
    assert not read_cells("1371.9", "1372.1", "20.0").columns[1].missing.any()


def test_a_channel_that_is_open_throughout_is_a_channel() -> None:
    reading = read_cells(*["OPEN"] * 30)
    assert reading.columns[1].missing.all()
    finding = only_finding(reading)
    assert (finding.kind, finding.count, finding.last_row) == (FindingKind.OPEN, 30, 31)


def test_each_kind_is_listed_apart() -> None:
    reading = read_cells("OPEN", "21.5", "", "OL", "", "1372.0")
    assert {(f.kind, f.count) for f in reading.findings} == {
        (FindingKind.OPEN, 1),
        (FindingKind.EMPTY, 2),
        (FindingKind.OVER, 1),
        (FindingKind.SENTINEL, 1),
    }


@pytest.mark.parametrize("cell", ["NaN", "OPEN", "", "1e308"])
def test_a_file_without_one_temperature_is_refused(cell: str) -> None:
    rows = "".join(f"{k},{cell}\n" for k in range(5))
    with pytest.raises(Refusal) as refused:
        read_logger_file(f"Time [s],T1 [C]\n{rows}".encode())
    assert refused.value.code in {"traces.no_temperatures", "traces.no_temperature_column"}
