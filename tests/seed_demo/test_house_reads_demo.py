"""What the demo writes, the house reads without being told how, or asks for what is missing."""

from datetime import date

import pytest

from app.boards.files.bills import read_bill_file
from app.boards.files.placements import read_placement_file
from app.traces.files.reader import read_logger_file
from app.traces.rules import ReadingChoices, TemperatureUnit
from seed_demo.layout_files import write_bill, write_placement
from seed_demo.layouts import lay_out
from seed_demo.logger_files import DIALECTS, write_logger_file
from seed_demo.plant import ASSEMBLIES, get_assembly, get_part
from seed_demo.recipes import list_recipes
from seed_demo.runs import list_gas_zones
from seed_demo.thermal_model import Variant, compute_site, simulate_run
from seed_demo.working_time import at

NUMBERS = [assembly.part_number for assembly in ASSEMBLIES]
STARTED_AT = at(date(2026, 3, 4), 9, 14)


@pytest.mark.parametrize("number", NUMBERS)
def test_every_placed_part_is_read_where_it_stands(number: str) -> None:
    reading = read_placement_file(write_placement(number).encode())
    lines = {line.designator: line for line in reading.lines}
    assert reading.refused == ()
    assert len(lines) == len(lay_out(number))
    for part in lay_out(number):
        line = lines[part.designator]
        assert float(line.x_mm) == pytest.approx(part.x_mm, abs=0.001)
        assert float(line.y_mm) == pytest.approx(part.y_mm, abs=0.001)
        assert line.side.value == part.side


@pytest.mark.parametrize("number", NUMBERS)
def test_every_line_of_the_bill_is_read(number: str) -> None:
    reading = read_bill_file(write_bill(number).encode())
    read = {name: line.part_number for line in reading.lines for name in line.designators}
    assert reading.refused == ()
    assert read == {part.designator: part.part_number for part in lay_out(number)}


@pytest.mark.parametrize("dialect", DIALECTS)
def test_every_logger_file_comes_back_digit_by_digit(dialect: str) -> None:
    recipe = list_recipes()[0]
    trace = simulate_run(
        compute_site(get_part(recipe.part_number), get_assembly(recipe.assembly_part_number)),
        list_gas_zones(recipe.revisions[0].body),
        variant=Variant.OPEN_SENSOR,
        seed=5,
        rate_hz=4,
    )
    text = write_logger_file(trace, dialect=dialect, started_at=STARTED_AT)
    # The clock logger says no unit anywhere: a person says it once for the bench.
    choices = ReadingChoices(temperature_unit=TemperatureUnit.CELSIUS)
    reading = read_logger_file(text.encode(), choices=choices)
    assert reading.questions == ()
    assert reading.time.elapsed_s() == pytest.approx(trace.times_s, abs=1e-9)
    roles = DIALECTS[dialect].roles
    for column in reading.columns:
        role = roles[column.index]
        if role == "unused":
            continue
        expected = trace.get_channel(role)
        assert column.temperature_c() == pytest.approx(expected, abs=1e-9, nan_ok=True)
