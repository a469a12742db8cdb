"""Columns of millivolts: type and cold junction as the file or a person says, never guessed.

Printed values are those of the NIST ITS-90 Thermocouple Database, SRD 60, mV to three decimals.
"""

import numpy as np
import pytest

from app.core.refusals import Refusal
from app.numerics.thermocouple_tables import ThermocoupleType
from app.numerics.thermocouples import compute_emf_mv
from app.traces.files import FindingKind, LoggerReading, read_logger_file
from app.traces.rules import ColumnChoice, ColumnRole, ReadingChoices, TemperatureUnit

K = ThermocoupleType.K
# At 25 °C and at 245 °C.
PRINTED_MV = {
    "K": ("1.000", "9.950"),
    "J": ("1.277", "13.278"),
    "T": ("0.992", "11.735"),
    "N": ("0.659", "7.426"),
}


def read_table(*rows: str, choices: ReadingChoices | None = None) -> LoggerReading:
    return read_logger_file("\n".join((*rows, "")).encode(), choices=choices)


def refuse_table(*rows: str, choices: ReadingChoices | None = None) -> Refusal:
    with pytest.raises(Refusal) as refused:
        read_table(*rows, choices=choices)
    return refused.value


@pytest.mark.parametrize("kind", PRINTED_MV)
def test_millivolts_of_each_type_are_the_printed_temperature(kind: str) -> None:
    # An ice point as cold junction: the emf is the table's own.
    printed = PRINTED_MV[kind]
    reading = read_table(
        f"Time [s],T1 type {kind} [mV],CJC [C]", f"0,{printed[0]},0", f"1,{printed[1]},0"
    )
    column = reading.columns[0]
    np.testing.assert_allclose(column.temperature_c(), [25.0, 245.0], rtol=0, atol=0.02)
    assert (column.unit, column.decimals) == (TemperatureUnit.CELSIUS, 4)
    assert reading.guesses[1].thermocouple == kind
    assert reading.guesses[2].role is ColumnRole.COLD_JUNCTION
    assert f"its header says type {kind}" in reading.assumptions[0]
    assert "cold junction of column 3" in reading.assumptions[0]


def test_the_emf_of_the_cold_junction_is_added_and_not_its_temperature() -> None:
    # 9.950 mV − 1.000 mV is 245 °C against 25 °C; 25 K on top of what 8.950 mV is are 245.25 °C.
    reading = read_table("Time [s],T1 K-type [mV],Cold junction [C]", "0,0,25", "1,8.950,25")
    np.testing.assert_allclose(reading.columns[0].temperature_c(), [25.0, 245.0], atol=0.03)


def test_the_cold_junction_may_be_in_fahrenheit_and_change() -> None:
    reading = read_table("Time [s],T1 type K [mV],CJC [F]", "0,0,68", "1,0,77", "2,0,86")
    np.testing.assert_allclose(reading.columns[0].temperature_c(), [20.0, 25.0, 30.0], atol=1e-4)


def test_the_units_row_may_say_millivolts() -> None:
    reading = read_table("Time,TC K,CJC", "s,mV,°C", "0,0,20", "1,0,21")
    np.testing.assert_allclose(reading.columns[0].temperature_c(), [20.0, 21.0], atol=1e-4)


def test_type_and_cold_junction_may_be_chosen() -> None:
    rows = ("Time [s],A [mV],Block [C]", "0,0,20", "1,1,20")
    junction = ColumnChoice(index=2, role=ColumnRole.COLD_JUNCTION)
    by_all = ReadingChoices(thermocouple=K, columns=(junction,))
    by_column = ReadingChoices(columns=(ColumnChoice(index=1, thermocouple=K), junction))
    expected = read_table(*rows, choices=by_all).columns[0].values
    np.testing.assert_array_equal(read_table(*rows, choices=by_column).columns[0].values, expected)
    # 1 mV + the junction's emf is the emf of this temperature.
    assert compute_emf_mv(expected[1] / 10_000, K) == pytest.approx(
        1.0 + float(compute_emf_mv(20.0, K)), abs=1e-5
    )


def test_millivolts_without_a_type_are_asked_for_it_with_their_cold_junction_preset() -> None:
    reading = read_table("Time [s],A [mV],B mV,CJC [C]", "0,1,20,21", "1,2,21,21")
    assert [column.index for column in reading.columns] == [1, 2]
    assert [(one.about, one.column) for one in reading.questions] == [
        ("thermocouple", 1),
        ("thermocouple", 2),
    ]
    assert "Column 2 “A [mV]”: millivolts of which type" in reading.questions[0].sentence
    assert [guess.cold_junction for guess in reading.guesses] == [None, 3, 3, None]
    assert reading.guesses[3].role is ColumnRole.COLD_JUNCTION
    (assumed,) = reading.assumptions
    assert assumed == (
        "Column 4 “CJC [C]” was taken for the cold junction: its header names the cold junction; "
        "its header says °C."
    )
    with pytest.raises(Refusal) as refused:
        reading.columns[0].temperature_c()
    assert "of which thermocouple it holds millivolts" in refused.value.sentence


def test_millivolts_that_are_to_be_ignored_are_asked_nothing() -> None:
    rows = ("Time [s],Flow [mV],T1 [C]", "0,1,20", "1,2,21")
    ignored = ReadingChoices(columns=(ColumnChoice(index=1, role=ColumnRole.IGNORED),))
    reading = read_table(*rows, choices=ignored)
    assert [column.index for column in reading.columns] == [2]
    assert reading.questions == ()


@pytest.mark.parametrize("header", ["CJ", "cold junction", "Ref [C]", "T_ref [°C]", "Reference"])
def test_a_column_that_reads_like_a_cold_junction_is_preset_as_one(header: str) -> None:
    rows = (f"Time [s],A [mV],{header}", "0,1,20", "1,2,21")
    choices = ReadingChoices(temperature_unit=TemperatureUnit.CELSIUS)
    reading = read_table(*rows, choices=choices)
    assert [column.index for column in reading.columns] == [1]
    assert reading.guesses[1].cold_junction == 2


def test_a_thermocouple_for_reference_beside_temperatures_stays_one() -> None:
    reading = read_table("Time [s],T1 [C],Ref [C]", "0,1,20", "1,2,21")
    assert [column.index for column in reading.columns] == [1, 2]


def test_without_a_cold_junction_the_question_asks_for_it_too() -> None:
    reading = read_table("Time [s],A [mV],B [mV]", "0,1,20", "1,2,21")
    assert "no column is named as its cold junction" in reading.questions[0].sentence


def test_a_file_of_typed_millivolts_alone_says_what_to_do() -> None:
    refusal = refuse_table("Time [s],T1 type K [mV]", "0,1", "1,2")
    assert refusal.code == "traces.no_temperature_column"
    assert "no column is named as its cold junction" in refusal.sentence
    assert "and its cold junction: a column or a fixed temperature" in refusal.sentence


def test_a_type_without_a_cold_junction_is_left_out_and_says_so() -> None:
    reading = read_table("Time [s],T1 type K [mV],T2 [C]", "0,1,20", "1,2,21")
    assert [column.index for column in reading.columns] == [2]
    assert "no column is named as its cold junction" in reading.guesses[1].why


def test_several_cold_junctions_are_not_chosen_among() -> None:
    rows = ("Time [s],T1 type K [mV],CJC 1 [C],CJC 2 [C]", "0,1,20,21", "1,2,20,21")
    assert "it is open which of Column 3" in read_table(*rows).guesses[1].why
    chosen = ReadingChoices(columns=(ColumnChoice(index=3, role=ColumnRole.COLD_JUNCTION),))
    assert read_table(*rows, choices=chosen).guesses[1].role is ColumnRole.TEMPERATURE


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("Time [s],T1 [mV],Block [C]", "no column is named as its cold junction"),
        ("Time [s],T1 [mV],CJC", "the file does not say its unit"),
    ],
)
def test_a_chosen_type_without_a_usable_cold_junction_is_refused(header: str, words: str) -> None:
    refusal = refuse_table(header, "0,0,20", "1,1,20", choices=ReadingChoices(thermocouple=K))
    assert refusal.code == "traces.no_cold_junction"
    assert words in refusal.sentence


def test_an_emf_that_the_type_cannot_give_is_refused_with_its_row() -> None:
    refusal = refuse_table("Time [s],T1 type T [mV],CJC [C]", "0,1,20", "1,20.5,20", "2,1,20")
    assert refusal.code == "traces.emf_outside_range"
    assert "Row 3, column 2 “T1 type T [mV]”: 20.5 mV" in refusal.sentence
    assert "type T" in refusal.sentence


def test_without_a_reading_of_either_there_is_no_temperature() -> None:
    reading = read_table(
        "Time [s],T1 type K [mV],CJC [C]", "0,0,20", "1,OPEN,20", "2,0,-----", "3,0,21"
    )
    assert reading.columns[0].missing.tolist() == [False, True, True, False]
    kinds = [finding.kind for finding in reading.findings]
    assert FindingKind.OPEN in kinds
    assert FindingKind.NO_COLD_JUNCTION in kinds
    assert "rows 4 to 4" in reading.findings[-1].sentence


def test_a_logger_in_millivolts_agrees_with_one_in_celsius() -> None:
    temperature_c = np.array([25.0, 150.0, 217.0, 240.3, 90.0])
    junction_mv = float(compute_emf_mv(31.25, K))
    emf_mv = compute_emf_mv(temperature_c, K) - junction_mv
    rows = (f"{k},{mv:.6f},31.25" for k, mv in enumerate(emf_mv.tolist()))
    reading = read_table("Time [s],T1 type K [mV],CJC [C]", *rows)
    np.testing.assert_allclose(reading.columns[0].temperature_c(), temperature_c, atol=1e-4)


def test_the_cold_junction_may_be_fixed_for_all_or_for_one_column() -> None:
    rows = ("Time [s],A type K [mV],B type K [mV],CJC [C]", "0,0,0,40", "1,0,0,40")
    for_all = read_table(*rows, choices=ReadingChoices(cold_junction_c=21.5))
    assert [c.temperature_c()[0] for c in for_all.columns] == [21.5, 21.5, 40.0]
    for_one = ReadingChoices(columns=(ColumnChoice(index=1, cold_junction_c=21.5),))
    reading = read_table(*rows, choices=for_one)
    np.testing.assert_allclose([c.temperature_c()[0] for c in reading.columns], [21.5, 40.0])
    assert "its cold junction at 21.5 °C, as you chose" in reading.guesses[1].why
    assert "the cold junction of column 4" in reading.guesses[2].why


def test_each_column_may_have_a_cold_junction_and_a_type_of_its_own() -> None:
    rows = ("Time [s],A [mV],B [mV],P [C],Q [F]", "0,0,0,20,86", "1,1.277,0,0,86")
    chosen = ReadingChoices(
        columns=(
            ColumnChoice(index=1, thermocouple=ThermocoupleType.J, cold_junction=3),
            ColumnChoice(index=2, thermocouple=ThermocoupleType.T, cold_junction=4),
        )
    )
    reading = read_table(*rows, choices=chosen)
    assert [column.index for column in reading.columns] == [1, 2]
    np.testing.assert_allclose(reading.columns[0].temperature_c(), [20.0, 25.0], atol=0.02)
    np.testing.assert_allclose(reading.columns[1].temperature_c(), [30.0, 30.0], atol=1e-3)
    assert [g.role for g in reading.guesses[3:]] == [ColumnRole.COLD_JUNCTION] * 2
    assert reading.guesses[3].why.startswith("you chose it for column 2")


def test_a_cold_junction_may_be_a_channel_as_well() -> None:
    chosen = ReadingChoices(columns=(ColumnChoice(index=2, role=ColumnRole.TEMPERATURE),))
    reading = read_table(
        "Time [s],T1 type K [mV],CJC [C]", "0,0,20", "1,0,OPEN", "2,0,21", choices=chosen
    )
    assert [column.index for column in reading.columns] == [1, 2]
    assert [one.kind for one in reading.findings].count(FindingKind.OPEN) == 1


@pytest.mark.parametrize(
    ("column", "words"),
    [
        (0, "“Time [s]”, its cold junction, is the time"),
        (2, "“B type K [mV]”, its cold junction, holds millivolts itself"),
        (9, "column 10, its cold junction, is not there"),
        (3, "the file does not say its unit"),
    ],
)
def test_a_column_that_can_be_no_cold_junction_is_refused(column: int, words: str) -> None:
    chosen = ReadingChoices(columns=(ColumnChoice(index=1, cold_junction=column),))
    refusal = refuse_table(
        "Time [s],A type K [mV],B type K [mV],Block", "0,0,0,20", "1,0,0,20", choices=chosen
    )
    assert (refusal.code, refusal.field) == ("traces.no_cold_junction", "choices.columns")
    assert words in refusal.sentence


def test_the_last_digit_of_a_computed_temperature_is_that_of_its_emf_and_cold_junction() -> None:
    # A thousandth of a millivolt is 0.025 K of type K near 25 °C: 1.000 mV at 25, 1.041 at 26 °C.
    rows = ("0,0.000,25.0", "1,0.041,25.0")
    (column,) = read_table("Time [s],T1 type K [mV],CJC [C]", *rows).columns
    assert column.decimals == 4
    assert column.resolution_k == pytest.approx(0.001 / 0.0406 + 0.1, rel=0.01)
    fixed = ReadingChoices(cold_junction_c=25)
    (column,) = read_table(
        "Time [s],T1 type K [mV]", *[r[:-5] for r in rows], choices=fixed
    ).columns
    assert column.resolution_k == pytest.approx(0.001 / 0.0406, rel=0.01)


def test_the_last_digit_of_a_written_temperature_is_its_own() -> None:
    celsius, fahrenheit = read_table("Time [s],A [C],B [F]", "0,20.0,70.0", "1,21.0,71.0").columns
    assert celsius.resolution_k == 0.1
    assert fahrenheit.resolution_k == pytest.approx(0.1 * 5 / 9)
