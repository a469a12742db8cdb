"""Every measure measures the real thing and says what it found; no figure's size is held here."""

from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from app.cli import main
from app.measure.analysis import make_work, measure_analysis
from app.measure.history import measure_history
from app.measure.house import Kind, add_database, make_database_url, seat_administrator, serve
from app.measure.registry import MEASURES
from app.measure.scripts import measure_scripts
from app.measure.storage import measure_storage
from app.measure.synthetic import RUN_S, make_trace, spell_ticks
from app.measure.writes import measure_writes, post_bench
from app.numerics.sample_codec import pack_samples, unpack_samples
from app.numerics.uncertainty import Expanded
from app.numerics.values import Measured


def test_a_write_is_measured_against_both_bare_ways(database: Kind) -> None:
    figures = measure_writes(database, rounds=1, repeats=2)
    house, bare, direct, against_bare, against_direct = figures
    assert all(figure.value > 0 for figure in figures)
    assert against_bare.value == pytest.approx(bare.value / house.value)
    assert against_direct.value == pytest.approx(direct.value / house.value)


def test_a_refused_write_ends_the_measure_and_is_not_counted(database: Kind) -> None:
    with make_database_url(database) as place:
        url = add_database(place, "house")
        token = seat_administrator(url)
        with serve("app.main:create_app", url) as connection:
            post_bench(connection, "/api/v1/benches", token, "B1")
            with pytest.raises(RuntimeError, match="answered 409"):
                post_bench(connection, "/api/v1/benches", token, "B1")
            with pytest.raises(RuntimeError, match="answered 401"):
                post_bench(connection, "/api/v1/benches", "no token", "B2")


def test_a_history_is_measured_against_all_its_rows(database: Kind) -> None:
    raw, piece, written, whole = measure_history(database, jobs=2, rounds=1)
    assert "rows of 2 jobs" in raw.what
    assert piece.value > 0
    assert written.value > 0
    assert whole.target == 5.0


def test_the_analysis_is_measured_on_a_usual_recording_and_on_a_long_one() -> None:
    figures = measure_analysis(rounds=1, repeats=1, long_samples=6_000)
    assert [figure.unit for figure in figures] == [
        "ms",
        "times as long",
        "s",
        "times as long",
        "times the data",
    ]
    assert [figure.target for figure in figures] == [10.0, 25.0, 1.0, None, 4.0]
    assert all(figure.value > 0.0 for figure in figures)


def test_what_is_measured_is_a_sound_recording_of_which_everything_is_asked() -> None:
    found = make_work(channels=5, samples=9_000).analyse()
    assert found.faults == ()
    assert isinstance(found.site.metrics.spread, Measured)
    assert isinstance(found.site.spread_uncertainty, Expanded)
    assert found.site.lift is not None
    for channel in found.channels.values():
        assert isinstance(channel.metrics.soak_time, Measured)
        assert channel.uncertainty is not None
        assert isinstance(channel.uncertainty.soak_time, Expanded)
        assert (len(channel.times_above), len(channel.zones)) == (3, 4)


def test_storage_is_measured_on_made_up_runs_and_on_a_named_file(tmp_path: Path) -> None:
    file = tmp_path / "plate.csv"
    file.write_text("Time (s),Plate (C)\n" + "".join(f"{n},{20 + n / 10}\n" for n in range(400)))
    *made_up, named = measure_storage((file,))
    assert all(0.0 < figure.value < 8.0 for figure in made_up)
    assert named.what == '"plate.csv", 1 channels, 400 samples'


def test_a_made_up_trace_rises_above_the_liquidus_and_is_stored_exactly() -> None:
    trace = make_trace(channels=2, samples=RUN_S * 4)
    assert max(float(values.max()) for values in trace.channels_c) > 217.0
    ticks, decimals = spell_ticks(trace.time_s)
    blob = pack_samples(ticks, tick_decimals=decimals, columns=trace.as_columns())
    back = unpack_samples(blob)
    assert np.array_equal(back.columns[1].as_floats(), trace.channels_c[1])


def test_scripts_are_counted_whole() -> None:
    (figure,) = measure_scripts()
    assert figure.value > 0.0


def test_the_command_measures_what_is_named_and_writes_json(tmp_path: Path) -> None:
    file = tmp_path / "figures.json"
    answer = CliRunner().invoke(main, ["measure", "--only", "scripts", "--json", str(file)])
    assert answer.exit_code == 0, answer.output
    assert '"measure": "scripts"' in file.read_text()


def test_a_measure_that_does_not_exist_is_refused_with_those_that_do() -> None:
    answer = CliRunner().invoke(main, ["measure", "--only", "luck"])
    assert answer.exit_code == 2
    assert "luck" in answer.output
    assert all(name in answer.output for name in MEASURES)


def test_a_file_that_is_no_trace_is_refused_with_its_reason(tmp_path: Path) -> None:
    file = tmp_path / "empty.csv"
    file.write_bytes(b"")
    answer = CliRunner().invoke(main, ["measure", "--only", "storage", "--trace", str(file)])
    assert answer.exit_code == 2
    assert "empty" in answer.output
