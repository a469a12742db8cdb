"""`wickbook analyse --window` knows every built-in window by its key."""

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from app.analyse.standard import WINDOW_KEYS, Body, ClassificationNotSaid, find_standard
from app.cli import main
from app.core.refusals import Refusal
from app.recipes.body.window import Metric
from app.windows.built_in import BuiltInLine, Package, get_built_in, list_built_ins
from app.windows.holding import make_window
from tests.analyse.test_command import run, tell

SIZE = Body(thickness_mm=1.6, volume_mm3=350.0)


@pytest.mark.parametrize("line", list_built_ins(), ids=lambda line: line.key)
def test_every_built_in_window_is_held_as_it_is_printed(line: BuiltInLine) -> None:
    key, needs = line.key, line.needs_package
    found = find_standard(key, None, SIZE if needs else Body())
    built = get_built_in(key, Package(1.6, 350.0) if needs else None)
    assert found.window == make_window(built.text)
    assert found.title == key
    assert built.name in found.sources[0]
    told = " ".join(found.sources)
    assert all(f"{row.metric}: {row.status.told}" in told for row in built.text.rows)


def test_a_body_s_size_finds_its_classification_temperature() -> None:
    # J-STD-020 Table 4-2: below 1.6 mm and 350 mm³ 260 °C (public restatement).
    thin = find_standard("classification-pb-free", None, Body(1.0, 100.0))
    assert thin.window.classification_c == 260
    assert "1 mm thick with 100 mm³" in " ".join(thin.sources)


def test_a_stated_classification_temperature_is_the_highest_peak_of_the_body() -> None:
    found = find_standard("classification-snpb", None, Body(classification_c=235))
    assert found.window.classification_c == 235
    peaks = [one.upper for one in found.window.limits if one.metric is Metric.PEAK_C]
    assert peaks == [235]
    assert "Classification temperature 235 °C, as you said." in found.sources
    assert "peak_c: the plant's own." in found.sources


@pytest.mark.parametrize(
    ("key", "alloy", "body", "words"),
    [
        ("classification-snpb", None, Body(), "say --classification in °C, or --body-thickness"),
        ("classification-snpb", None, Body(thickness_mm=1.0), "say --classification in °C"),
        ("classification-snpb", None, Body(1.0, 100.0, 240.0), "give one or the other"),
        ("classification-snpb", None, Body(99.0, 100.0), "thickness_mm must be more than 0"),
        ("joints-sn63pb37", None, Body(classification_c=240.0), "Only the windows"),
        (None, None, Body(classification_c=240.0), "no window was named"),
        ("joints-sn63pb37", "SAC305", Body(), "leave --alloy out"),
        ("joints-unobtainium", None, Body(), "adjacent-joints-sn63pb37"),
    ],
)
def test_what_a_built_in_window_cannot_be_held_with_is_refused(
    key: str | None, alloy: str | None, body: Body, words: str
) -> None:
    with pytest.raises(Refusal) as refused:
        find_standard(key, alloy, body)
    assert words in refused.value.sentence


def test_the_refusal_names_the_option() -> None:
    with pytest.raises(ClassificationNotSaid) as refused:
        find_standard("classification-pb-free", None)
    assert refused.value.field == "classification"


def test_the_help_lists_every_window() -> None:
    shown = CliRunner().invoke(main, ["analyse", "--help"], env={"COLUMNS": "400"}).stdout
    words = set(re.split(r"[\s,.│]+", shown))
    assert set(WINDOW_KEYS) <= words


def test_the_command_takes_the_window_and_the_body(tmp_path: Path) -> None:
    path = tmp_path / "run.csv"
    path.write_text("Time [s],Body °C\n0,25\n100,150\n200,245\n300,50\n")
    result = run(path, "--window", "classification-pb-free")
    assert result.exit_code == 3
    assert "--body-thickness in mm" in " ".join(result.stderr.split())
    told = tell(path, "--window", "classification-pb-free", "--classification", "240")
    assert told["window"]["classification_c"] == 240
    assert told["channels"][0]["name"] == "Body"
    assert told["state"] == "outside"
    sized = ("--body-thickness", "1", "--body-volume", "100")
    told = tell(path, "--window", "classification-pb-free", *sized)
    assert told["window"]["classification_c"] == 260
