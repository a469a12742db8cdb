"""Runs: files in, columns told apart, figures out, and nothing lost on the way."""

from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.core.canonical_json import compute_digest
from app.core.refusals import Refusal
from app.files.queries import get_content
from app.jobs import rules, runs
from app.jobs.cases import compose_case
from app.jobs.queries import get_job, get_run, load_card
from app.jobs.readings import suggest
from app.jobs.rules import RunState, StepKind
from app.jobs.schemas import TraceChosen
from app.jobs.tables import Job, Run
from app.plant.queries import get_bench
from app.plant.tables import BenchReading
from app.recipes.body.recipe import RecipeBody
from app.recipes.verdict import VerdictState
from app.traces.queries import load_samples
from app.traces.rules import ChannelMap, ReadingChoices
from app.traces.service import QuestionsOpen
from tests.jobs.conftest import (
    CHANNELS,
    Shop,
    heat,
    is_near,
    make_body,
    publish_recipe,
    write_log,
)


def begin(db: Session, shop: Shop) -> Job:
    job = shop.open_job(db)
    shop.clear(db, job)
    return job


def figure(run: Run, channel: str, name: str) -> dict[str, Any]:
    assert run.figures is not None
    found: dict[str, Any] = next(one for one in run.figures["channels"] if one["name"] == channel)[
        name
    ]
    return found


def test_the_figures_are_those_of_the_profile_that_was_written(db: Session, shop: Shop) -> None:
    run = shop.record(db, begin(db, shop), StepKind.REMOVE)
    # T1 is the profile itself: 220 °C at 215 s and 290 s, 238 °C at 245 s, 150 to 200 °C in 90 s.
    assert figure(run, "T1", "peak")["value"] == 238.0
    assert is_near(figure(run, "T1", "above_liquidus")["value"], 75.0, within=0.2)
    assert is_near(figure(run, "T1", "soak_time")["value"], 90.0, within=0.2)
    assert is_near(figure(run, "T1", "average_ramp")["value"], 18 / 30, within=0.01)
    assert is_near(figure(run, "T1", "maximum_ramp")["value"], 132 / 90, within=0.02)
    assert run.verdict == VerdictState.INSIDE
    assert run.window_use_pct is not None


def test_a_file_in_fahrenheit_gives_the_same_figures(db: Session, shop: Shop) -> None:
    job = begin(db, shop)
    celsius = shop.record(db, job, StepKind.REMOVE, write_log(decimals=3))
    fahrenheit = shop.record(db, job, StepKind.REMOVE, write_log(unit="°F", decimals=3))
    for name in ("peak", "above_liquidus", "soak_time", "maximum_ramp", "average_cooling"):
        ours, theirs = figure(celsius, "T1", name), figure(fahrenheit, "T1", name)
        assert is_near(ours["value"], theirs["value"], within=0.02), name
    assert celsius.verdict == fahrenheit.verdict


def test_every_digit_of_the_file_comes_back_out_of_the_database(db: Session, shop: Shop) -> None:
    content = write_log(delimiter=";", mark=",", decimals=2, cells={(7, "T4"): ""})
    run = shop.record(db, begin(db, shop), StepKind.REMOVE, content)
    db.commit()
    db.expire_all()
    stored = get_run(db, run.id)
    assert stored.trace is not None
    recorded = load_samples(db, stored.trace)
    lines = content.decode().splitlines()[1:]
    again = [
        ";".join(
            [
                recorded.spell_time(sample),
                *(c.column.spell(sample).replace(".", ",") for c in recorded.channels),
            ]
        )
        for sample in range(len(lines))
    ]
    assert again == lines
    assert get_content(db, str(stored.file_sha256)) == content


def test_a_file_without_a_unit_is_asked_about_before_anything_is_kept(
    db: Session, shop: Shop
) -> None:
    run = shop.start(db, begin(db, shop), StepKind.REMOVE, write_log(unit=""))
    suggestion = suggest(db, run, choices=None, settings=shop.settings)
    assert {one.about for one in suggestion.reading.questions} == {"unit"}
    with pytest.raises(QuestionsOpen, match="Is it °C, °F or K"):
        shop.complete(db, run)
    assert run.state is RunState.RECORDING
    done = shop.complete(db, run, choices=ReadingChoices.model_validate({"temperature_unit": "C"}))
    assert figure(done, "T1", "peak")["value"] == 238.0


def test_a_bench_remembers_its_columns_and_completes_the_next_run_at_once(
    db: Session, shop: Shop
) -> None:
    job = begin(db, shop)
    choices = ReadingChoices.model_validate({"temperature_unit": "C"})
    first = shop.start(db, job, StepKind.REMOVE, write_log(unit=""))
    who: dict[str, Any] = {"settings": shop.settings, "person": shop.odile, "now": shop.now}
    assert runs.complete_at_once(db, first, **who) is False
    shop.complete(db, first, choices=choices)
    second = shop.start(db, job, StepKind.REMOVE, write_log(unit="", peak_shift_k=-1))
    assert runs.complete_at_once(db, second, **who) is True
    assert second.state is RunState.COMPLETE
    assert figure(second, "T1", "peak")["value"] == 237.0


def test_what_is_not_to_be_remembered_is_not(db: Session, shop: Shop) -> None:
    run = shop.start(db, begin(db, shop), StepKind.REMOVE)
    shop.complete(db, run, remember=False)
    assert db.scalars(select(BenchReading)).all() == []


def test_a_memory_that_does_not_fit_the_recipe_asks_again(db: Session, shop: Shop) -> None:
    job = begin(db, shop)
    swapped = ChannelMap.model_validate(
        {
            "channels": [
                {"column": 1, "name": "A", "role": "joint_centre"},
                {"column": 2, "name": "B", "role": "joint_corner"},
                {"column": 3, "name": "C", "role": "air"},
            ]
        }
    )
    shop.complete(db, shop.start(db, job, StepKind.REMOVE), channel_map=swapped)
    run = shop.start(db, job, StepKind.REMOVE)
    suggestion = suggest(db, run, choices=None, settings=shop.settings)
    # The sensors of columns 2 and 3 sit where the plan's T1 and T2 do; nothing stands for T3.
    assert [c.name for c in suggestion.channels] == ["T1", "T2", "C"]
    assert not suggestion.is_settled(make_body().thermocouples)


def test_a_channel_that_was_open_is_left_out_and_named(db: Session, shop: Shop) -> None:
    content = write_log(cells={(second, "T2"): "OPEN" for second in range(100, 110)})
    run = shop.record(db, begin(db, shop), StepKind.REMOVE, content)
    assert run.figures is not None
    assert "OPEN" in run.figures["faults"]["T2"]
    assert run.verdict == VerdictState.CANNOT_SAY


def test_two_runs_of_one_site_do_not_record_at_once(db: Session, shop: Shop) -> None:
    job = begin(db, shop)
    run = shop.start(db, job, StepKind.REMOVE)
    db.commit()
    with pytest.raises(rules.RunRecording):
        shop.start(db, get_job(db, job.id), StepKind.REMOVE)
    db.rollback()
    stored = get_run(db, run.id)
    double = Run(
        job_site_id=stored.job_site_id,
        step_id=stored.step_id,
        recipe_revision_id=stored.recipe_revision_id,
        bench_id=stored.bench_id,
        state=RunState.RECORDING,
        by_id=stored.by_id,
        started_at=stored.started_at,
        clearance={},
        remark="",
    )
    db.add(double)
    with pytest.raises(IntegrityError):
        db.flush()


def test_a_run_ends_once(db: Session, shop: Shop) -> None:
    job = begin(db, shop)
    run = shop.record(db, job, StepKind.REMOVE)
    with pytest.raises(rules.RunOver):
        shop.complete(db, run)
    with pytest.raises(rules.RunOver):
        runs.abort_run(db, run, "late", person=shop.odile, now=shop.now)
    aborted = shop.start(db, job, StepKind.REMOVE)
    with pytest.raises(rules.ReasonMissing):
        runs.abort_run(db, aborted, "", person=shop.odile, now=shop.now)
    runs.abort_run(db, aborted, "Sensor fell off", person=shop.odile, now=shop.now)
    assert aborted.state is RunState.ABORTED
    assert get_content(db, str(aborted.file_sha256)) == write_log()


def test_a_cold_line_takes_no_run(db: Session, shop: Shop) -> None:
    job = begin(db, shop)
    shop.sign(db, job, StepKind.REMOVE)
    with pytest.raises(rules.NotHeated):
        shop.start(db, job, StepKind.DRESS)


def test_a_run_keeps_the_clearance_of_its_own_moment(db: Session, shop: Shop, ines: Person) -> None:
    job = begin(db, shop)
    shop.record(db, job, StepKind.REMOVE)
    run = shop.start(db, job, StepKind.REMOVE)
    sentences = [one["sentence"] for one in run.clearance["findings"]]
    assert "U3: 1 heats and 0 reworks before this job." in sentences
    case = compose_case(db, load_card(db, job), get_bench(db, shop.bench_id), shop.settings)
    assert case.sites[0].heats == 1
    assert ines


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "traces.empty_file"),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + bytes(range(256)), "traces.not_text"),
        (b"one line of words\nand another\n", "traces.one_column"),
        (b"a,b\nc,d\ne,f\n", "traces.no_samples"),
    ],
)
def test_a_file_that_nothing_could_make_readable_starts_no_run(
    db: Session, shop: Shop, content: bytes, code: str
) -> None:
    job = begin(db, shop)
    with pytest.raises(Refusal) as refusal:
        shop.start(db, job, StepKind.REMOVE, content)
    assert refusal.value.code == code
    assert db.scalars(select(Run)).all() == []


def test_a_file_whose_time_column_must_be_said_waits_for_it(db: Session, shop: Shop) -> None:
    rows = "\n".join(f"{heat(s):.1f},{s if s != 40 else 39},{heat(s):.1f}" for s in range(200))
    content = f"A (°C),B,C (°C)\n{rows}\n".encode()
    run = shop.start(db, begin(db, shop), StepKind.REMOVE, content)
    with pytest.raises(Refusal, match="time"):
        suggest(db, run, choices=None, settings=shop.settings)
    assert run.state is RunState.RECORDING


def test_another_recipe_names_the_part_beside_the_site(db: Session, shop: Shop) -> None:
    given = make_body().model_dump(mode="json")
    given["thermocouples"][3] = {
        "channel": "T4",
        "role": "adjacent",
        "designator": "C12",
        "required": False,
    }
    body = RecipeBody.model_validate(given)
    shop.revision_id = publish_recipe(shop, db, body, code="LIM-U3-C12")
    run = shop.start(db, begin(db, shop), StepKind.REMOVE)
    suggestion = suggest(db, run, choices=None, settings=shop.settings)
    assert suggestion.channels[3].designator == "C12"


def test_the_log_holds_the_digest_of_the_figures(db: Session, shop: Shop) -> None:
    run = shop.record(db, begin(db, shop), StepKind.REMOVE)
    assert run.figures is not None
    digest = compute_digest(run.figures)
    db.commit()
    db.expire_all()
    stored = get_run(db, run.id)
    assert stored.figures is not None
    assert compute_digest(stored.figures) == digest


def test_a_channel_of_no_temperatures_is_refused_by_its_place(db: Session, shop: Shop) -> None:
    run = shop.start(db, begin(db, shop), StepKind.REMOVE)
    beyond = CHANNELS.model_dump(mode="json")
    beyond["channels"][2]["column"] = 9
    with pytest.raises(Refusal) as refusal:
        shop.complete(db, run, channel_map=ChannelMap.model_validate(beyond))
    assert refusal.value.field == "channels.2.column"
    assert TraceChosen.model_validate({"channel_map": CHANNELS}).remember
