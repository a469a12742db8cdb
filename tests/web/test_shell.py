"""What a page says after a change comes from the house's own list, never from the address."""

from dataclasses import dataclass

import pytest
from fastapi.testclient import TestClient
from jinja2 import UndefinedError

from app.accounts.rules import Person
from app.web import templates
from app.web.shell import SAID, add_notices, go_to
from tests.conftest import SignedIn


@dataclass(frozen=True)
class Page:
    """A page with one name."""

    title: str


@pytest.fixture
def client(signed_in: SignedIn, ada: Person) -> TestClient:
    return signed_in(ada)


def test_a_change_leads_to_a_page_that_says_what_was_done(client: TestClient) -> None:
    sent = client.post("/setup/benches", data={"code": "B1", "title": "By the window"})
    assert (sent.status_code, sent.headers["location"]) == (303, "/setup/benches?said=bench-added")
    page = client.get(sent.headers["location"]).text
    assert f'role="status">{SAID["bench-added"]}</p>' in page


@pytest.mark.parametrize("said", ["nonsense", "<b>bold</b>", "", "__class__", "x" * 5_000])
def test_an_address_cannot_put_words_into_a_page(client: TestClient, said: str) -> None:
    page = client.get("/setup/benches", params={"said": said})
    assert page.status_code == 200
    assert 'role="status"' not in page.text
    assert "<b>bold</b>" not in page.text


def test_a_key_stands_for_one_sentence() -> None:
    assert SAID
    taken = next(iter(SAID))
    with pytest.raises(ValueError, match=taken):
        add_notices({taken: "Something else."})
    assert all(sentence.endswith(".") for sentence in SAID.values())


def test_the_key_joins_an_address_that_asks_something_already() -> None:
    assert go_to("/jobs?mine=1", said="a&b").headers["location"] == "/jobs?mine=1&said=a%26b"
    assert go_to("/jobs").headers["location"] == "/jobs"
    assert go_to("/jobs").status_code == 303


def render(text: str) -> str:
    return templates._environment.from_string(text).render(page=Page("a < b & c"))


def test_a_template_that_asks_for_what_is_not_there_fails_instead_of_showing_nothing() -> None:
    with pytest.raises(UndefinedError, match="absent"):
        render("{{ page.absent }}")
    with pytest.raises(UndefinedError, match="other"):
        render("{{ other }}")
    with pytest.raises(UndefinedError):
        render("{% if page.absent %}x{% endif %}")


def test_what_a_template_shows_is_text_and_never_markup() -> None:
    assert render("{{ page.title }}") == "a &lt; b &amp; c"


def test_a_text_that_utf8_cannot_hold_is_shown_with_a_mark_in_its_place() -> None:
    page = Page("half of a pair: \ud800")
    with pytest.MonkeyPatch.context() as patch:
        text = templates._environment.from_string("{{ page.title }}")
        patch.setattr(templates._environment, "get_template", lambda _: text)
        assert templates.render("x.html", page).body == b"half of a pair: ?"
