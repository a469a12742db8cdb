"""Whatever is changed in a log is found, and the first wrong entry is named."""

import json
from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.audit.rules import BoardLink, spell_body
from app.audit.verifier import verify_entries
from app.core.canonical_json import spell_canonical_json
from app.numerics.merkle import EMPTY_ROOT, compute_root_of_leaves
from tests.audit.synthetic_log import ODILE, Entry, tell, write, write_again, write_some

SMALL = write_some(13)
LONG = write_some(3_000)
HASHED = ("body", "leaf_hash", "root", "frontier")


def with_entry(index: int, **changed: object) -> list[Entry]:
    entries = list(SMALL)
    entries[index] = replace(entries[index], **changed)  # type: ignore[arg-type]
    return entries


def test_an_empty_log_is_whole() -> None:
    verdict = verify_entries([])
    assert (verdict.is_whole, verdict.size, verdict.root) == (True, 0, EMPTY_ROOT)
    assert verdict.first_at is verdict.last_at is None


def test_a_long_log_is_whole_and_its_root_is_the_tree_over_all_leaves() -> None:
    heard: list[int] = []
    verdict = verify_entries(iter(LONG), tell=heard.append)
    assert verdict.is_whole
    assert verdict.size == 3_000
    # Computed level by level from all the leaves, the way the verifier does not.
    assert verdict.root == compute_root_of_leaves([entry.leaf_hash for entry in LONG])
    assert (verdict.first_at, verdict.last_at) == (LONG[0].at, LONG[-1].at)
    assert heard == [1_000, 2_000, 3_000, 3_000]


@given(st.data())
def test_a_single_changed_byte_anywhere_is_found_in_its_entry(data: st.DataObject) -> None:
    index = data.draw(st.integers(0, len(SMALL) - 1))
    column = data.draw(st.sampled_from(HASHED))
    stored = bytearray(getattr(SMALL[index], column))
    place = data.draw(st.integers(0, len(stored) - 1))
    stored[place] ^= data.draw(st.integers(1, 255))
    verdict = verify_entries(with_entry(index, **{column: bytes(stored)}))
    assert verdict.wrong_seq == index + 1
    assert verdict.size == index
    assert verdict.reason


@pytest.mark.parametrize("index", range(len(SMALL)))
def test_every_byte_of_every_hash_is_looked_at(index: int) -> None:
    for column in HASHED:
        stored = getattr(SMALL[index], column)
        for place in range(len(stored)):
            flipped = stored[:place] + bytes([stored[place] ^ 1]) + stored[place + 1 :]
            assert verify_entries(with_entry(index, **{column: flipped})).wrong_seq == index + 1


@given(st.data())
def test_bytes_added_or_cut_are_found(data: st.DataObject) -> None:
    index = data.draw(st.integers(0, len(SMALL) - 1))
    column = data.draw(st.sampled_from(HASHED))
    stored: bytes = getattr(SMALL[index], column)
    changed = data.draw(
        st.one_of(
            st.binary(min_size=1, max_size=40).map(lambda more: stored + more),
            st.integers(0, len(stored) - 1).map(lambda kept: stored[:kept]),
        )
    )
    assert verify_entries(with_entry(index, **{column: changed})).wrong_seq == index + 1


OTHER = {
    "seq": 99,
    "at": SMALL[0].at + timedelta(microseconds=1),
    "actor_id": 4,
    "action": "jobs.sign_steps",
    "subject_kind": "stem",
    "subject_id": 77,
    "job_id": 77,
    "board_id": 77,
    "board_number": 77,
}


@pytest.mark.parametrize("column", OTHER)
@pytest.mark.parametrize("index", [0, 6, 12])
def test_a_column_that_says_other_than_the_text_is_found(index: int, column: str) -> None:
    verdict = verify_entries(with_entry(index, **{column: OTHER[column]}))
    assert verdict.wrong_seq == index + 1
    assert verdict.reason is not None
    assert ("missing" if column == "seq" else f"column {column}") in verdict.reason


@pytest.mark.parametrize("column", ["actor_id", "job_id", "board_id", "board_number"])
def test_a_column_that_was_emptied_is_found(column: str) -> None:
    index = next(i for i, entry in enumerate(SMALL) if getattr(entry, column) is not None)
    assert verify_entries(with_entry(index, **{column: None})).wrong_seq == index + 1


@given(st.permutations(range(len(SMALL))))
def test_entries_in_another_order_are_found(order: list[int]) -> None:
    verdict = verify_entries([SMALL[index] for index in order])
    moved = [index for index, came in enumerate(order) if index != came]
    assert verdict.wrong_seq == (moved[0] + 1 if moved else None)


@pytest.mark.parametrize("index", range(len(SMALL) - 1))
def test_two_entries_that_swapped_their_numbers_are_found(index: int) -> None:
    entries = list(SMALL)
    first, second = entries[index], entries[index + 1]
    entries[index] = replace(second, seq=first.seq)
    entries[index + 1] = replace(first, seq=second.seq)
    assert verify_entries(entries).wrong_seq == index + 1


@pytest.mark.parametrize("index", range(len(SMALL)))
def test_an_entry_that_came_twice_is_found(index: int) -> None:
    entries = [*SMALL[: index + 1], SMALL[index], *SMALL[index + 1 :]]
    verdict = verify_entries(entries)
    assert verdict.wrong_seq == index + 2
    assert verdict.reason == f"entry {index + 2} is missing: the next one is {index + 1}"


@pytest.mark.parametrize("index", range(len(SMALL) - 1))
def test_an_entry_that_was_dropped_is_found(index: int) -> None:
    entries = [*SMALL[:index], *SMALL[index + 1 :]]
    assert verify_entries(entries).wrong_seq == index + 1


def change_peak(entry: Entry) -> bytes:
    return entry.body.replace(b'"peak_c":240.5', b'"peak_c":245.5')


@pytest.mark.parametrize("index", range(len(SMALL) - 1))
def test_a_changed_entry_with_its_own_hashes_made_anew_is_found_at_the_next_one(
    index: int,
) -> None:
    entries = list(SMALL)
    bodies = {index: change_peak(SMALL[index])}
    assert bodies[index] != SMALL[index].body
    entries[index] = write_again(SMALL, bodies)[index]
    assert verify_entries(entries).wrong_seq == index + 2


def test_a_log_written_anew_as_a_whole_has_another_root() -> None:
    # No look at the log alone can find this; the roots that were printed and noted do.
    forged = write_again(SMALL, {12: change_peak(SMALL[12])})
    verdict = verify_entries(forged)
    assert verdict.is_whole
    assert verdict.root != verify_entries(SMALL).root


@pytest.mark.parametrize(
    ("changed", "number"),
    [({"previous": "00" * 32}, 3), ({"previous": None}, 3), ({"number": 4}, 4), ({"number": 2}, 2)],
)
def test_a_broken_chain_of_a_board_is_found_even_when_the_tree_was_made_anew(
    changed: dict[str, object], number: int
) -> None:
    log = write(tell(n, board_id=7) for n in range(1, 6))
    said = json.loads(log[2].body)
    said["board"].update(changed)
    forged = write_again(log, {2: spell_canonical_json(said)}, since=2)
    forged[2] = replace(forged[2], board_number=number)
    verdict = verify_entries(forged)
    assert verdict.wrong_seq == 3
    assert verdict.reason == "the chain of board 7 breaks here"


def test_a_boards_chain_that_begins_in_its_middle_is_found() -> None:
    body = spell_body(tell(1, board_id=7), seq=1, link=BoardLink(7, 2, bytes(32)))
    (entry,) = write([tell(1, board_id=7)])
    (forged,) = write_again([replace(entry, board_number=2)], {0: body})
    assert verify_entries([forged]).reason == "the chain of board 7 breaks here"


def test_the_chains_of_boards_do_not_mix() -> None:
    log = write(tell(n, board_id=1 + n % 3) for n in range(1, 31))
    assert verify_entries(log).is_whole
    assert [entry.board_number for entry in log if entry.board_id == 2] == list(range(1, 11))


@pytest.mark.parametrize(
    ("body", "reason"),
    [
        (b"", "its text cannot be read"),
        (b"[]", "its text cannot be read"),
        (b"\xff\xfe", "its text cannot be read"),
        (b"{}", "its text cannot be read"),
        (b"[" * 100_000, "its text cannot be read"),
        (b'{"seq":' + b"9" * 5_000 + b"}", "its text cannot be read"),
        (b'{"seq":NaN}', "its text cannot be read"),
        (SMALL[0].body + b" ", "its text is not in canonical form"),
        (SMALL[0].body.replace(b'":', b'": ', 1), "its text is not in canonical form"),
    ],
    ids=lambda value: str(value)[:20],
)
def test_a_text_that_is_no_entry_is_found_whatever_its_hashes_say(body: bytes, reason: str) -> None:
    verdict = verify_entries(write_again(SMALL, {0: body}))
    assert (verdict.wrong_seq, verdict.reason) == (1, reason)


@given(st.binary(max_size=200))
def test_no_text_at_all_makes_the_verifier_fail(body: bytes) -> None:
    assert verify_entries(write_again(SMALL, {5: body}, since=5)).wrong_seq == 6


anything = st.recursive(
    st.none() | st.booleans() | st.integers(-9, 9) | st.floats() | st.text(max_size=3),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=3), inner),
    max_leaves=4,
)


@given(st.data())
def test_no_entry_of_another_form_makes_the_verifier_fail(data: st.DataObject) -> None:
    said = json.loads(SMALL[5].body)
    inside = data.draw(st.sampled_from([said, said["actor"], said["subject"], said["board"]]))
    name = data.draw(st.sampled_from(sorted(inside)))
    if data.draw(st.booleans()):
        del inside[name]
    else:
        inside[name] = data.draw(anything)
    body = json.dumps(said, sort_keys=True, separators=(",", ":")).encode()
    # Another form can tell the same; what it breaks shows here, or where the board's chain goes on.
    assert verify_entries(write_again(SMALL, {5: body}, since=5)).size >= 5


@pytest.mark.parametrize("board", [0, False, [], "", {}, {"id": 1, "number": 3}])
def test_an_entry_with_half_a_place_in_its_boards_chain_cannot_be_read(board: object) -> None:
    log = write(tell(n, board_id=1) for n in range(1, 5))
    said = {**json.loads(log[2].body), "board": board}
    forged = write_again(log, {2: spell_canonical_json(said)}, since=2)
    if not board:
        forged[2] = replace(forged[2], board_id=None, board_number=None)
    verdict = verify_entries(forged)
    assert (verdict.wrong_seq, verdict.reason) == (3, "its text cannot be read")


def test_what_was_proven_before_a_fault_is_told_with_it() -> None:
    verdict = verify_entries(with_entry(8, action="x"))
    assert verdict.size == 8
    assert verdict.root == SMALL[7].root
    assert (verdict.first_at, verdict.last_at) == (SMALL[0].at, SMALL[7].at)
    assert SMALL[0].actor_id == ODILE.account_id
