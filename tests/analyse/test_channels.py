"""Which column `wickbook analyse` takes for which channel, and what it asks instead."""

from pathlib import Path

import pytest

from tests.analyse.test_command import run, tell

MILLIVOLTS = "Time [s],T1 [mV],T2 [mV],CJC [C]\n0,0,0,25\n100,8.950,8.9,25\n200,0,0,25\n"


def write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "run.csv"
    path.write_text(text)
    return path


@pytest.mark.parametrize("header", ["T1 °C", "T1 (degC)", "T1 [°C]", "T1_degC", "T1 (left) [C]"])
def test_a_channel_is_called_by_its_header_without_the_unit(tmp_path: Path, header: str) -> None:
    path = write(tmp_path, f"Time [s],{header}\n0,25\n100,150\n200,245\n300,50\n")
    told = tell(path, "--map", "T1=body")
    assert [(one["name"], one["role"]) for one in told["channels"]] == [("T1", "body")]


@pytest.mark.parametrize("said", [(), ("--map", "T1=joint-centre")])
def test_millivolts_are_asked_for_the_type_of_their_thermocouple(
    tmp_path: Path, said: tuple[str, ...]
) -> None:
    told = tell(write(tmp_path, MILLIVOLTS), *said)
    assert told["exit_status"] == 3
    assert told["refusal"]["code"] == "analyse.question_open"
    assert told["refusal"]["field"] == "thermocouple"
    assert "“T1 [mV]”: millivolts of which type" in told["refusal"]["sentence"]
    assert "--thermocouple K, J, T or N" in told["refusal"]["sentence"]


def test_with_the_type_the_cold_junction_is_found_and_is_no_channel(tmp_path: Path) -> None:
    told = tell(write(tmp_path, MILLIVOLTS), "--thermocouple", "K")
    assert [one["name"] for one in told["channels"]] == ["T1", "T2"]
    # 9.950 mV is 245 °C (NIST ITS-90 Thermocouple Database, SRD 60).
    assert told["channels"][0]["peak"]["value"] == pytest.approx(245.0, abs=0.025)


def test_a_cold_junction_cannot_be_mapped_and_says_why(tmp_path: Path) -> None:
    result = run(write(tmp_path, MILLIVOLTS), "--map", "CJC=joint-centre")
    assert result.exit_code == 3
    words = " ".join(result.stderr.split())
    assert "is no column of temperatures: its header names the cold junction" in words


def test_millivolts_beside_temperatures_are_left_out_and_said(tmp_path: Path) -> None:
    text = "Time [s],Flow [mV],T1 [C],CJC [C]\n0,1,25,24\n100,1,245,24\n200,1,50,24\n"
    told = tell(write(tmp_path, text))
    assert [one["name"] for one in told["channels"]] == ["T1"]
    assert any(
        "Column 2 “Flow [mV]” is left out: it holds millivolts of no known type" in note
        for note in told["notes"]
    )


def test_a_cold_junction_alone_is_no_joint(tmp_path: Path) -> None:
    told = tell(write(tmp_path, "Time [s],CJC [C]\n0,24\n100,24.5\n200,24\n"))
    assert "No column can be taken for a channel" in told["refusal"]["sentence"]
    assert "its header names a cold junction" in told["refusal"]["sentence"]


def test_a_channel_that_is_left_out_is_said_so_once(tmp_path: Path) -> None:
    rows = "".join(f"{k},{25 + k},{26 + k}\n" for k in range(200))
    path = write(tmp_path, f"Time [s],T1 [C],T2 [C]\n{rows}200,OPEN,226\n")
    words = " ".join(run(path).stdout.split())
    assert "Joint channel T1 is left out: Column 2 “T1 [C]”" in words
    assert "left out. left out" not in words


def test_a_moment_is_shown_once_and_what_is_assumed_is_told_from_what_was_said(
    tmp_path: Path,
) -> None:
    path = write(tmp_path, "Time [s],T1 [C]\n0,25\n100,225\n200,245\n300,50\n")
    words = " ".join(run(path, "--logger-accuracy", "0.5").stdout.split())
    assert "All joints above liquidus from: 97.5 s" in words
    assert "97.5 s at 97.5 s" not in words
    assert "logger ±0.5 K, clock ±100 ppm – of these assumed" in words
    assert "as said" not in words


@pytest.mark.parametrize(
    ("covers", "words"),
    [
        ("", "T1: corrected; the tolerances of wire and logger both stay in its uncertainty"),
        (":wire", "T1: corrected; calibrated is the wire, whose own tolerance is left out"),
        (":logger", "T1: corrected; calibrated is the logger's input"),
    ],
)
def test_a_correction_says_what_was_calibrated(tmp_path: Path, covers: str, words: str) -> None:
    path = write(tmp_path, "Time [s],T1 [C]\n0,25\n100,225\n200,245\n300,50\n")
    shown = run(path, "--correction", f"T1=-0.4±0.3{covers}").stdout
    assert words in " ".join(shown.split())
