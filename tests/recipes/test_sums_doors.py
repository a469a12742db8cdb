"""The sums through their screens and their routes."""

from html import unescape
from urllib.parse import urlencode

import pytest
from fastapi.testclient import TestClient

from app.accounts.rules import Person
from app.recipes.sums.sheets import JOINT, LUMPED, SHEETS, STENCIL, SumSheet
from tests.conftest import SignedIn
from tests.recipes.conftest import Make

HOSTILE = ("", " ", "\x00", "\ud800", "1e999 mm", "-" * 300, "٣ mm", "nan", "9" * 5000, "<b>", "%")


def ask(client: TestClient, sheet: SumSheet, **changes: str) -> tuple[int, str]:
    answer = client.get(f"{sheet.href}?{urlencode({**sheet.example, **changes})}")
    return answer.status_code, unescape(answer.text)


def test_the_list_of_recipes_leads_to_the_sums(signed_in: SignedIn, odile: Person) -> None:
    client = signed_in(odile)
    assert 'href="/recipes/sums"' in client.get("/recipes").text
    page = client.get("/recipes/sums").text
    for sheet in SHEETS:
        assert f'href="{sheet.href}"' in page


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
def test_an_untouched_form_says_how_to_begin(
    signed_in: SignedIn, odile: Person, sheet: SumSheet
) -> None:
    answer = signed_in(odile).get(sheet.href)
    assert answer.status_code == 200
    assert "Fill in the form" in answer.text
    assert "<svg" not in answer.text
    assert "is missing" not in answer.text


@pytest.mark.parametrize(
    ("sheet", "shown"),
    [
        (STENCIL, ("0.075 mm²", "0.11 mm²", "0.68", "2.5", "IPC-7525B", "at least 0.66")),
        (JOINT, ("0.4023 mm = 15.84 thou", "0.6418 mm", "32.9 %", "0.402 mm", "0.0158 in")),
        (LUMPED, ("1 s", "5.16 s", "0.00235", "at most 0.1", "Incropera")),
    ],
    ids=lambda given: given.name if isinstance(given, SumSheet) else "shown",
)
def test_the_worked_examples_stand_on_their_pages(
    signed_in: SignedIn, odile: Person, sheet: SumSheet, shown: tuple[str, ...]
) -> None:
    client = signed_in(odile)
    status, page = ask(client, sheet)
    assert status == 200
    assert "<svg" in page
    assert "How this is computed" in page
    assert [words for words in shown if words not in page] == []
    assert "style=" not in page


def test_limits_of_the_model_are_told(signed_in: SignedIn, odile: Person) -> None:
    _, page = ask(signed_in(odile), JOINT)
    assert "knows no weight and no balance of surface tension" in page
    assert "collapse is larger" in page


def test_a_sum_that_does_not_hold_says_so(signed_in: SignedIn, odile: Person) -> None:
    status, page = ask(
        signed_in(odile), LUMPED, material="laminate", shape="plate_both", size="3 mm"
    )
    assert status == 200
    assert "The sum does not hold" in page
    assert "■</span> outside" in page


def test_a_refusal_stands_beside_its_field_and_keeps_what_was_typed(
    signed_in: SignedIn, odile: Person
) -> None:
    status, page = ask(signed_in(odile), STENCIL, foil_thickness="2 mm")
    assert status == 422
    assert 'id="e-foil_thickness"' in page
    assert "must be at most 1 mm, not 2 mm" in page
    assert 'value="2 mm"' in page
    assert 'value="0.30 mm"' in page
    assert "<svg" not in page


def test_a_form_that_was_sent_half_empty_names_what_is_missing(
    signed_in: SignedIn, odile: Person
) -> None:
    client = signed_in(odile)
    followed = client.get("/recipes/sums/joint?shape=round&length=0.45+mm")
    assert followed.status_code == 200
    assert 'value="0.45 mm"' in followed.text
    assert "is missing" not in followed.text
    sent = client.get("/recipes/sums/joint?ball=0.6+mm&do=work-out")
    assert sent.status_code == 422
    assert "is missing" in sent.text


def test_a_drafts_form_leads_to_the_sums(signed_in: SignedIn, ines: Person, make: Make) -> None:
    page = signed_in(ines).get(f"/recipes/revisions/{make()}/edit").text
    for sheet in SHEETS:
        assert f'href="{sheet.href}' in page


def test_the_worked_examples_through_the_routes(signed_in: SignedIn, odile: Person) -> None:
    client = signed_in(odile)

    def figures(sheet: SumSheet) -> dict[str, dict[str, object]]:
        answer = client.get(f"/api/v1/sums/{sheet.name}", params=dict(sheet.example))
        assert answer.status_code == 200
        found: dict[str, dict[str, object]] = answer.json()["figures"]
        return found

    stencil = figures(STENCIL)
    assert stencil["area_ratio"]["value"] == pytest.approx(0.075 / 0.110)
    assert stencil["area_ratio"]["holds"] is True
    assert stencil["aspect_ratio"]["value"] == 2.5
    joint = figures(JOINT)
    assert joint["stand_off"]["value"] == pytest.approx(0.402331537, abs=1e-9)
    assert joint["stand_off"]["thousandths"] == pytest.approx(15.8398, abs=1e-4)
    assert joint["largest_diameter"]["value"] == pytest.approx(0.641771506, abs=1e-9)
    lumped = figures(LUMPED)
    assert lumped["time_to"]["value"] == pytest.approx(5.16, abs=0.005)
    assert lumped["biot"]["limit"] == "at most 0.1"


def test_a_route_refuses_with_a_problem_that_names_the_field(
    signed_in: SignedIn, odile: Person
) -> None:
    client = signed_in(odile)
    texts = {**STENCIL.example, "foil_thickness": "2 mm", "colour": "red"}
    answer = client.get("/api/v1/sums/stencil", params=texts)
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    faults = {fault["field"]: fault["sentence"] for fault in answer.json()["faults"]}
    assert faults["foil_thickness"] == "must be at most 1 mm, not 2 mm"
    assert faults["colour"] == "is not a field of this"
    no_width = {name: text for name, text in STENCIL.example.items() if name != "width"}
    refused = client.get("/api/v1/sums/stencil", params=no_width).json()
    assert refused["faults"][0]["field"] == "width"


def test_nobody_sees_no_sum(nobody: TestClient) -> None:
    assert nobody.get("/api/v1/sums/stencil", params=dict(STENCIL.example)).status_code == 401
    assert nobody.get("/recipes/sums/stencil").status_code == 303


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
def test_no_text_breaks_a_sum(signed_in: SignedIn, odile: Person, sheet: SumSheet) -> None:
    client = signed_in(odile)
    for name in (one.name for one in sheet.asks):
        for text in HOSTILE:
            given = {**sheet.example, name: text, "do": "work-out"}
            query = urlencode(given, errors="surrogatepass")
            page = client.get(f"{sheet.href}?{query}")
            assert page.status_code in {200, 422}, (name, text)
            assert "<b>" not in page.text
            del given["do"]
            query = urlencode(given, errors="surrogatepass")
            assert client.get(f"/api/v1/sums/{sheet.name}?{query}").status_code in {200, 422}
