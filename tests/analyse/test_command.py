"""`wickbook analyse`: figures by hand, the verdict's exit status, and what is never guessed."""

import json
import multiprocessing
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from app.cli import main
from app.recipes.body.template import default_body

# Three straight lines: 25 → 150 °C in 100 s, → 245 °C at 200 s, → 50 °C at 300 s.
# Above 217 °C: 200 − (100 + 100·67/95) up, 100·28/195 down = 43.832 s; above 150 °C: 100 +
# 100·95/195 = 148.718 s; above 220 °C: 100·25/95 + 100·25/195 = 39.136 s. Steepest over 5 s and
# 10 s 1.25 K/s, over 150 s from 0 s: (25 → 197.5)/150 = 1.15 K/s.
TENT = ((0, 25.0), (100, 150.0), (200, 245.0), (300, 50.0))
WINDOW: dict[str, Any] = {
    "alloy": "Sn96.5Ag3.0Cu0.5 (SAC305)",
    "solidus_c": 217,
    "liquidus_c": 220,
    "soak_min_c": 150,
    "soak_max_c": 200,
    "limits": [
        {"metric": "peak_c", "roles": ["joint_centre"], "lower": 230, "upper": 250},
        {"metric": "time_above_liquidus_s", "roles": ["joint_centre"], "lower": 30, "upper": 90},
    ],
}
SAID = ("--unit", "C", "--time-unit", "s")


def write(path: Path, *, header: str = "Time,Temp", rise: float = 0.0) -> Path:
    rows = "".join(f"{time_s},{temperature + rise}\n" for time_s, temperature in TENT)
    path.write_text(f"{header}\n{rows}")
    return path


def write_window(tmp_path: Path, **changes: object) -> str:
    path = tmp_path / "window.json"
    path.write_text(json.dumps(WINDOW | changes))
    return str(path)


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["analyse", *map(str, arguments)])


def tell(*arguments: str | Path) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(run(*arguments, "--json").stdout)
    return told


def test_the_figures_are_those_reckoned_by_hand(tmp_path: Path) -> None:
    told = tell(
        write(tmp_path / "run.csv"),
        *SAID,
        *("--window", write_window(tmp_path)),
        *("--times-above", "217,150", "--ramp-window", "5,10,150"),
    )
    channel = told["channels"][0]
    # U of a class 2 wire and a logger of ±1 K, k = 2: 2·√(2.5² + 1²)/√3 = 3.11 K, and the digit.
    assert channel["peak"] == {
        "value": 245.0,
        "unit": "°C",
        "at_s": 200.0,
        "is_censored": False,
        "expanded": pytest.approx(2 * (2.5**2 + 1) ** 0.5 / 3**0.5, abs=0.01),
    }
    assert channel["above_liquidus"]["value"] == pytest.approx(100 * 25 / 95 + 100 * 25 / 195)
    above_217, above_150 = channel["times_above"]
    assert above_217["value"] == pytest.approx(100 * 28 / 95 + 100 * 28 / 195)
    assert above_150["value"] == pytest.approx(100 + 100 * 95 / 195)
    assert [crossing["is_upward"] for crossing in above_217["crossings"]] == [True, False]
    assert [one["maximum_ramp"]["value"] for one in channel["ramps"]] == pytest.approx(
        [1.25, 1.25, 1.15]
    )
    assert told["state"] == "inside"
    assert told["exit_status"] == 0


def test_inside_ends_with_0_and_names_the_closest_limit(tmp_path: Path) -> None:
    result = run(write(tmp_path / "run.csv"), *SAID, "--window", write_window(tmp_path))
    assert result.exit_code == 0
    words = " ".join(result.stdout.split())
    # 39.1 s of 30 to 90 s uses (60 − 39.1)/30 = 70 %; 245 °C of 230 to 250 °C uses 50 %.
    assert (
        "Inside the window “window.json”: Time above liquidus of Temp is 39.1 s against 30 to 90 "
        "s: 9.1 s inside it, uncertainty ± 5.2 s; window use 70 %." in words
    )
    assert "Decided by guarded acceptance, guard band w = U (k = 2), JCGM 106" in words
    assert "Measuring chain: assumed (common practice, no source): type K" in words
    assert "Column 2 “Temp” was taken for: joint, centre" in words


def test_outside_ends_with_1_and_names_the_limit(tmp_path: Path) -> None:
    result = run(write(tmp_path / "run.csv", rise=12), *SAID, "--window", write_window(tmp_path))
    assert result.exit_code == 1
    assert (
        "Outside the window “window.json”: Peak temperature of Temp is 257.0 °C against 230 to "
        "250 °C: 7.0 K beyond it, uncertainty ± 3.1 K; window use 170 %."
    ) in " ".join(result.stdout.split())


def test_too_close_ends_with_2_and_says_what_would_settle_it(tmp_path: Path) -> None:
    path, window = write(tmp_path / "run.csv", rise=4), write_window(tmp_path)
    result = run(path, *SAID, "--window", window)
    assert result.exit_code == 2
    assert (
        "Too close to call for the window “window.json”: Peak temperature of Temp is 249.0 °C "
        "against 230 to 250 °C: 1.0 K inside it, uncertainty ± 3.1 K; window use 90 %. 86 % of "
        "that uncertainty is the wire's class; a calibrated thermocouple alone would not settle it."
    ) in " ".join(result.stdout.split())
    # With ±0.5 K in place of ±1 K the logger no longer stands in the way.
    better = run(path, *SAID, "--window", window, "--logger-accuracy", "0.5")
    assert "a calibrated thermocouple would settle it." in " ".join(better.stdout.split())
    settled = ("--logger-accuracy", "0.5", "--correction", "Temp=-0.4±0.3:wire")
    assert run(path, *SAID, "--window", window, *settled).exit_code == 0


def test_the_chain_that_is_said_is_told_with_what_is_assumed(tmp_path: Path) -> None:
    path = write(tmp_path / "run.csv", header="Time [s],T1 [C]")
    told = tell(path, "--thermocouple", "k class 1", "--correction", "t1=-0.4±0.3")
    chain = told["chain"]
    assert chain["described"]["thermocouple_class"] == "IEC 60584-1 class 1"
    assert (
        "of these assumed (common practice, no source): clock ±100 ppm, logger ±1 K"
        in chain["described"]["note"]
    )
    assert not chain["is_assumed"]
    channel = told["channels"][0]
    assert channel["correction_k"] == -0.4
    assert channel["peak"]["value"] == pytest.approx(245.0 - 0.4)
    assert told["verdict"]["rule"].startswith("guarded acceptance")
    assert tell(path)["chain"]["is_assumed"]


def test_a_correction_of_a_channel_that_is_not_there_is_said(tmp_path: Path) -> None:
    path = write(tmp_path / "run.csv", header="Time [s],T1 [C]")
    told = tell(path, "--correction", "T9=1±0.2")
    assert "No channel is named T9: its correction was not used." in told["notes"]


def test_a_limit_that_no_channel_shows_cannot_be_said_to_be_kept(tmp_path: Path) -> None:
    limits = [*WINDOW["limits"], {"metric": "peak_c", "roles": ["body"], "upper": 250}]
    window = write_window(tmp_path, limits=limits)
    result = run(write(tmp_path / "run.csv"), *SAID, "--window", window)
    assert result.exit_code == 2
    assert "no package body (package body): the trace has no usable channel of it" in " ".join(
        result.stdout.split()
    )


@pytest.mark.parametrize(
    ("header", "said", "words"),
    [
        ("Time,Temp", (), "--time-unit s, ms, min, h, hh:mm or mm:ss"),
        ("Time [s],Temp", (), "--unit C, F or K"),
        ("Time,Temp [C]", ("--unit", "C"), "--time-unit"),
    ],
)
def test_what_the_file_leaves_open_is_asked_for_by_its_option(
    tmp_path: Path, header: str, said: tuple[str, ...], words: str
) -> None:
    result = run(write(tmp_path / "run.csv", header=header), *said)
    assert result.exit_code == 3
    assert words in " ".join(result.stderr.split())


def test_whether_the_day_is_first_is_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "run.csv"
    path.write_text("When,T1 [C]\n05/04/2026 10:00:00,25\n05/04/2026 10:01:00,240\n")
    assert "--day-first or --month-first" in " ".join(run(path).stderr.split())
    told = tell(path, "--month-first")
    assert "refusal" not in told
    assert told["reading"]["choices"] == {"day_first": False}


def test_fahrenheit_is_computed_in_celsius(tmp_path: Path) -> None:
    path = tmp_path / "run.csv"
    path.write_text("Time [s],T1 [F]\n0,77\n100,473\n200,122\n")
    assert tell(path)["channels"][0]["peak"]["value"] == 245.0


def test_channels_are_mapped_by_header_number_and_name(tmp_path: Path) -> None:
    path = tmp_path / "run.csv"
    path.write_text("Time [s],A [C],B [C],C [C]\n0,20,21,22\n100,240,241,180\n200,50,51,52\n")
    told = tell(path, "--map", "A=joint-centre:Middle", "--map", "4=adjacent:U7")
    assert [(one["name"], one["role"]) for one in told["channels"]] == [
        ("Middle", "joint_centre"),
        ("C", "adjacent"),
    ]
    assert any("Column 3 “B [C]” is left out" in note for note in told["notes"])


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--map", "Temp=nose"), "“nose” is no role"),
        (("--map", "Temp"), "COLUMN=ROLE"),
        (("--map", "Temp=adjacent"), "must name the adjacent part"),
        (("--map", "Other=body"), "“Other” is not the header or number"),
        (("--alloy", "Unobtainium"), "not in the table of alloys"),
        (("--window", "no-such.json"), "there are lead-free, joints, classification-pb-free"),
        (("--times-above", "217,hot"), "“hot” is no number"),
        (("--times-above", "nan"), "is no number from -200 to 2000 °C"),
        (("--ramp-window", "0"), "is no number from 0.1 to 3600 s"),
        (("--alloy", "Sn63Pb37", "--window", "lead-free"), "“lead-free” is for SAC305"),
        (("--thermocouple", "Q class 1"), "such as “K class 1”"),
        (("--thermocouple", "K class 9"), "such as “K class 1”"),
        (("--correction", "T1=0.4"), "such as “T1=-0.4±0.3”"),
        (("--correction", "T1=0.4±0.3:clock"), "“clock” is nothing that is calibrated"),
        (("--correction", "T1=99±0.3"), "correction_k must be at most 50"),
        (("--correction", "T1=1..2±0.3"), "no number"),
        (("--correction", "T1=1±1", "--correction", "t1=2±1"), "one correction"),
    ],
)
def test_an_option_that_cannot_be_is_refused_in_words(
    tmp_path: Path, arguments: tuple[str, ...], words: str
) -> None:
    result = run(write(tmp_path / "run.csv"), *SAID, *arguments)
    assert result.exit_code == 3
    assert words in " ".join(result.stderr.split())


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[]", "no JSON object"),
        ("{", "cannot be read as JSON"),
        ("{}", "alloy: is missing"),
        (json.dumps(WINDOW | {"limits": []}), "limits"),
        ('{"window": {}}', "window.alloy: is missing"),
    ],
)
def test_a_window_that_is_none_is_refused_with_its_fields(
    tmp_path: Path, text: str, words: str
) -> None:
    window = tmp_path / "window.json"
    window.write_text(text)
    result = run(write(tmp_path / "run.csv"), *SAID, "--window", str(window))
    assert result.exit_code == 3
    assert words in " ".join(result.stderr.split())


def test_a_recipes_body_brings_its_plan_and_its_lift_rule(tmp_path: Path) -> None:
    body = default_body(assembly_part_number="PCA-1", designators=["U1"])
    recipe = tmp_path / "recipe.json"
    recipe.write_text(body.model_dump_json())
    told = tell(write(tmp_path / "run.csv", header="Time [s],T1 [C]"), "--window", str(recipe))
    assert told["channels"][0]["role"] == "joint_centre"
    # 25 °C at 0 s, 150 °C at 100 s, 245 °C at 200 s: 225 °C is passed at 178.9 s, 10 s before.
    assert told["site"]["lift"]["value"] == pytest.approx(100 + 100 * 75 / 95 + 10)
    assert any("T2" in line["reason"] for line in told["verdict"]["lines"])
    assert told["state"] == "outside"


def test_an_alloy_sets_liquidus_and_its_sources_are_shown(tmp_path: Path) -> None:
    path = write(tmp_path / "run.csv", header="Time [s],T1 [C]")
    told = tell(path, "--alloy", "Sn60Pb40")
    assert told["window"]["name"] == "joints"
    assert told["window"]["liquidus_c"] == 191
    assert "sources differ; confirm against your copy" in " ".join(
        source.replace("(", "").replace(")", "") for source in told["window"]["sources"]
    )
    same = tell(path, "--window", write_window(tmp_path), "--alloy", "Sn63Pb37")
    assert (same["window"]["liquidus_c"], same["window"]["name"]) == (183, "window.json")


def test_millivolts_are_computed_with_type_and_cold_junction(tmp_path: Path) -> None:
    # Type K: 9.950 mV at 245 °C and 1.000 mV at 25 °C (NIST ITS-90 Database, SRD 60).
    path = tmp_path / "run.csv"
    path.write_text("Time [s],T1 [mV],Block [C]\n0,0,25\n100,8.950,25\n200,0,25\n")
    assert run(path, "--map", "T1=joint-centre").exit_code == 3
    told = tell(path, "--thermocouple", "K", "--cold-junction", "3", "--map", "T1=joint-centre")
    assert told["channels"][0]["peak"]["value"] == pytest.approx(245.0, abs=0.025)
    assert any("cold junction of column 3" in note for note in told["notes"])


def test_a_file_that_is_not_there_or_no_trace_ends_with_3(tmp_path: Path) -> None:
    assert run(tmp_path / "none.csv").exit_code == 3
    picture = tmp_path / "picture.csv"
    picture.write_bytes(b"\x89PNG\r\n\x1a\n")
    told = tell(picture)
    assert told["exit_status"] == 3
    assert told["refusal"]["code"] == "traces.not_text"


def test_a_folder_gives_a_line_a_file_and_ends_with_the_worst(tmp_path: Path) -> None:
    window = write_window(tmp_path)
    folder = tmp_path / "runs"
    folder.mkdir()
    for place in range(6):
        write(folder / f"run-{place}.csv", rise=12 if place == 2 else 0)
    (folder / "notes.md").write_text("not a logger's")
    result = run(folder, *SAID, "--window", window)
    lines = result.stdout.splitlines()
    assert [line.split()[0] for line in lines] == ["inside"] * 2 + ["OUTSIDE"] + ["inside"] * 3
    assert result.exit_code == 1
    (folder / "run-7.csv").write_text("no trace")
    as_json = run(folder, *SAID, "--window", window, "--json")
    told = [json.loads(line) for line in as_json.stdout.splitlines()]
    assert [one["exit_status"] for one in told] == [0, 0, 1, 0, 0, 0, 3]
    assert as_json.exit_code == 3
    assert not multiprocessing.active_children()


def test_an_empty_folder_is_refused(tmp_path: Path) -> None:
    result = run(tmp_path)
    assert result.exit_code == 3
    assert "holds no file that ends with .csv" in " ".join(result.stderr.split())


def test_a_channel_that_was_open_is_left_out_and_said(tmp_path: Path) -> None:
    path = tmp_path / "run.csv"
    path.write_text("Time [s],T1 [C]\n0,25\n100,OPEN\n200,245\n300,50\n")
    told = tell(path, "--window", write_window(tmp_path))
    assert told["channels"] == []
    assert told["state"] == "cannot say"
    assert told["exit_status"] == 2
    assert "open circuit" in told["faults"]["T1"]
    assert run(path, "--window", write_window(tmp_path)).exit_code == 2


def test_a_header_below_other_rows_is_read_where_it_is_said_to_stand(tmp_path: Path) -> None:
    path = write(tmp_path / "run.csv")
    path.write_text(f"Bench;3\n{path.read_text()}")
    told = tell(path, *SAID, "--header-row", "2", "--units-row", "0")
    assert told["channels"][0]["name"] == "Temp"
    assert told["channels"][0]["peak"]["value"] == 245.0


def test_millivolts_are_computed_with_the_fixed_cold_junction(tmp_path: Path) -> None:
    path = tmp_path / "emf.csv"
    # NIST ITS-90, type K: E(25 °C) = 1.000 mV, E(200 °C) = 8.138 mV; 8.138 − 1.000 = 7.138 mV.
    path.write_text("Time (s),T1 (mV)\n0,0.000\n1,3.000\n2,7.138\n3,5.000\n")
    told = tell(path, "--thermocouple", "K class 1", "--cold-junction-c", "25")
    assert told["channels"][0]["peak"]["value"] == pytest.approx(200.0, abs=0.05)


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        (("--header-row", "-1"), "--header-row must be at least 0, not -1."),
        (("--units-row", "10001"), "--units-row must be at most 10000, not 10001."),
        (
            ("--header-row", "4", "--units-row", "3"),
            "--units-row must stand below the header, not in row 3.",
        ),
        (("--zone", "Nowhere"), "--zone must be a zone of the IANA list"),
        (("--cold-junction-c", "151"), "--cold-junction-c must be at most 150, not 151."),
        (("--cold-junction-c", "nan"), "--cold-junction-c must be a finite number, not nan."),
        (
            ("--cold-junction-c", "25", "--cold-junction", "3"),
            "--cold-junction-c: a column or a fixed temperature, not both",
        ),
        (("--sheet", ""), "--sheet must have at least 1"),
    ],
)
def test_a_choice_beyond_its_limit_is_refused_by_its_option(
    tmp_path: Path, said: tuple[str, ...], sentence: str
) -> None:
    result = run(write(tmp_path / "run.csv"), *said)
    assert result.exit_code == 3
    assert sentence in " ".join(result.output.split())
