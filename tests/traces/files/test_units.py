"""Never a silent wrong unit: what states a unit, what does not, and who is asked."""

import numpy as np
import pytest

from app.core.refusals import Refusal
from app.traces.files import LoggerReading, read_logger_file, strip_unit
from app.traces.rules import ColumnChoice, ReadingChoices, TemperatureUnit

C, F, K = TemperatureUnit.CELSIUS, TemperatureUnit.FAHRENHEIT, TemperatureUnit.KELVIN


def read_with_header(header: str, units: str = "") -> LoggerReading:
    return read_logger_file(f"Time [s];{header}\n{units}0;300.5\n1;301.5\n".encode())


@pytest.mark.parametrize(
    ("header", "unit"),
    [
        ("T1 [°C]", C),
        ("T1 (C)", C),
        ("T1 / °C", C),
        ("T1/C", C),
        ("Temp degC", C),
        ("temp_degC", C),
        ("Joint deg. C", C),
        ("Celsius", C),
        ("℃", C),
        ("T1 [ºC]", C),
        ("T1 [Â°C]", C),
        ("T1 (F)", F),
        ("degF", F),
        ("T1 °F", F),
        ("Temperature in Fahrenheit", F),
        ("T1 [K]", K),
        ("T1 kelvin", K),
        ("T1", None),
        ("Channel C", None),
        ("C", None),
        ("TC_C", None),
        ("T1 °C or °F", None),
        ("Fan", None),
    ],
)
def test_a_header_states_one_unit_or_it_is_asked_for(
    header: str, unit: TemperatureUnit | None
) -> None:
    reading = read_with_header(header)
    assert reading.columns[0].unit is unit
    assert [q.about for q in reading.questions] == ([] if unit else ["unit"])


def test_the_units_row_states_units() -> None:
    reading = read_with_header("T1", "s;F\n")
    assert reading.columns[0].unit is F
    assert "units row says °F" in reading.guesses[1].why


def test_header_and_units_row_that_disagree_are_asked_about() -> None:
    reading = read_with_header("T1 [°C]", "s;°F\n")
    assert reading.columns[0].unit is None
    assert "header says °C and the units row °F" in reading.questions[0].sentence


def test_a_line_above_and_a_header_that_disagree_are_asked_about() -> None:
    text = "Temperature unit: F\nTime [s],T1 [C],T2 [F],T3\n0,70.5,71,72\n1,71.5,72,73\n"
    reading = read_logger_file(text.encode())
    assert [column.unit for column in reading.columns] == [None, F, F]
    assert "row 1 says °F and its header °C" in reading.questions[0].sentence


def test_a_column_of_a_unit_whose_cells_are_no_numbers_is_said_to_be_left_out() -> None:
    reading = read_logger_file(b"t [s];A [C];B [C]\n0;1.020,5;21,5\n1;1.021,5;22,5\n")
    assert [column.header for column in reading.columns] == ["B [C]"]
    assert "“A [C]” says °C and was left out: cells like “1.020,5”" in reading.assumptions[0]


def test_letters_that_label_columns_are_no_units() -> None:
    text = "Time [s],TC (A),TC (B),TC (C)\n0,20,21,22\n1,21,22,23\n"
    assert [c.unit for c in read_logger_file(text.encode()).columns] == [None] * 3


def test_a_k_beside_numbers_no_bench_has_in_kelvin_may_be_the_thermocouple() -> None:
    reading = read_logger_file(b"Time [s],TC1 (K)\n0,20.5\n1,21.5\n")
    assert reading.columns[0].unit is None
    assert "type of the thermocouple" in reading.questions[0].sentence


def test_a_line_above_may_state_the_unit_of_all() -> None:
    reading = read_logger_file(b"Temperature unit: F\nTime [s],T1\n0,70.5\n1,71.5\n")
    assert reading.columns[0].unit is F
    assert "row 1 says °F" in reading.guesses[1].why


def test_a_line_that_names_a_unit_of_the_plant_states_nothing() -> None:
    reading = read_logger_file(b"Unit C\nTime [s],T1\n0,70.5\n1,71.5\n")
    assert reading.columns[0].unit is None


def test_the_unit_may_stand_behind_each_number() -> None:
    reading = read_logger_file("Time [s],T1\n0,70.5 °F\n1,71.5 °F\n".encode())
    assert reading.columns[0].unit is F
    assert reading.columns[0].spell(0) == "70.5"


def test_a_cell_in_another_unit_than_its_column_is_refused() -> None:
    with pytest.raises(Refusal) as refused:
        read_logger_file("Time [s],T1 [°C]\n0,21.5\n1,71.5 °F\n2,21.5\n".encode())
    assert refused.value.code == "traces.units_mixed"
    assert "Row 3, column 2 “T1 [°C]”" in refused.value.sentence


def test_columns_may_differ_in_unit() -> None:
    reading = read_logger_file(b"Time [s],A [C],B [F]\n0,100,212\n1,0,32\n")
    assert [c.temperature_c().tolist() for c in reading.columns] == [[100.0, 0.0]] * 2


def test_without_a_unit_there_is_no_temperature_in_celsius() -> None:
    column = read_with_header("T1").columns[0]
    with pytest.raises(Refusal) as refused:
        column.temperature_c()
    assert refused.value.code == "traces.unit_unknown"
    assert refused.value.field == "columns.1.unit"


def test_a_person_may_say_the_unit_of_one_column_and_of_all_others() -> None:
    choices = ReadingChoices(temperature_unit=F, columns=(ColumnChoice(index=2, unit=K),))
    reading = read_logger_file(b"Time [s],A,B,C [C]\n0,212,300,20\n1,32,301,20\n", choices=choices)
    assert [column.unit for column in reading.columns] == [F, K, C]
    assert reading.questions == ()


def test_fahrenheit_and_kelvin_turn_into_celsius_by_their_definitions() -> None:
    # 32 °F = 0 °C, 212 °F = 100 °C, −40 °F = −40 °C; 273.15 K = 0 °C (definitions of the scales).
    text = b"Time [s],A [F],B [K]\n0,32.0,273.15\n1,212.0,373.15\n2,-40.0,300.00\n"
    fahrenheit, kelvin = read_logger_file(text).columns
    np.testing.assert_array_equal(fahrenheit.temperature_c(), [0.0, 100.0, -40.0])
    np.testing.assert_array_equal(kelvin.temperature_c(), [0.0, 100.0, 26.85])


@pytest.mark.parametrize(
    ("header", "bare"),
    [
        ("T1 °C", "T1"),
        ("T1 (degC)", "T1"),
        ("T1 [°F]", "T1"),
        ("T1_degC", "T1"),
        ("T1 [C]", "T1"),
        ("T1 / °C", "T1"),
        ("T1 [mV]", "T1"),
        ("T1 Celsius", "T1"),
        ("T1 C", "T1 C"),
        ("Zone (left)", "Zone (left)"),
        ("Model X30f", "Model X30f"),
        ("°C", "°C"),
    ],
)
def test_a_header_loses_the_unit_that_it_ends_with(header: str, bare: str) -> None:
    assert strip_unit(header) == bare
