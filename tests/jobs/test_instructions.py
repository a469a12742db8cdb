"""What the work card says for each line, and the names that downloads get."""

import pytest

from app.jobs.downloads import parse_file_name, spell_disposition
from app.jobs.instructions import list_settings, write_instruction
from app.jobs.rules import StepKind
from app.recipes.body.recipe import RecipeBody
from tests.jobs.conftest import make_body


@pytest.mark.parametrize("kind", list(StepKind))
def test_every_line_says_something_and_fits_its_form(kind: StepKind) -> None:
    instruction = write_instruction(make_body(), kind)
    assert instruction.rows
    assert all(value.value for value in list_settings(make_body(), kind))


def test_heated_lines_give_five_zones_and_the_reflow_its_window() -> None:
    remove = write_instruction(make_body(), StepKind.REMOVE)
    reflow = write_instruction(make_body(), StepKind.REFLOW)
    assert [zone.name for zone in remove.zones] == ["preheat", "soak", "ramp", "reflow", "cooling"]
    assert remove.zones[3].top == "290 °C"
    assert remove.zones[4].top == "off"
    assert remove.limits == ()
    assert reflow.limits


def test_the_lift_rule_is_one_sentence_and_no_setting() -> None:
    rows = write_instruction(make_body(), StepKind.REMOVE).rows
    assert rows[-1].value == "joint, centre; joint, corner: above 225 °C for 10 s"
    labels = {value.label for value in list_settings(make_body(), StepKind.REMOVE)}
    assert "Lift the part when" not in labels


def test_cautions_are_the_recipes_own_and_those_of_the_line() -> None:
    body = make_body(cautions=["Shield the display first."])
    for kind in (StepKind.REMOVE, StepKind.DRESS):
        cautions = write_instruction(body, kind).cautions
        assert cautions[0] == "Shield the display first."
        assert "local law" in cautions[-1]


def test_solder_with_lead_asks_for_washed_hands() -> None:
    given = make_body().model_dump(mode="json")
    given["window"].update(alloy="Sn63Pb37", solidus_c=183, liquidus_c=183)
    with_lead = write_instruction(RecipeBody.model_validate(given), StepKind.DRESS).cautions
    assert any("wash your hands" in caution for caution in with_lead)
    without = write_instruction(make_body(), StepKind.DRESS).cautions
    assert not any("wash your hands" in caution for caution in without)


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("log.csv", "log.csv"),
        (r"C:\loggers\run 7.csv", "run 7.csv"),
        ("../../etc/passwd", "passwd"),
        ("a\x00b\nc.csv", "a_b_c.csv"),
        ("", "trace.csv"),
        ("x" * 300, "x" * 120),
    ],
)
def test_a_file_keeps_its_name_without_folders_and_control_characters(
    given: str, kept: str
) -> None:
    assert parse_file_name(given) == kept


def test_a_download_is_named_for_old_and_new_browsers() -> None:
    said = spell_disposition('Mess"ung 7 ä.csv')
    assert said == (
        "attachment; filename=\"Mess_ung 7 _.csv\"; filename*=UTF-8''Mess%22ung%207%20%C3%A4.csv"
    )
    assert said.isascii()
