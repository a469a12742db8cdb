"""The screens of benches, without a browser."""

from fastapi.testclient import TestClient
from sqlalchemy import select

from app.accounts.rules import Person
from app.plant.tables import Bench
from tests.conftest import Look, SignedIn


def test_an_administrator_adds_a_bench_and_reads_that_it_was_done(
    signed_in: SignedIn, ada: Person
) -> None:
    client = signed_in(ada)
    answer = client.post("/setup/benches", data={"code": "B1", "title": "Window"})
    assert answer.status_code == 303
    page = client.get(answer.headers["location"]).text
    assert "The bench was added." in page
    assert ">B1</a>" in page


def test_a_refused_form_keeps_what_was_typed_and_names_the_field(
    signed_in: SignedIn, ada: Person, look: Look
) -> None:
    answer = signed_in(ada).post("/setup/benches", data={"code": "", "title": "Window & door"})
    assert answer.status_code == 422
    assert 'value="Window &amp; door"' in answer.text
    assert "Code is missing" in answer.text
    assert look(select(Bench)) == []


def test_a_form_from_another_sign_in_changes_nothing(
    signed_in: SignedIn, ada: Person, look: Look
) -> None:
    client = signed_in(ada)
    client.headers["X-CSRF-Token"] = "somebody else's"
    assert client.post("/setup/benches", data={"code": "B1", "title": "W"}).status_code == 403
    assert look(select(Bench)) == []


def test_an_operator_sees_the_benches_but_no_form(signed_in: SignedIn, odile: Person) -> None:
    page = signed_in(odile).get("/setup/benches").text
    assert "No bench yet" in page
    assert "Add a bench" not in page


def test_nobody_is_sent_to_sign_in(nobody: TestClient) -> None:
    answer = nobody.get("/setup/benches")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/sign-in"
