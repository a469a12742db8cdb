"""`wickbook analyse --window` reads the file that a window is exported as."""

import json
from pathlib import Path
from typing import Any

import pytest

from app.analyse.standard import find_standard
from app.windows.built_in import Package, get_built_in
from app.windows.downloads import state_built_in
from app.windows.files import spell_window_json
from app.windows.rules import TextUnreadable


def write(tmp_path: Path, key: str, **changes: Any) -> str:
    """Write a built-in window as it is exported, some of its values changed."""
    stated = state_built_in(get_built_in(key, Package(1.6, 350.0)))
    path = tmp_path / "window.json"
    told = json.loads(spell_window_json(stated)) | changes
    path.write_text(json.dumps(told), encoding="utf-8")
    return str(path)


def test_every_limit_comes_with_its_source_and_what_is_in_doubt(tmp_path: Path) -> None:
    found = find_standard(write(tmp_path, "joints-sn63pb37"), None)
    assert found.window.liquidus_c == 183
    assert [one.upper for one in found.window.limits] == [220, 60, 3, 7]
    told = "peak_c: from memory; confirm against your copy; common practice."
    assert told in found.sources
    assert any("window.json" in one and "Joints of Sn63Pb37" in one for one in found.sources)


def test_a_window_without_an_alloy_takes_the_one_that_is_asked_for(tmp_path: Path) -> None:
    file = write(tmp_path, "adjacent-bodies")
    assert find_standard(file, None).window.liquidus_c == 220
    assert "names none" in " ".join(find_standard(file, None).sources)
    assert find_standard(file, "Sn42Bi58").window.liquidus_c == 138


def test_a_row_beyond_its_range_is_refused_with_row_field_and_limit(tmp_path: Path) -> None:
    row = {"metric": "peak_c", "roles": ["body"], "upper": 999, "status": "plants_own"}
    with pytest.raises(TextUnreadable, match=r"rows\.0\.upper: must be at most 450 °C, not 999"):
        find_standard(write(tmp_path, "adjacent-bodies", rows=[row]), None)
