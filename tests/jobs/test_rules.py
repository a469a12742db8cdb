"""The states of a job and the turns of its lines."""

import pytest

from app.jobs.rules import (
    JOB_MOVES,
    JobMove,
    JobState,
    MoveNotAllowed,
    OutOfTurn,
    ReasonMissing,
    StepKind,
    check_reason,
    check_turn,
    get_next_state,
    list_steps,
    parse_job,
    spell_job,
)


@pytest.mark.parametrize("state", list(JobState))
@pytest.mark.parametrize("move", list(JobMove))
def test_a_move_that_the_table_lacks_is_refused_with_a_sentence(
    state: JobState, move: JobMove
) -> None:
    if (state, move) in JOB_MOVES:
        assert get_next_state(state, move) is JOB_MOVES[state, move][0]
    else:
        with pytest.raises(MoveNotAllowed, match=r"job is"):
            get_next_state(state, move)


def test_nothing_leads_out_of_closed() -> None:
    assert not [state for state, _ in JOB_MOVES if state is JobState.CLOSED]


def test_a_recipe_without_deposit_and_cleaning_has_five_lines() -> None:
    steps = list_steps(with_deposit=False, with_cleaning=False)
    assert StepKind.DEPOSIT not in steps
    assert StepKind.CLEAN not in steps
    assert len(steps) == 5


def test_a_line_waits_for_the_one_before_it() -> None:
    check_turn(StepKind.DRESS, [(StepKind.REMOVE, True)])
    with pytest.raises(OutOfTurn, match="“remove” comes before “dress”"):
        check_turn(StepKind.DRESS, [(StepKind.REMOVE, False)])


def test_a_reason_must_be_given() -> None:
    check_reason("because", "it is done")
    with pytest.raises(ReasonMissing, match="Say why it is done"):
        check_reason("", "it is done")


@pytest.mark.parametrize("typed", ["J-00042", "j42", " J-42 ", "J00042"])
def test_a_job_number_is_found_however_it_is_typed(typed: str) -> None:
    assert parse_job(typed) == 42
    assert spell_job(42) == "J-00042"


@pytest.mark.parametrize("typed", ["42", "J-", "J-0", "J-1234567890", "0417", "", "J-4\x002"])
def test_other_texts_are_no_job_number(typed: str) -> None:
    assert parse_job(typed) is None
