"""Verifying: at each look, as a whole, over REST, and on the terminal."""

import os
import subprocess
import sys

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import text

from app.accounts.rules import Person
from app.audit.verifier import LogVerifier
from app.core.db import Sessions
from app.core.settings import Settings
from app.history import log_state
from app.history.log_state import LogState
from app.history.queries import AnyRow
from app.history.rules import NoVerificationRunning, VerificationRunning
from app.history.sweep import Swept
from app.history.watch import find_log_state, find_next_night
from tests.conftest import NOW, PROJECT, MovableClock, SignedIn
from tests.history.conftest import Tamper, Teller, read_story
from tests.jobs.conftest import Shop

REST = "/api/v1/audit-log/verification"


@pytest.fixture
def state(sessions: Sessions, clock: MovableClock) -> LogState:
    return LogState(sessions, clock)


def check(state: LogState) -> log_state.WholeCheck:
    state.start_check()
    state.wait()
    found = state.look().last_check
    assert found is not None
    return found


def test_a_look_proves_what_is_new_and_nothing_twice(
    state: LogState, teller: Teller, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = state.look().proven
    assert first.wrong is None
    assert first.first_at == NOW
    proven: list[int] = []
    plain = LogVerifier.find_fault

    def note(verifier: LogVerifier, entry: AnyRow) -> str | None:
        proven.append(entry.seq)
        return plain(verifier, entry)

    monkeypatch.setattr(LogVerifier, "find_fault", note)
    teller.tell_plain()
    second = state.look().proven
    assert proven == list(range(first.size + 1, second.size + 1))
    assert second.root != first.root


def test_a_changed_new_entry_is_found_at_the_next_look(
    state: LogState, teller: Teller, tamper: Tamper
) -> None:
    size = state.look().proven.size
    teller.tell_plain()
    tamper("UPDATE audit_entries SET action = 'jobs.none' WHERE seq = :seq", seq=size + 3)
    wrong = state.look().proven.wrong
    assert wrong is not None
    assert wrong.seq == size + 3


def test_a_dropped_newest_entry_is_found_at_the_next_look(
    state: LogState, tamper: Tamper, job_id: int
) -> None:
    size = state.look().proven.size
    tamper("DELETE FROM audit_entries WHERE seq = :seq", seq=size)
    wrong = state.look().proven.wrong
    assert wrong is not None
    assert (wrong.seq, wrong.reason) == (size, f"entry {size} was there and is missing now")


def test_a_changed_old_entry_is_found_by_a_whole_check(
    state: LogState, tamper: Tamper, job_id: int
) -> None:
    assert state.look().proven.wrong is None
    tamper("UPDATE audit_entries SET action = 'jobs.none' WHERE seq = 8")
    assert state.look().proven.wrong is None
    found = check(state)
    assert found.wrong is not None
    assert (found.wrong.seq, found.size) == (8, 7)
    assert state.look().proven.wrong == found.wrong


def test_a_whole_check_counts_and_names_records_that_differ(
    state: LogState, tamper: Tamper, job_id: int
) -> None:
    whole = check(state)
    assert whole.is_whole
    assert whole.records > 0
    tamper("UPDATE step_entries SET remark = 'x' WHERE id = 1")
    after = check(state)
    assert not after.is_whole
    assert after.wrong is None
    assert after.difference_count == 1
    assert after.differences[0].name == "entry 1 on remove of U3 in J-00001"


def test_one_check_runs_at_a_time_and_can_be_stopped(
    state: LogState, job_id: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(NoVerificationRunning):
        state.stop_check()
    monkeypatch.setattr(log_state, "sweep", lambda _: iter(lambda: Swept(0, ()), None))
    state.start_check()
    with pytest.raises(VerificationRunning):
        state.start_check()
    state.stop_check()
    state.wait()
    standing = state.look()
    assert standing.running is None
    assert standing.failure == "it was stopped"
    assert standing.last_check is None


def test_a_long_log_is_left_to_the_background(
    state: LogState, job_id: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(log_state, "AT_ONCE", 5)
    monkeypatch.setattr(log_state, "PIECE", 4)
    assert state.look().proven.waiting > 0
    state.wait()
    after = state.look()
    assert after.proven.waiting == 0
    assert after.last_check is not None
    assert after.last_check.size == after.proven.size


def test_a_database_that_goes_away_is_said_and_not_a_crash(
    state: LogState, job_id: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_: object) -> int:
        raise RuntimeError("gone")

    monkeypatch.setattr(log_state, "count_records", fail)
    state.start_check()
    state.wait()
    assert state.look().failure == "the database did not answer; see the service's log"


def test_the_service_verifies_when_it_starts_and_stops_in_order(
    house: FastAPI, job_id: int
) -> None:
    with TestClient(house):
        find_log_state(house).wait()
        assert find_log_state(house).look().last_check is not None


def test_the_night_is_the_plants_own(settings: Settings) -> None:
    assert find_next_night(NOW, settings.zone).isoformat() == "2026-03-05T02:30:00+00:00"
    early = NOW.replace(hour=1)
    assert find_next_night(early, settings.zone).isoformat() == "2026-03-04T02:30:00+00:00"


def test_verifying_on_the_page_shows_size_root_and_the_first_wrong_entry(
    house: FastAPI, signed_in: SignedIn, anselm: Person, tamper: Tamper, job_id: int
) -> None:
    client = signed_in(anselm)
    assert "was not verified yet" in client.get("/audit/verification").text
    assert client.post("/audit/verification").headers["location"].startswith("/audit/verification")
    find_log_state(house).wait()
    page = client.get("/audit/verification").text
    assert find_log_state(house).look().proven.root.hex() in page
    tamper("UPDATE audit_entries SET action = 'jobs.none' WHERE seq = 8")
    tamper("UPDATE step_entries SET remark = 'x' WHERE id = 1")
    client.post("/audit/verification")
    find_log_state(house).wait()
    page = client.get("/audit/verification").text
    assert "Entry 8: its column action says" in page
    assert "entry 1 on remove of U3 in J-00001" in page
    stopped = client.post("/audit/verification/stop").headers["location"]
    assert "said=verification-over" in stopped


def test_verifying_over_rest(
    house: FastAPI, signed_in: SignedIn, anselm: Person, odile: Person, job_id: int
) -> None:
    client = signed_in(anselm)
    begun = client.post(REST)
    assert begun.status_code == 202
    find_log_state(house).wait()
    told = client.get(REST).json()
    assert told["verifies"] is True
    assert told["last_check"]["is_whole"] is True
    assert told["last_check"]["root"] == told["root"]
    assert client.delete(REST).json()["code"] == "history.no_verification_running"
    assert signed_in(odile).get(REST).status_code == 403
    assert signed_in(odile).post(REST).status_code == 403


def test_the_trail_over_rest_comes_in_pieces_with_exact_texts(
    signed_in: SignedIn, anselm: Person, odile: Person, job_id: int
) -> None:
    client = signed_in(anselm)
    first = client.get("/api/v1/audit-entries?limit=3").json()
    seqs = [entry["seq"] for entry in first["items"]]
    assert seqs == sorted(seqs, reverse=True)
    rest = client.get("/api/v1/audit-entries", params={"cursor": first["next_cursor"]}).json()
    assert rest["items"][0]["seq"] == seqs[-1] - 1
    one = client.get(f"/api/v1/audit-entries/{seqs[0]}").json()
    assert one == first["items"][0]
    assert one["said"]["seq"] == seqs[0]
    assert client.get("/api/v1/audit-entries/99999").json()["code"] == "history.entry_unknown"
    assert client.get("/api/v1/audit-entries?person=x").json()["faults"][0]["field"] == "person"
    assert signed_in(odile).get("/api/v1/audit-entries").status_code == 403


def test_a_history_over_rest_comes_in_pieces(
    signed_in: SignedIn, odile: Person, job_id: int
) -> None:
    client = signed_in(odile)
    path = "/api/v1/boards/1/history"
    first = client.get(path, params={"limit": 10}).json()
    rest = client.get(path, params={"cursor": first["next_cursor"]}).json()
    lines = [line["line"] for line in (*first["items"], *rest["items"])]
    assert lines == list(range(1, 17))
    assert rest["next_cursor"] is None
    assert first["items"][6]["entries"][1]["body"].startswith('{"action":"jobs.complete_run"')
    assert client.get("/api/v1/boards/99/history").status_code == 404


def open_one_lock(sessions: Sessions) -> None:
    with sessions.write.begin() as session:
        if session.get_bind().dialect.name == "sqlite":
            session.execute(text("DROP TRIGGER step_entries_no_update"))
        else:
            session.execute(text("ALTER TABLE step_entries DISABLE TRIGGER step_entries_no_update"))


def test_an_open_lock_is_named_by_the_whole_check_the_page_and_rest(
    house: FastAPI, signed_in: SignedIn, anselm: Person, sessions: Sessions, job_id: int
) -> None:
    client = signed_in(anselm)
    client.post(REST)
    find_log_state(house).wait()
    held = client.get(REST).json()["last_check"]
    assert (held["is_whole"], held["open_locks"]) == (True, [])
    assert f"all {held['locks']} hold" in client.get("/audit/verification").text
    open_one_lock(sessions)
    client.post(REST)
    find_log_state(house).wait()
    found = client.get(REST).json()["last_check"]
    assert (found["is_whole"], found["difference_count"]) == (False, 0)
    assert [lock["trigger"] for lock in found["open_locks"]] == ["step_entries_no_update"]
    page = client.get("/audit/verification").text
    assert "locks are open" in page
    assert f"1 of {held['locks']} do not hold" in page
    assert "step_entries_no_update on the table step_entries" in page
    assert "put it back" in page
    assert "a lock of the database is open: step_entries_no_update" in client.get("/audit").text


def test_the_command_names_an_open_lock(settings: Settings, sessions: Sessions, shop: Shop) -> None:
    open_one_lock(sessions)
    done = run_verify(settings)
    assert done.returncode == 1
    assert "Lock open: step_entries_no_update on the table step_entries" in done.stdout
    assert "The log is whole" in done.stdout
    assert "Every record is as the log tells" in done.stdout


def run_verify(settings: Settings) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "app.cli", "verify"],
        cwd=PROJECT,
        env={**os.environ, "WICKBOOK_DATABASE_URL": settings.database_url},
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_command_says_that_all_is_whole(settings: Settings, shop: Shop) -> None:
    done = run_verify(settings)
    assert done.returncode == 0, done.stderr
    assert "Every lock of the database holds" in done.stdout
    assert "The log is whole" in done.stdout
    assert "Every record is as the log tells" in done.stdout


def test_the_command_names_the_first_wrong_entry_and_every_record(
    settings: Settings, sessions: Sessions, tamper: Tamper
) -> None:
    seq = read_story(sessions, 1).records.entries[2].seq
    tamper("DELETE FROM audit_entries WHERE seq = :seq", seq=seq)
    tamper("UPDATE traces SET samples = :blob WHERE id = 2", blob=b"\0")
    done = run_verify(settings)
    assert done.returncode == 1
    assert f"Entry {seq} is wrong: entry {seq} is missing" in done.stdout
    assert "Record differs: trace 2: its samples" in done.stdout
