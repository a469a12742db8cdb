"""Records changed past every lock: each is found, and named."""

import pytest

from app.core.db import Sessions
from app.history.sweep import sweep
from tests.history.conftest import Tamper, read_story
from tests.jobs.conftest import Shop


def find_differences(sessions: Sessions) -> list[str]:
    return [str(one) for swept in sweep(sessions) for one in swept.differences]


def test_a_house_that_nobody_touched_differs_in_nothing(sessions: Sessions, job_id: int) -> None:
    assert find_differences(sessions) == []


@pytest.mark.parametrize(
    ("statement", "named"),
    [
        (
            "UPDATE step_entries SET \"values\" = '{\"used\": []}' WHERE id = 2",
            "entry 2 on dress of U3 in J-00001: its list of values",
        ),
        ("UPDATE step_entries SET lots = '[]' WHERE id = 3", "entry 3 on deposit of U3"),
        ("UPDATE step_entries SET remark = 'fine' WHERE id = 1", "its remark is fine"),
        ("UPDATE step_entries SET by_id = 2 WHERE id = 1", "its signing person is 2"),
        ("UPDATE step_entries SET at = '2026-01-01 00:00:00' WHERE id = 1", "its moment is"),
        ("UPDATE runs SET verdict = 'better' WHERE id = 3", "run 3 of U3 in J-00001: its verdict"),
        ("UPDATE runs SET window_use_pct = 12 WHERE id = 3", "its window use is 12"),
        ("UPDATE runs SET figures = '{}' WHERE id = 3", "its figures' digest"),
        ("UPDATE runs SET clearance = '{}' WHERE id = 3", "run 3 of U3 in J-00001: its clearance"),
        ("UPDATE runs SET remark = 'x' WHERE id = 3", "run 3 of U3 in J-00001: its remark"),
        ("UPDATE runs SET state = 'recording', ended_at = NULL WHERE id = 1", "its state is"),
        ("UPDATE jobs SET reason = 'Something else'", "job J-00001: its reason"),
        ("UPDATE jobs SET outcome = 'rejected'", "job J-00001: its outcome is rejected"),
        ("UPDATE jobs SET clearance = '{}'", "job J-00001: its clearance"),
        ("UPDATE jobs SET closing_remark = ''", "job J-00001: its closing remark"),
        ("UPDATE job_holds SET reason = 'None'", "hold on J-00001: its reason"),
        ("DELETE FROM job_holds", "its record is gone"),
        ("DELETE FROM step_entries WHERE id = 7", "its record is gone"),
        ("UPDATE boards SET serial = '0418'", "board 0418: its serial is 0418"),
        ("UPDATE boards SET scrapped_at = '2026-01-01 00:00:00'", "its scrapping is"),
        ("UPDATE traces SET samples_sha256 = file_sha256 WHERE id = 2", "its samples' digest"),
        ("UPDATE traces SET channels = '[]' WHERE id = 2", "its list of channels"),
        ("UPDATE name_cards SET name = 'Somebody' WHERE username = 'odile'", "the name Somebody"),
        ("UPDATE accounts SET name = 'Somebody' WHERE username = 'odile'", "account odile"),
        (
            "UPDATE recipe_revisions SET digest = replace(digest, 'a', 'b')",
            "LIM-U3 revision 1: its digest",
        ),
        ("UPDATE recipe_revisions SET approved_by_id = 1", "LIM-U3 revision 1: its approver"),
        ("UPDATE recipe_revisions SET title = 'Other'", "recipe LIM-U3 revision 1: its title"),
    ],
)  # fmt: skip
def test_a_changed_record_is_found_and_named(
    sessions: Sessions, shop: Shop, job_id: int, tamper: Tamper, statement: str, named: str
) -> None:
    tamper(statement)
    found = find_differences(sessions)
    assert any(named in sentence for sentence in found), found


def test_changed_samples_are_found_and_named(
    sessions: Sessions, job_id: int, tamper: Tamper
) -> None:
    tamper("UPDATE traces SET samples = :blob WHERE id = 2", blob=b"\0\1\2")
    (found,) = find_differences(sessions)
    assert found.startswith("trace 2: its samples do not have the digest")


def test_a_changed_file_is_found_and_named(sessions: Sessions, job_id: int, tamper: Tamper) -> None:
    tamper("UPDATE stored_files SET content_zstd = :blob", blob=b"nothing")
    (found,) = find_differences(sessions)
    assert found.startswith("file ")
    assert "was changed in the database" in found


def test_a_changed_recipe_text_is_found_on_the_page_and_by_the_sweep(
    sessions: Sessions, shop: Shop, job_id: int, tamper: Tamper
) -> None:
    tamper("UPDATE recipe_revisions SET body = :body", body=b'{"format":1}')
    assert any("the text was changed" in sentence for sentence in find_differences(sessions))
    story = read_story(sessions, shop.board_id)
    opened = next(line for line in story.lines if "opened" in line.what)
    assert "the text was changed" in opened.faults[0]


def test_a_record_that_nobody_told_of_is_shown_as_such(
    sessions: Sessions, shop: Shop, job_id: int, tamper: Tamper
) -> None:
    tamper(
        'INSERT INTO step_entries (id, step_id, kind, "values", lots, remark, corrects_id, '
        "by_id, at) SELECT 99, step_id, 'correction', '{}', '[]', 'slipped in', id, by_id, at "
        "FROM step_entries WHERE id = 2"
    )
    story = read_story(sessions, shop.board_id)
    assert story.lines[-1].what == "A record without an entry: step entry 99"
    assert story.lines[-1].faults == ("no entry of the log tells of it",)


def test_a_changed_entry_breaks_the_boards_own_chain(
    sessions: Sessions, shop: Shop, job_id: int, tamper: Tamper
) -> None:
    story = read_story(sessions, shop.board_id)
    victim = story.records.entries[4]
    tamper(
        "UPDATE audit_entries SET body = :body WHERE seq = :seq",
        body=victim.body.replace(b"Nozzle came", b"Nozzle came!"),
        seq=victim.seq,
    )
    fault = read_story(sessions, shop.board_id).chain_fault
    assert fault is not None
    assert fault.seq == victim.seq
    assert "hash" in fault.reason


def test_a_dropped_entry_breaks_the_boards_own_chain(
    sessions: Sessions, shop: Shop, job_id: int, tamper: Tamper
) -> None:
    story = read_story(sessions, shop.board_id)
    victim, following = story.records.entries[4:6]
    tamper("DELETE FROM audit_entries WHERE seq = :seq", seq=victim.seq)
    after = read_story(sessions, shop.board_id)
    assert after.chain_fault is not None
    assert after.chain_fault.seq == following.seq
    assert "entry 5 is missing" in after.chain_fault.reason


def test_an_entry_whose_text_is_no_json_is_named_and_not_a_crash(
    sessions: Sessions, shop: Shop, job_id: int, tamper: Tamper
) -> None:
    seq = read_story(sessions, shop.board_id).records.entries[4].seq
    for body in (
        b"\xff\xfe",
        b"[]",
        b'{"details": 5, "actor": "x", "board": 7}',
        b'{"actor":{"person":null},"details":{"a":1e999}}',
        b'{"actor":{"person":null},"details":' + b'{"a":' * 100_000,
    ):
        tamper("UPDATE audit_entries SET body = :body WHERE seq = :seq", body=body, seq=seq)
        fault = read_story(sessions, shop.board_id).chain_fault
        assert fault is not None
        assert fault.seq == seq


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("at", "2026-01-01 00:00:00+00:00"),
        ("actor_id", 2),
        ("action", "jobs.close"),
        ("subject_kind", "run"),
        ("subject_id", 77),
        ("job_id", 77),
    ],
)
def test_a_column_that_says_otherwise_is_named(
    sessions: Sessions, shop: Shop, job_id: int, tamper: Tamper, column: str, value: str | int
) -> None:
    seq = read_story(sessions, shop.board_id).records.entries[3].seq
    if column == "at" and sessions.engine.dialect.name == "sqlite":
        value = "2026-01-01 00:00:00"
    literal = f"'{value}'" if isinstance(value, str) else value
    tamper(f"UPDATE audit_entries SET {column} = {literal} WHERE seq = :seq", seq=seq)
    fault = read_story(sessions, shop.board_id).chain_fault
    assert fault is not None
    assert (fault.seq, f"its column {column} says" in fault.reason) == (seq, True)
