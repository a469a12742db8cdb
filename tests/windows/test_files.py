"""Windows as files: out, in again, and what cannot be one."""

import csv
import io
import json
from typing import Any

import pytest

from app.recipes.body.window import Window
from app.windows import files
from app.windows.body import LineStatus, WindowText
from app.windows.built_in import Package, get_built_in, list_built_ins
from app.windows.downloads import state_built_in
from app.windows.files import (
    Stated,
    parse_window_file,
    read_json,
    spell_window_csv,
    spell_window_json,
)
from app.windows.holding import make_window
from app.windows.rules import FileUnreadable, TextUnreadable
from tests.windows.conftest import TEXT, spell_raw

STATED = Stated("OWN-SAC", 2, "Joints, our boards", "published", "0" * 64, TEXT)


def test_an_export_is_read_back_to_the_same_text() -> None:
    for line in list_built_ins():
        found = get_built_in(line.key, Package(1.6, 350.0))
        read = parse_window_file(read_json(spell_window_json(state_built_in(found)).encode()))
        assert (read.name, read.text) == (found.name, found.text)


def test_an_export_says_which_window_it_is_and_what_is_in_doubt() -> None:
    told = json.loads(spell_window_json(STATED))
    assert (told["key"], told["version"], told["state"]) == ("OWN-SAC", 2, "published")
    assert told["cautions"] == ["from memory; confirm against your copy"]
    assert told["rows"][1]["caution"] == "from memory; confirm against your copy"
    assert told["rows"][0]["unit"] == "°C"


def test_a_bare_window_is_taken_with_its_limits_as_the_plants_own() -> None:
    bare = make_window(TEXT)
    read = parse_window_file(json.loads(bare.model_dump_json()))
    assert {row.status for row in read.text.rows} == {LineStatus.OWN}
    assert make_window(read.text) == bare
    assert read.name == ""


def test_a_file_that_the_program_documents_is_one_that_it_reads() -> None:
    example = str(files.__doc__).partition("{")[2].rpartition("}]}")[0]
    read = parse_window_file(json.loads("{" + example + "}]}"))
    assert read.name == "Joints of SAC305, our boards"
    assert read.text.rows[0].upper == 242


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"[]",
        b"7",
        b"null",
        b"{}",
        b"\xff\xfe{",
        b"{" * 5000,
        b"[" * 100_000,
        b'{"rows"',
        b"<xml/>",
        b" " * (1024 * 1024 + 1),
    ],
)
def test_what_is_no_window_is_refused_as_a_whole(content: bytes) -> None:
    with pytest.raises(FileUnreadable) as caught:
        parse_window_file(read_json(content))
    assert caught.value.field == "file"
    assert len(caught.value.sentence) < 400


@pytest.mark.parametrize(
    ("change", "field", "sentence"),
    [
        ({"rows": 7}, "rows", "must be a list"),
        ({"rows": [None]}, "rows.0", "must be an object"),
        ({"name": None}, "name", "must be text"),
        ({"wickbook_window": 2}, "wickbook_window", "must be 1, not 2"),
        ({"format": 1}, "format", "is not a field"),
        ({"digest": "abc"}, "digest", "match"),
        ({"version": 0}, "version", "must be at least 1, not 0"),
        ({"colour": 1}, "colour", "is not a field"),
        ({"liquidus_c": 1e308}, "liquidus_c", "must be at most 450"),
        ({"liquidus_c": float("nan")}, "liquidus_c", "finite"),
        ({"alloy": "\ud800"}, "alloy", "character"),
    ],
)
def test_a_window_with_something_wrong_is_refused_at_the_field(
    change: dict[str, Any], field: str, sentence: str
) -> None:
    told = json.loads(spell_window_json(STATED)) | change
    with pytest.raises(TextUnreadable) as caught:
        parse_window_file(told)
    found = {one.field: one.sentence for one in caught.value.faults}
    assert sentence in found[field]


def test_faults_of_the_head_and_of_rows_are_all_named_at_once() -> None:
    told = json.loads(spell_window_json(STATED))
    del told["name"]
    told["rows"][0]["upper"], told["rows"][1]["unit"] = 999, "min"
    with pytest.raises(TextUnreadable) as caught:
        parse_window_file(told)
    assert [one.field for one in caught.value.faults] == ["name", "rows.0.upper", "rows.1.unit"]


def test_the_table_for_people_has_a_line_a_limit_with_its_caution() -> None:
    text = spell_window_csv(STATED)
    assert text.startswith("\ufeff")
    lines = list(csv.reader(io.StringIO(text.removeprefix("\ufeff"))))
    assert ["Caution", "from memory; confirm against your copy"] in lines
    head = next(place for place, line in enumerate(lines) if line[:1] == ["Metric"])
    peak, above = lines[head + 1 :]
    assert peak[:6] == [
        "Peak temperature", "joint, centre; joint, corner", "232", "243", "°C", "the plant's own",
    ]  # fmt: skip
    assert above[6] == "from memory; confirm against your copy"
    assert above[9] == "30 to 90 s: a maker's sheet"


def test_no_cell_of_the_table_is_a_formula() -> None:
    raw = spell_raw()
    raw["note"], raw["rows"][0]["document"] = "=1+1", "@SUM(A1)"
    stated = Stated("=K", 1, "+name", "draft", "0" * 64, WindowText.model_validate(raw))
    lines = csv.reader(io.StringIO(spell_window_csv(stated).removeprefix("\ufeff")))
    assert not [cell for line in lines for cell in line if cell.startswith(("=", "+", "@"))]


def test_what_a_window_does_not_say_is_filled_in_and_decides_nothing() -> None:
    window = make_window(get_built_in("adjacent-bodies").text)
    assert isinstance(window, Window)
    assert [one.upper for one in window.limits] == [200.0]
    assert (window.liquidus_c, window.soak_min_c, window.soak_max_c) == (220, 150, 200)
