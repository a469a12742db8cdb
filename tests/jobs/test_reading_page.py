"""The page where a person says how a file is read: all choices, why each guess, nothing lost."""

import html
import re

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from app.accounts.rules import Person
from app.jobs.pages.reading_form import FILE_CHOICES, parse_choices, spell_choices
from app.jobs.rules import RunState, StepKind
from app.jobs.tables import Run
from app.traces.rules import (
    ColumnChoice,
    ColumnRole,
    DecimalMark,
    Delimiter,
    ReadingChoices,
    TemperatureUnit,
    TimeFormat,
)
from app.traces.tables import Trace
from app.web.forms import Form
from tests.conftest import Look, SignedIn
from tests.jobs.conftest import Shop, write_log
from tests.jobs.test_pages import open_cleared, record, step_path
from tests.traces.files.test_workbooks import make_workbook

MILLIVOLTS = (
    "t [ms],A [mV],B [mV],Block\n"
    + "".join(f"{k * 1000},{k / 50:.3f},{k / 60:.3f},24.5\n" for k in range(400))
).encode()


@pytest.fixture
def client(signed_in: SignedIn, odile: Person) -> TestClient:
    return signed_in(odile)


def start(client: TestClient, shop: Shop, look: Look, content: bytes, name: str = "log.csv") -> str:
    job = open_cleared(client, shop)
    path = step_path(look, job, StepKind.REMOVE)
    return record(client, shop, path, (name, content, "text/csv"))


def find_value(page: str, name: str) -> str:
    """Return what a field of the page would send."""
    control = re.search(
        rf'<select id="f-{name}".*?</select>|<input[^>]* name="{name}"[^>]*>', page, re.S
    )
    assert control, name
    selected = re.search(r'<option value="([^"]*)" selected', control[0])
    typed = re.search(r' value="([^"]*)"', control[0])
    found = selected or (typed if control[0].startswith("<input") else None)
    return html.unescape(found[1]) if found else ""


def test_every_choice_has_a_field_and_every_guess_its_reason(
    client: TestClient, shop: Shop, look: Look
) -> None:
    content = write_log().replace(b"Time (s)", b"Time")
    page = client.get(start(client, shop, look, content)).text
    for name in set(FILE_CHOICES) - {"sheet"}:
        assert len(re.findall(rf'name="{name}"', page)) == 1, name
    for name in ("role", "unit", "thermocouple", "cold_junction", "cold_junction_c"):
        assert f'name="{name}_1"' in page
    text = html.unescape(page)
    for words in (
        "all its bytes are UTF-8",
        "it stands equally often in",
        "numbers looked at have a point",
        "it holds text, right above the samples that begin in row 2",
        "no row above the samples holds units alone",
        "its cells are numbers; its header says °C",
    ):
        assert words in text


def test_a_workbook_offers_its_sheets_and_no_delimiter(
    client: TestClient, shop: Shop, look: Look
) -> None:
    book = make_workbook(
        [["Time [s]", "A [C]"], [0, 20], [1, 21]], [["Time [s]", "B [C]"], [0, 30], [1, 31]]
    )
    run = start(client, shop, look, book, "log.xlsx")
    page = client.get(run).text
    assert 'name="delimiter"' not in page
    assert "the first with rows of numbers" in page
    again = client.post(run, data={"sheet": "Sheet 1", "do": "reread"})
    assert again.status_code == 200
    assert "B [C]" in again.text
    assert find_value(again.text, "sheet") == "Sheet 1"
    refused = client.post(run, data={"sheet": "Sheet 9", "do": "reread"})
    assert refused.status_code == 422
    assert "no sheet “Sheet 9”" in refused.text


def test_type_and_cold_junction_of_each_column_are_said_and_kept_with_the_trace(
    client: TestClient, shop: Shop, look: Look
) -> None:
    run = start(client, shop, look, MILLIVOLTS)
    said = {
        "thermocouple_1": "K", "cold_junction_1": "3", "unit_3": "C",
        "thermocouple_2": "J", "cold_junction_c_2": "21,5",
        "channel_1": "centre", "channel_role_1": "joint_centre",
        "channel_2": "corner", "channel_role_2": "joint_corner",
    }  # fmt: skip
    again = client.post(run, data={**said, "do": "reread"})
    assert again.status_code == 200, again.text
    text = html.unescape(again.text)
    assert "you chose type K; computed in °C by ITS-90 with the cold junction of column 4" in text
    assert "its cold junction at 21.5 °C, as you chose" in text
    assert find_value(again.text, "channel_1") == "centre"
    kept = client.post(run, data={**said, "do": "keep"})
    assert kept.status_code == 303, kept.text
    (trace,) = look(select(Trace))
    assert trace.reading["choices"]["columns"][1] == {
        "index": 2, "thermocouple": "J", "cold_junction_c": 21.5,
    }  # fmt: skip
    assert 0.02 < trace.channels[0]["computed_step_k"] < 0.2


def test_what_was_said_is_still_there_after_a_refusal(
    client: TestClient, shop: Shop, look: Look
) -> None:
    run = start(client, shop, look, MILLIVOLTS)
    said = {
        "thermocouple": "K", "cold_junction_1": "3", "delimiter": ",", "header_row": "1",
        "zone": "Europe/Vienna", "channel_1": "centre", "channel_role_1": "joint_centre",
        "remember": "yes", "remark": "Thin wires",
    }  # fmt: skip
    refused = client.post(run, data={**said, "do": "keep"})
    assert refused.status_code == 422
    assert "its cold junction: the file does not say its unit" in refused.text
    for name, value in said.items():
        assert find_value(refused.text, name) == value, name
    # The columns are named although the file cannot be read so.
    assert "Block" in refused.text
    assert look(select(Run.state)) == [RunState.RECORDING]


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"header_row": "x"}, "Columns' names: in row: must be a whole number"),
        ({"header_row": "99999"}, "must be at most 10000"),
        ({"header_last_row": "2"}, "header_last_row: must follow"),
        ({"zone": "Vienna"}, "like Europe/Vienna"),
        ({"cold_junction_c": "200"}, "Cold junction of all, °C: must be at most 150"),
        ({"cold_junction_c": "warm"}, "must be a number"),
        ({"cold_junction_c_2": "nan"}, "Column 3, fixed cold junction in °C"),
        ({"cold_junction_1": "3", "cold_junction_c_1": "20"}, "not both"),
        ({"cold_junction_1": "1"}, "cannot be its own"),
        ({"thermocouple_1": "Q"}, "Column 2, type of its millivolts"),
        ({"units_row": "888"}, "Row 888 is not there"),
        ({"role_1": "time", "role_2": "time"}, "one column at most"),
        ({"sheet": "\x00"}, "no text may hold"),
    ],
)
def test_what_cannot_be_is_refused_with_the_field_it_was_said_in(
    client: TestClient, shop: Shop, look: Look, fields: dict[str, str], words: str
) -> None:
    run = start(client, shop, look, MILLIVOLTS)
    answer = client.post(run, data={**fields, "do": "reread"})
    assert answer.status_code == 422
    assert words in html.unescape(answer.text)
    for name, value in fields.items():
        if name.startswith(("header", "zone", "cold_junction_c", "units")):
            assert find_value(answer.text, name) == value


def test_the_first_rows_are_shown_with_their_numbers(
    client: TestClient, shop: Shop, look: Look
) -> None:
    content = b"# bench 4\n\n" + write_log()
    page = client.get(start(client, shop, look, content)).text
    assert '<th scope="row">3</th><td class="code">Time (s) │ T1 (°C)' in page


def test_a_form_says_all_that_choices_can_hold() -> None:
    choices = ReadingChoices(
        sheet="Run 7",
        delimiter=Delimiter.TAB,
        decimal_mark=DecimalMark.COMMA,
        header_row=2,
        header_last_row=3,
        units_row=4,
        time_format=TimeFormat.MM_SS,
        day_first=False,
        zone="Asia/Tokyo",
        temperature_unit=TemperatureUnit.KELVIN,
        thermocouple="N",
        cold_junction_c=23.5,
        columns=(
            ColumnChoice(index=0, role=ColumnRole.TIME),
            ColumnChoice(index=1, unit=TemperatureUnit.FAHRENHEIT, thermocouple="K"),
            ColumnChoice(index=2, cold_junction=5),
            ColumnChoice(index=3, cold_junction_c=-1.25),
        ),
    )
    assert None not in {getattr(choices, name) for name in FILE_CHOICES}
    assert parse_choices(Form(texts=spell_choices(choices))) == choices


def test_the_choices_are_whole_in_the_description_of_the_interface(client: TestClient) -> None:
    schemas = client.get("/api/v1/openapi.json").json()["components"]["schemas"]
    assert set(schemas["ReadingChoices"]["properties"]) == {*FILE_CHOICES, "columns"}
    assert set(schemas["ColumnChoice"]["properties"]) == {
        "index", "role", "unit", "thermocouple", "cold_junction", "cold_junction_c",
    }  # fmt: skip
    assert {"taken", "sheets", "columns"} <= set(
        schemas["app__jobs__views__ReadingView"]["properties"]
    )


def test_choices_tried_over_rest_answer_what_was_taken_and_why(
    client: TestClient, shop: Shop, look: Look
) -> None:
    start(client, shop, look, MILLIVOLTS)
    columns = [
        {"index": 1, "thermocouple": "K", "cold_junction": 3},
        {"index": 2, "thermocouple": "T", "cold_junction_c": 20},
        {"index": 3, "unit": "C"},
    ]
    answer = client.post("/api/v1/runs/1/reading", json={"columns": columns})
    assert answer.status_code == 200, answer.text
    reading = answer.json()
    assert [one["thermocouple"] for one in reading["columns"]] == [None, "K", "T", None]
    assert reading["columns"][1]["cold_junction"] == 3
    assert reading["columns"][2]["cold_junction_c"] == 20
    assert all(one["why"] for one in [*reading["columns"], *reading["taken"]])


@pytest.mark.parametrize(
    ("junction", "is_asked_again"),
    [({"cold_junction_1": "5", "cold_junction_2": "5", "cold_junction_3": "5"}, False),
     ({"cold_junction_c": "24.5"}, True)],
)  # fmt: skip
def test_a_bench_remembers_the_column_of_a_cold_junction_and_no_temperature_of_one_day(
    client: TestClient, shop: Shop, look: Look, junction: dict[str, str], *, is_asked_again: bool
) -> None:
    lines = ["t [ms],T1 [mV],T2 [mV],T3 [mV],T4 [C],Block [C]"]
    lines += [f"{k * 1000},{k / 50:.3f},{k / 60:.3f},{k / 70:.3f},30.5,24.5" for k in range(400)]
    content = "\n".join([*lines, ""]).encode()
    job = open_cleared(client, shop)
    path = step_path(look, job, StepKind.REMOVE)
    said = {"thermocouple": "K", "role_5": "cold_junction", "remember": "yes", "do": "keep"}
    if is_asked_again:
        said["role_5"] = "ignored"
    plan = ("joint_centre", "joint_corner", "body", "board")
    for place, role in enumerate(plan, start=1):
        said |= {f"channel_{place}": f"T{place}", f"channel_role_{place}": role}
    run = record(client, shop, path, ("log.csv", content, "text/csv"))
    kept = client.post(run, data={**said, **junction})
    assert kept.status_code == 303, kept.text
    again = record(client, shop, path, ("log.csv", content, "text/csv"))
    assert again == ("/runs/2/reading" if is_asked_again else "/runs/2")
