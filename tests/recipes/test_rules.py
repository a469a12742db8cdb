"""The rules of revisions: states, four eyes, the digest, and where a recipe fits."""

import json
from hashlib import sha256
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.accounts.permissions import Action
from app.approval.rules import MOVES, RevisionAction, RevisionState, list_moves
from app.recipes.body.forms import parse_body, parse_stored_body
from app.recipes.body.recipe import RecipeBody
from app.recipes.body.template import choose, default_body
from app.recipes.rules import (
    REVISIONS,
    AuthorCannotApprove,
    EditorCannotApprove,
    NotWorkedOut,
    ProposerCannotApprove,
    RevisionFrozen,
    WrongState,
    canonical_bytes,
    check_worked_out,
    digest_of,
    fits,
)

INES, EDDA, ODILE = 1, 2, 3
BODY = default_body(assembly_part_number="LIMNET-07", designators=["U3"])


def fit(
    body: RecipeBody,
    *,
    assembly: str = "LIMNET-07",
    revision: str = "B",
    designator: str = "U3",
    part_number: str | None = "BG-285",
) -> str:
    found = fits(
        body,
        assembly_part_number=assembly,
        assembly_revision=revision,
        designator=designator,
        part_number=part_number,
    )
    assert found.fits is (found.reason == "")
    return found.reason


def where(**changes: object) -> RecipeBody:
    body: dict[str, Any] = BODY.model_dump(mode="json")
    body["applies_to"] |= changes
    return parse_body(body)


@pytest.mark.parametrize("state", RevisionState)
@pytest.mark.parametrize("action", RevisionAction)
def test_the_table_alone_says_what_moves(state: RevisionState, action: RevisionAction) -> None:
    allowed = {
        (RevisionState.DRAFT, RevisionAction.PROPOSE): RevisionState.PROPOSED,
        (RevisionState.PROPOSED, RevisionAction.WITHDRAW): RevisionState.DRAFT,
        (RevisionState.PROPOSED, RevisionAction.SEND_BACK): RevisionState.DRAFT,
        (RevisionState.PROPOSED, RevisionAction.PUBLISH): RevisionState.PUBLISHED,
        (RevisionState.PUBLISHED, RevisionAction.RETIRE): RevisionState.RETIRED,
    }
    if (state, action) in allowed:
        assert REVISIONS.get_move(state, action).after is allowed[state, action]
    else:
        with pytest.raises(WrongState, match=f"this one is {state}"):
            REVISIONS.get_move(state, action)


def test_no_move_leads_out_of_retirement_or_back_from_publishing() -> None:
    assert not list_moves(RevisionState.RETIRED, Action)
    assert {move.after for move in list_moves(RevisionState.PUBLISHED, Action)} == {
        RevisionState.RETIRED
    }
    assert len({(move.before, move.action) for move in MOVES}) == len(MOVES)


def test_a_writer_sees_only_what_a_writer_may_do() -> None:
    moves = list_moves(RevisionState.PROPOSED, {Action.RECIPES_WRITE})
    assert [move.action for move in moves] == [RevisionAction.WITHDRAW]


def test_only_a_draft_can_be_edited() -> None:
    REVISIONS.check_editable(RevisionState.DRAFT)
    for state in set(RevisionState) - {RevisionState.DRAFT}:
        with pytest.raises(RevisionFrozen, match=f"a {state} revision is frozen"):
            REVISIONS.check_editable(state)


def test_ines_cannot_approve_what_she_wrote() -> None:
    with pytest.raises(AuthorCannotApprove):
        REVISIONS.check_approver(author_id=INES, proposer_id=EDDA, editor_ids=(), approver_id=INES)


def test_edda_cannot_approve_what_she_proposed() -> None:
    with pytest.raises(ProposerCannotApprove):
        REVISIONS.check_approver(author_id=INES, proposer_id=EDDA, editor_ids=(), approver_id=EDDA)


def test_edda_cannot_approve_what_she_changed() -> None:
    with pytest.raises(EditorCannotApprove):
        REVISIONS.check_approver(
            author_id=INES, proposer_id=INES, editor_ids={INES, EDDA}, approver_id=EDDA
        )


def test_a_second_engineer_can_approve() -> None:
    REVISIONS.check_approver(author_id=INES, proposer_id=INES, editor_ids=(), approver_id=EDDA)


def test_the_digest_is_that_of_the_canonical_bytes() -> None:
    assert digest_of(BODY) == sha256(canonical_bytes(BODY)).hexdigest()
    # RFC 8785: keys sorted, no blanks, 60.0 spelt 60.
    assert canonical_bytes(BODY).startswith(b'{"applies_to":{"assembly_part_number":"LIMNET-07",')
    assert b'"time_s":60,' in canonical_bytes(BODY) or b'"time_s":60}' in canonical_bytes(BODY)
    assert b'{"unit":"in","value":"0.020"}' in canonical_bytes(BODY)


def test_stored_bytes_read_back_to_the_same_digest() -> None:
    stored = canonical_bytes(BODY)
    again = parse_stored_body(stored)
    assert again == BODY
    assert canonical_bytes(again) == stored


def test_one_changed_digit_changes_the_digest() -> None:
    body = BODY.model_dump(mode="json")
    body["head_heights"]["placement"]["value"] = "0.0200"
    assert digest_of(parse_body(body)) != digest_of(BODY)


@given(st.randoms(use_true_random=False))
def test_the_order_of_keys_does_not_change_the_bytes(random: Any) -> None:
    def shuffle(value: object) -> object:
        if isinstance(value, dict):
            names = list(value)
            random.shuffle(names)
            return {name: shuffle(value[name]) for name in names}
        return [shuffle(one) for one in value] if isinstance(value, list) else value

    shuffled = shuffle(BODY.model_dump(mode="json"))
    assert canonical_bytes(parse_body(shuffled)) == canonical_bytes(BODY)


@given(
    st.lists(st.floats(min_value=1, max_value=1800), min_size=5, max_size=5),
    st.floats(min_value=0, max_value=450),
    st.from_regex(r"[0-9]{1,2}(\.[0-9]{1,6})?", fullmatch=True),
)
def test_any_numbers_survive_json_and_keep_the_digest(
    times_s: list[float], top_c: float, digits: str
) -> None:
    raw = BODY.model_dump(mode="json")
    for zone, time_s in zip(raw["zones"], times_s, strict=True):
        zone["time_s"] = time_s
    raw["zones"][1]["top_c"] = top_c
    raw["head_heights"]["removal"] = {"value": digits, "unit": "mm"}
    body = parse_body(raw)
    again = parse_body(json.loads(body.model_dump_json()))
    assert again.zones[1].top_c == top_c
    assert digest_of(again) == digest_of(body)
    assert digest_of(parse_stored_body(canonical_bytes(body))) == digest_of(body)


def test_a_recipe_fits_its_own_site() -> None:
    assert fit(BODY) == ""
    assert fit(BODY, designator="u3") == ""
    assert fit(BODY, part_number=None) == ""


def test_a_recipe_says_why_it_does_not_fit() -> None:
    assert "for assembly LIMNET-07, not LIMNET-08" in fit(BODY, assembly="LIMNET-08")
    assert "for U3, not U4" in fit(BODY, designator="U4")
    assert "revision A, C, not B" in fit(where(revisions=["A", "C"]))
    assert "for part BG-100, not BG-285" in fit(where(part_numbers=["BG-100"]))
    assert "is not known" in fit(where(part_numbers=["BG-285"]), part_number=None)


def test_a_recipe_for_a_part_fits_wherever_that_part_sits() -> None:
    body = where(designators=[], part_numbers=["BG-285"], revisions=["B"])
    assert fit(body, designator="U17") == ""


def test_both_lists_must_hold_where_both_are_given() -> None:
    body = where(part_numbers=["BG-285"])
    assert fit(body) == ""
    assert fit(body, designator="U4") != ""
    assert fit(body, part_number="BG-100") != ""


def test_a_draft_that_leaves_the_tools_open_cannot_be_proposed() -> None:
    body = default_body(assembly_part_number="LIMNET-07", designators=["U3"])
    with pytest.raises(NotWorkedOut) as refused:
        check_worked_out(body)
    fields = [fault.field for fault in refused.value.faults]
    assert fields == ["tooling.nozzle", "tooling.vacuum_cup", "deposit.flux"]
    check_worked_out(choose(body, nozzle="N-20", vacuum_cup="CUP-4", flux="tacky flux"))
