"""A board's story: whole, in order, and in as many questions as ever."""

from sqlalchemy import event

from app.core.db import Sessions
from app.history.rules import EventKind
from app.history.story import StoryFilter, filter_lines
from tests.history.conftest import Teller, read_story
from tests.jobs.conftest import Shop


def test_everything_that_happened_stands_in_the_order_in_which_it_happened(
    sessions: Sessions, shop: Shop, job_id: int
) -> None:
    story = read_story(sessions, shop.board_id)
    assert [line.what for line in story.lines] == [
        "Board registered",
        "Job opened for U3",
        "Job cleared for heat",
        "Job put on hold",
        "Job free again, hold lifted",
        "Run 1, remove of U3: aborted",
        "Run 2, remove of U3: complete",
        "Remove of U3 signed",
        "Dress of U3 skipped",
        "Deposit of U3 signed",
        "Place of U3 signed",
        "Place of U3: entry 4 corrected",
        "Run 3, reflow of U3: complete",
        "Reflow of U3 signed",
        "Inspect of U3 signed",
        "Job closed",
    ]
    assert [line.number for line in story.lines] == list(range(1, 17))
    assert sorted(line.at for line in story.lines) == [line.at for line in story.lines]


def test_every_entry_of_the_board_stands_beneath_one_line(
    sessions: Sessions, shop: Shop, job_id: int
) -> None:
    story = read_story(sessions, shop.board_id)
    beneath = [entry.seq for line in story.lines for entry in line.entries]
    assert sorted(beneath) == [entry.seq for entry in story.records.entries]
    run = next(line for line in story.lines if line.run_id == 2)
    assert [entry.action for entry in run.entries] == ["jobs.start_run", "jobs.complete_run"]


def test_a_line_says_who_with_what_recipe_lots_and_verdict(
    sessions: Sessions, shop: Shop, job_id: int
) -> None:
    story = read_story(sessions, shop.board_id)
    lines = {line.what: line for line in story.lines}
    lifted = lines["Job free again, hold lifted"]
    assert lifted.who == "Ines Tarvonen"
    assert ("Reason", "Nozzle came") in lifted.details
    deposit = lines["Deposit of U3 signed"]
    assert deposit.who == "Odile Maasland"
    assert deposit.lots == ("flux: F-2231",)
    assert [(used.code, used.number) for used in deposit.recipes] == [("LIM-U3", 1)]
    assert deposit.recipes[0].digest == story.records.revisions[0].digest
    run = lines["Run 3, reflow of U3: complete"]
    assert run.sign is not None
    assert run.sign.word == story.records.runs[-1].verdict
    assert run.has_picture
    inspection = lines["Inspect of U3 signed"]
    assert inspection.sign is not None
    assert inspection.sign.word == "pass"


def test_a_correction_names_the_old_entry_and_the_old_line_names_the_correction(
    sessions: Sessions, shop: Shop, job_id: int
) -> None:
    story = read_story(sessions, shop.board_id)
    old = next(line for line in story.lines if line.what == "Place of U3 signed")
    new = next(line for line in story.lines if line.kind is EventKind.CORRECTION)
    assert new.record is not None
    assert old.corrected_by == new.record.id
    assert ("Before: Nozzle", "N-15") in new.details
    assert ("Nozzle", "N-12") in new.details
    assert ("Reason", "Typed the wrong one") in new.details


def test_an_untouched_board_differs_in_nothing(
    sessions: Sessions, shop: Shop, teller: Teller, job_id: int
) -> None:
    story = read_story(sessions, shop.board_id)
    assert story.differences == ()
    assert story.chain_fault is None
    assert all(line.faults == () for line in story.lines)


def test_a_story_takes_as_many_questions_for_twenty_jobs_as_for_two(
    sessions: Sessions, shop: Shop, teller: Teller
) -> None:
    counts: list[int] = []

    def count() -> int:
        asked: list[str] = []

        def note(_c: object, _cursor: object, statement: str, *_more: object) -> None:
            asked.append(statement)

        event.listen(sessions.engine, "before_cursor_execute", note)
        story = read_story(sessions, shop.board_id, with_all_figures=False)
        event.remove(sessions.engine, "before_cursor_execute", note)
        counts.append(len(story.records.jobs))
        return len(asked)

    for _ in range(2):
        teller.tell_plain()
    few = count()
    for _ in range(18):
        teller.tell_plain()
    many = count()
    assert counts == [3, 21]
    assert few == many
    assert few < 17


def test_a_filter_leaves_what_is_asked_for(sessions: Sessions, shop: Shop, job_id: int) -> None:
    lines = read_story(sessions, shop.board_id).lines
    runs = filter_lines(lines, StoryFilter(kind=EventKind.RUN))
    assert [line.run_id for line in runs] == [1, 2, 3]
    by_ines = filter_lines(lines, StoryFilter(account_id=shop.ines.account_id))
    assert len(by_ines) == 1
    assert len(filter_lines(lines, StoryFilter(job_id=job_id))) == len(lines) - 1
    assert len(filter_lines(lines, StoryFilter(designator="u3"))) == len(lines) - 1
    assert filter_lines(lines, StoryFilter(designator="U5")) == ()
