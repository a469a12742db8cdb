"""The screens of history, without a browser."""

import csv
import hashlib
import io
import json
import re

import pytest
from fastapi import FastAPI
from fastapi.routing import iter_route_contexts
from fastapi.testclient import TestClient

from app.accounts.rules import Person
from app.boards.queries import get_assembly
from app.boards.service import add_revision, edit_board, register_boards
from app.core.canonical_json import spell_canonical_json
from app.core.cells import guard_cell
from app.core.db import Sessions
from app.history.pages.parts import PLACES
from app.history.words import WORDS
from tests.conftest import SignedIn
from tests.history.conftest import Tamper, Teller, read_story
from tests.jobs.conftest import Shop

PAGE = "/boards/1/history"


def get_state_line(page: str) -> str:
    found = re.search(r'<p class="log-line[^"]*">(.*?)</p>', page, re.DOTALL)
    assert found is not None
    return re.sub(r"<[^>]+>|\s+", " ", found[1]).strip()


def test_the_page_says_first_that_the_log_verifies_and_since_when(
    signed_in: SignedIn, anselm: Person, job_id: int
) -> None:
    page = signed_in(anselm).get(PAGE).text
    line = " ".join(get_state_line(page).split())
    assert line.startswith("● The log verifies : ")
    assert "entries, whole since 2026-03-04 09:00:00 +00:00 · checked 2026-03-04 09:00" in line


def test_each_line_has_its_people_recipe_lots_picture_and_entries(
    signed_in: SignedIn, odile: Person, job_id: int
) -> None:
    page = signed_in(odile).get(PAGE).text
    assert page.count('class="number"') == 16
    assert '<img src="/runs/2/picture.svg" width="150" height="75"' in page
    assert 'loading="lazy"' in page
    assert '<a class="trace" href="/runs/3">' in page
    assert "LIM-U3 rev 1" in page
    assert "flux: F-2231" in page
    assert 'corrected by <a href="#entry-5">entry 5</a>' in page
    assert "&#34;action&#34;: &#34;jobs.lift_hold&#34;" in page
    assert "/audit/" not in page.split("<main")[1]


def test_a_changed_step_value_is_named_at_the_top_and_at_its_line(
    signed_in: SignedIn, anselm: Person, job_id: int, tamper: Tamper
) -> None:
    tamper("UPDATE step_entries SET remark = 'all fine' WHERE id = 1")
    page = signed_in(anselm).get(PAGE).text
    assert "entry 1 on remove of U3 in J-00001: its remark is all fine" in page
    assert '<p class="fault">■ its remark is all fine' in page
    assert page.count('class="differs"') == 1


def test_changed_figures_of_a_shown_run_are_named(
    signed_in: SignedIn, anselm: Person, job_id: int, tamper: Tamper
) -> None:
    tamper("UPDATE runs SET figures = '{}' WHERE id = 3")
    page = signed_in(anselm).get(PAGE).text
    assert "Run 3, reflow of U3: complete: its figures&#39; digest is" in page


def test_a_changed_entry_is_named_in_the_state_line(
    signed_in: SignedIn, anselm: Person, sessions: Sessions, job_id: int, tamper: Tamper
) -> None:
    seq = read_story(sessions, 1).records.entries[2].seq
    tamper("UPDATE audit_entries SET job_id = 77 WHERE seq = :seq", seq=seq)
    page = signed_in(anselm).get(PAGE).text
    assert f"The log does NOT verify : entry {seq}: its column job_id says 77" in " ".join(
        get_state_line(page).split()
    )
    assert "This board&#39;s own entries do NOT verify" in page


def test_the_filter_shows_its_lines_and_refuses_by_field(
    signed_in: SignedIn, odile: Person, job_id: int
) -> None:
    client = signed_in(odile)
    page = client.get(PAGE, params={"kind": "run", "designator": "u3", "from": "2026-03-04"}).text
    assert page.count('class="number"') == 3
    assert "No line of this board" in client.get(PAGE, params={"to": "2026-03-03"}).text
    for query, sentence in (
        ({"from": "0000-01-01"}, "From day must be a day like 2026-03-04"),
        ({"from": "1999-12-31"}, "From day must lie between 2000 and 2199"),
        ({"from": "2026-03-04", "to": "2026-03-03"}, "To day lies before 2026-03-04"),
        ({"job": "J-none"}, "Job must be a job"),
        ({"kind": "magic"}, "Kind must be one of board"),
        ({"person": "-1"}, "Person must be a whole number from 1"),
        ({"person": "9" * 12}, "Person must be a whole number from 1"),
    ):
        answer = client.get(PAGE, params=query)
        assert answer.status_code == 422
        assert sentence in answer.text


@pytest.mark.parametrize(
    "query",
    ["page=0", "page=x", "view=other", "designator=%00", "job=" + "x" * 70, "person=%C3%BC"],
)
def test_nonsense_in_the_address_is_refused(
    signed_in: SignedIn, odile: Person, job_id: int, query: str
) -> None:
    assert signed_in(odile).get(f"{PAGE}?{query}").status_code == 422


def test_a_long_story_comes_in_pieces_and_whole_for_print(
    signed_in: SignedIn, odile: Person, teller: Teller
) -> None:
    for _ in range(8):
        teller.tell_plain()
    client = signed_in(odile)
    first = client.get(PAGE).text
    assert first.count('class="number"') == 100
    assert "Lines 1 to 100 of 104, oldest first" in first
    last = client.get(PAGE, params={"page": 99}).text
    assert last.count('class="number"') == 4
    whole = client.get(PAGE, params={"view": "print"}).text
    assert whole.count('class="number"') == 104
    assert "<pre>" not in whole


def test_an_unknown_board_is_refused(signed_in: SignedIn, odile: Person) -> None:
    for path in ("/boards/99/history", "/boards/99/history.csv", "/boards/99/history.json"):
        assert signed_in(odile).get(path).status_code == 404


def test_the_table_holds_every_line(signed_in: SignedIn, odile: Person, job_id: int) -> None:
    answer = signed_in(odile).get(f"{PAGE}.csv")
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    assert 'filename="history-0417.csv"' in answer.headers["content-disposition"]
    rows = list(csv.DictReader(io.StringIO(answer.text.removeprefix("\ufeff"))))
    assert len(rows) == 16
    assert rows[6]["what"] == "Run 2, remove of U3: complete"
    assert len(rows[6]["leaf_hashes"].split()) == 2
    assert rows[3]["details"] == "Reason: Wrong nozzle"
    filtered = signed_in(odile).get(f"{PAGE}.csv", params={"kind": "hold"}).text
    assert len(filtered.splitlines()) == 3


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "＝"])
def test_no_cell_can_be_taken_for_a_formula(start: str) -> None:
    assert guard_cell(f"{start}1+1") == f"'{start}1+1"
    assert guard_cell(f"a{start}1") == f"a{start}1"


def test_a_formula_as_a_serial_or_a_note_stays_text_in_the_table(
    signed_in: SignedIn, shop: Shop, odile: Person, ines: Person
) -> None:
    with shop.sessions.write() as session:
        (board,) = register_boards(
            session, get_assembly(session, 1), ["=SUM(A1)"], person=odile, now=shop.now
        )
        edit_board(session, board, note="@cmd", person=odile, now=shop.now)
        session.commit()
        board_id = board.id
    answer = signed_in(ines).get(f"/boards/{board_id}/history.csv")
    assert 'filename="history--SUM-A1-.csv"' in answer.headers["content-disposition"]
    cells = [cell for row in csv.reader(io.StringIO(answer.text)) for cell in row]
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@"))]
    assert any("=SUM(A1)" in cell for cell in cells)


def test_the_whole_record_can_be_checked_elsewhere(
    signed_in: SignedIn, anselm: Person, job_id: int
) -> None:
    told = json.loads(signed_in(anselm).get(f"{PAGE}.json").text)
    previous = None
    for number, entry in enumerate(told["entries"], start=1):
        body = entry["body"].encode()
        assert hashlib.sha256(b"\0" + body).hexdigest() == entry["leaf_hash"]
        said = json.loads(body)
        assert said["board"] == {"id": 1, "number": number, "previous": previous}
        previous = entry["leaf_hash"]
    for name in told["names"]:
        names = spell_canonical_json({"name": name["name"], "username": name["username"]})
        made = hashlib.sha256(bytes.fromhex(name["salt"]) + names).hexdigest()
        assert made == name["commitment"]
    assert {name["name"] for name in told["names"]} == {"Odile Maasland", "Ines Tarvonen"}
    assert len(told["lines"]) == 16
    assert told["log"]["wrong_entry"] is None
    assert told["differences"] == []


def test_nobody_sees_nothing(nobody: TestClient, job_id: int) -> None:
    for path in (PAGE, f"{PAGE}.csv", f"{PAGE}.json", "/find?q=0417", "/audit", "/audit/1"):
        answer = nobody.get(path)
        assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in")


def test_an_operator_has_no_audit_trail_and_cannot_verify(
    signed_in: SignedIn, odile: Person, job_id: int
) -> None:
    client = signed_in(odile)
    for path in ("/audit", "/audit/1", "/audit/verification"):
        assert client.get(path).status_code == 403
    assert client.post("/audit/verification").status_code == 403
    assert client.post("/audit/verification/stop").status_code == 403


def test_the_trail_shows_the_newest_first_and_filters(
    signed_in: SignedIn, anselm: Person, ines: Person, job_id: int
) -> None:
    client = signed_in(anselm)
    page = client.get("/audit").text
    seqs = [int(found) for found in re.findall(r'<th scope="row"><a href="/audit/(\d+)">', page)]
    assert seqs == sorted(seqs, reverse=True)
    assert "Job closed" in page
    some = client.get("/audit", params={"action": "jobs.lift_hold"}).text
    assert len(re.findall(r'<th scope="row"><a href="/audit/', some)) == 1
    assert "Ines Tarvonen" in some
    run = client.get("/audit", params={"subject": "run", "number": "2"}).text
    assert len(re.findall(r'<th scope="row"><a href="/audit/', run)) == 2
    assert "No entry fits" in client.get("/audit", params={"from": "2027-01-01"}).text
    refused = client.get("/audit", params={"to": "yesterday"})
    assert refused.status_code == 422
    assert "To day must be a day like" in refused.text
    assert client.get("/audit?cursor=nonsense").status_code == 422


def test_an_entry_is_shown_whole_with_its_neighbours(
    signed_in: SignedIn, anselm: Person, sessions: Sessions, job_id: int
) -> None:
    entries = read_story(sessions, 1).records.entries
    entry = entries[3]
    page = signed_in(anselm).get(f"/audit/{entry.seq}").text
    assert entry.leaf_hash.hex() in page
    assert "The text has the hash that was stored with it" in page
    assert f'href="/audit/{entries[2].seq}"' in page
    assert f'href="/audit/{entries[4].seq}"' in page
    assert 'href="/jobs/1"' in page
    assert signed_in(anselm).get("/audit/999999").status_code == 404


def test_every_thing_the_trail_links_to_has_a_page(house: FastAPI) -> None:
    paths = {
        re.sub(r"\{[a-z_]+\}", "{id}", context.path)
        for context in iter_route_contexts(house.routes)
        if context.path is not None
    }
    assert set(PLACES.values()) <= paths


def test_every_action_that_was_told_has_its_words(sessions: Sessions, job_id: int) -> None:
    told = {entry.action for entry in read_story(sessions, 1).records.entries}
    assert told <= set(WORDS)


def find(client: TestClient, text: str) -> str:
    answer = client.get("/find", params={"q": text})
    return answer.headers.get("location", answer.text)


def test_a_scan_goes_straight_to_the_board_or_the_job(
    signed_in: SignedIn, odile: Person, job_id: int
) -> None:
    client = signed_in(odile)
    assert find(client, " 0417 ") == "/boards/1/history"
    assert find(client, "J-00001") == "/jobs/1"
    assert find(client, "j1") == "/jobs/1"
    assert find(client, "nc-2291") == "/jobs/1"


def test_what_is_not_there_shows_what_is_similar_or_how_to_register(
    signed_in: SignedIn, odile: Person, anselm: Person, job_id: int
) -> None:
    client = signed_in(odile)
    assert 'href="/boards/1/history"' in find(client, "041")
    nothing = find(client, "ZZ-9")
    assert "No board has the serial ZZ-9" in nothing
    assert "Choose its assembly" in nothing
    assert "Choose its assembly" not in find(signed_in(anselm), "ZZ-9")
    assert "There is no job J-00999" in find(client, "J-00999")
    assert "%_" in find(client, "%_")


def test_one_serial_on_two_assemblies_shows_both(
    signed_in: SignedIn, shop: Shop, odile: Person, ines: Person
) -> None:
    with shop.sessions.write() as session:
        other = add_revision(session, get_assembly(session, 1), "C", person=ines, now=shop.now)
        register_boards(session, other, ["0417"], person=odile, now=shop.now)
        session.commit()
    page = find(signed_in(odile), "0417")
    assert "2 boards have the serial 0417" in page
    assert page.count('/history"') == 2


@pytest.mark.parametrize("typed", ["a\x00b", "\x1b[31m"])
def test_a_scan_with_control_characters_is_refused(
    signed_in: SignedIn, odile: Person, typed: str
) -> None:
    answer = signed_in(odile).get("/find", params={"q": typed})
    assert answer.status_code == 422
    assert "which no text may hold" in answer.text


def test_an_empty_search_shows_where_to_type(signed_in: SignedIn, odile: Person) -> None:
    assert signed_in(odile).get("/find").status_code == 200
