"""A sum begun from a draft's form, and its result put back into that draft."""

import re
from decimal import Decimal
from html import unescape
from typing import Any

import pytest
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import select

from app.accounts.rules import Person
from app.approval.rules import RevisionState
from app.audit.tables import AuditEntry
from app.numerics.solder_joint import Height
from app.recipes.body.recipe import RecipeBody
from app.recipes.queries import get_body
from app.recipes.rules import digest_of
from app.recipes.sums.into_draft import Fineness, put_height, write_height
from app.recipes.tables import RecipeRevision
from tests.conftest import Look, SignedIn
from tests.recipes.conftest import BODY, Make

BALL = {"ball": "0.60 mm", "package_pad": "0.50 mm", "board_pad": "0.50 mm"}
TOLERANCES = {"ball_tolerance": "0.02 mm", "package_pad_tolerance": "0.01 mm"}


def with_paste() -> RecipeBody:
    """Return a body that prints paste through two kinds of aperture."""
    changed: dict[str, Any] = BODY.model_dump(mode="json")
    foil = {"value": "0.10", "unit": "mm"}
    side = {"value": "0.30", "unit": "mm"}
    changed["deposit"] = {
        "kind": "paste",
        "alloy": "SAC305",
        "foil_thickness": foil,
        "apertures": [
            {"name": "outer", "shape": "square", "length": side, "width": None, "count": 100},
            {"name": "", "shape": "round", "length": side, "width": None, "count": 44},
        ],
    }
    return RecipeBody.model_validate(changed)


def read_text(page: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).split())


def post_use(
    client: TestClient, page: str, name: str, *, follow: bool = True, **other: str
) -> tuple[int, str]:
    """Send the form by which a sum is put into a draft, with some values replaced."""
    form = page.split(f'<form method="post" action="/recipes/sums/{name}/use">')[1]
    fields = dict(re.findall(r'name="([^"]+)" value="([^"]*)"', form.split("</form>")[0]))
    sent = {key: unescape(value) for key, value in fields.items()} | other
    answer = client.post(f"/recipes/sums/{name}/use", data=sent, follow_redirects=follow)
    return answer.status_code, answer.text


def read_body(look: Look, revision_id: int) -> RecipeBody:
    return get_body(next(one for one in look(select(RecipeRevision)) if one.id == revision_id))


def list_told(look: Look) -> list[str]:
    return [entry.action for entry in look(select(AuditEntry).order_by(AuditEntry.seq))]


def test_a_draft_leads_to_its_aperture_and_takes_the_new_one(
    signed_in: SignedIn, ines: Person, make: Make, look: Look
) -> None:
    client, draft = signed_in(ines), make(body=with_paste())
    form = unescape(client.get(f"/recipes/revisions/{draft}/edit").text)
    href = next(one for one in re.findall(r'href="(/recipes/sums/stencil[^"]+)"', form))
    assert f"draft={draft}&aperture=1" in href
    assert "length=0.30+mm" in href
    assert "foil_thickness=0.10+mm" in href
    changed = href.replace("length=0.30+mm", "length=0.35+mm").replace("0.10+mm", "5+thou")
    page = client.get(changed).text
    text = read_text(page)
    assert "For the draft of LIM-U3 revision 1" in text
    assert "Foil thickness 0.10 mm 5 thou (0.127 mm)" in text
    assert read_body(look, draft) == with_paste()
    status, after = post_use(client, page, "stencil")
    assert status == 200
    said = read_text(after)
    assert "The sum's values are in the draft." in said
    assert "The last saving of this draft changed" in said
    assert "Foil thickness: 0.10 mm → 5 thou (0.127 mm)" in said
    assert "The draft has these values." in said
    deposit = read_body(look, draft).model_dump(mode="json")["deposit"]
    assert deposit["foil_thickness"] == {"value": "5", "unit": "thou"}
    assert deposit["apertures"][0]["length"] == {"value": "0.35", "unit": "mm"}
    assert deposit["apertures"][0]["name"] == "outer"
    assert (
        deposit["apertures"][1] == with_paste().model_dump(mode="json")["deposit"]["apertures"][1]
    )
    assert list_told(look)[-1] == "recipes.save_draft"


def test_an_aperture_can_be_put_in_as_a_new_one(
    signed_in: SignedIn, ines: Person, make: Make, look: Look
) -> None:
    client, draft = signed_in(ines), make(body=with_paste())
    query = "shape=rect&length=0.5+mm&width=0.4+mm&foil_thickness=0.10+mm&count=4"
    page = client.get(f"/recipes/sums/stencil?{query}&draft={draft}&aperture=3").text
    assert "a new one, number 3" in page
    assert post_use(client, page, "stencil")[0] == 200
    deposit = read_body(look, draft).model_dump(mode="json")["deposit"]
    assert len(deposit["apertures"]) == 3
    assert deposit["apertures"][2]["count"] == 4
    beyond = client.get(f"/recipes/sums/stencil?{query}&draft={draft}&aperture=5")
    assert beyond.status_code == 200
    assert "the number can be 1 to 4, not 5" in read_text(beyond.text)
    assert "Use in this draft" not in beyond.text


def test_a_draft_without_paste_says_what_to_do_first(
    signed_in: SignedIn, ines: Person, make: Make
) -> None:
    client, draft = signed_in(ines), make()
    query = "shape=round&length=0.3+mm&foil_thickness=0.1+mm"
    page = client.get(f"/recipes/sums/stencil?{query}&draft={draft}").text
    assert "choose paste through a foil in its form" in read_text(page)
    assert "Use in this draft" not in page
    answer = client.post(
        "/recipes/sums/stencil/use",
        data={
            "shape": "round",
            "length": "0.3 mm",
            "foil_thickness": "0.1 mm",
            "draft": str(draft),
        },
    )
    assert answer.status_code == 422


@pytest.mark.parametrize(
    ("fineness", "height", "tolerance"),
    [
        # h³ + 3·a²·h = d³ at 0.60 on 0.50 mm is h = 0.497052796 mm = 19.569008 thou. By hand:
        # dh/dd = d²/(h² + a²) = 1.162935, dh/dp = −h·p/(2·(h² + a²)) = −0.401417, so that ± is
        # 0.02 · 1.162935 + 0.01 · 0.401417 = 0.0272729 mm = 1.073735 thou, rounded up.
        ("mm", "0.497 mm", "0.028 mm"),
        ("thou", "19.57 thou", "1.08 thou"),
        ("mm_full", "0.497053 mm", "0.027274 mm"),
        ("thou_full", "19.569008 thou", "1.073736 thou"),
    ],
)
def test_the_placement_height_is_put_in_with_its_tolerance_in_the_unit_that_is_chosen(
    signed_in: SignedIn,
    ines: Person,
    make: Make,
    look: Look,
    fineness: str,
    height: str,
    tolerance: str,
) -> None:
    client, draft = signed_in(ines), make()
    asked = {**BALL, **TOLERANCES, "draft": str(draft), "fineness": fineness}
    page = client.get("/recipes/sums/joint", params=asked).text
    text = read_text(page)
    assert "rounded by" in text
    assert "which the tolerance takes in" in text
    assert "Force 1.5 N –" in text
    status, after = post_use(client, page, "joint")
    assert status == 200
    assert f"Height: – → {height}" in read_text(after)
    placement = read_body(look, draft).placement
    assert placement.height is not None
    assert placement.height_tolerance is not None
    assert f"{placement.height.value} {placement.height.unit}" == height
    assert f"{placement.height_tolerance.value} {placement.height_tolerance.unit}" == tolerance
    assert placement.force_n is None
    form = unescape(client.get(f"/recipes/revisions/{draft}/edit").text)
    assert f'name="placement.height_tolerance" value="{tolerance}"' in form


@given(
    mm=st.floats(0.02, 5.0),
    worst_mm=st.floats(0.0, 0.5),
    fineness=st.sampled_from(list(Fineness)),
)
def test_no_rounding_is_silent(mm: float, worst_mm: float, fineness: Fineness) -> None:
    written = write_height(Height(mm, worst_mm, worst_mm), fineness)
    off = abs(float(written.height.mm) - mm)
    assert off <= float(fineness.step) / 2 * (1 if fineness.unit == "mm" else 0.0254) + 1e-12
    if off > 2e-9:
        assert "rounded by" in written.words
    if worst_mm > 0:
        assert written.tolerance is not None
        assert float(written.tolerance.mm) >= worst_mm + off - 1e-9
    else:
        assert written.tolerance is None


def test_a_draft_that_was_changed_meanwhile_is_not_written(
    signed_in: SignedIn, ines: Person, edda: Person, make: Make, look: Look
) -> None:
    draft = make()
    edda_client = signed_in(edda)
    other = edda_client.get("/recipes/sums/joint", params={**BALL, "draft": str(draft)}).text
    client = signed_in(ines)
    page = client.get("/recipes/sums/joint", params={**BALL, "draft": str(draft)}).text
    assert post_use(client, page, "joint", fineness="thou")[0] == 200
    status, text = post_use(signed_in(edda), other, "joint")
    assert status == 412
    said = read_text(text)
    assert "Not put in. Somebody changed this meanwhile" in said
    # The new version stands in the form, and the table is against what is stored now.
    assert 'name="version" value="2"' in text
    assert "19.57 thou (0.497078 mm) 0.497 mm" in said
    assert read_body(look, draft).placement.height.value == "19.57"  # type: ignore[union-attr]


def test_using_a_sum_twice_tells_once(
    signed_in: SignedIn, ines: Person, make: Make, look: Look
) -> None:
    client, draft = signed_in(ines), make()
    asked = {**BALL, "draft": str(draft)}
    page = client.get("/recipes/sums/joint", params=asked).text
    post_use(client, page, "joint")
    assert list_told(look).count("recipes.save_draft") == 1
    again = client.get("/recipes/sums/joint", params=asked).text
    assert "The draft has these values." in again
    assert post_use(client, page, "joint", version="2")[0] == 200
    assert list_told(look).count("recipes.save_draft") == 1


@pytest.mark.parametrize("state", ["proposed", "published", "retired"])
def test_what_is_no_draft_takes_nothing(
    signed_in: SignedIn, ines: Person, make: Make, look: Look, state: str
) -> None:
    client, revision = signed_in(ines), make(RevisionState(state))
    page = client.get("/recipes/sums/joint", params={**BALL, "draft": str(revision)}).text
    assert "its text is frozen" in page
    assert "Use in this draft" not in page
    answer = client.post(
        "/recipes/sums/joint/use", data={**BALL, "draft": str(revision), "version": "1"}
    )
    assert answer.status_code == 422
    assert read_body(look, revision) == BODY


def test_whoever_may_not_write_recipes_puts_nothing_in(
    signed_in: SignedIn, odile: Person, make: Make, nobody: TestClient
) -> None:
    client, draft = signed_in(odile), make()
    page = client.get("/recipes/sums/joint", params={**BALL, "draft": str(draft)})
    assert page.status_code == 200
    assert "Use in this draft" not in page.text
    sent = {**BALL, "draft": str(draft), "version": "1"}
    assert client.post("/recipes/sums/joint/use", data=sent).status_code == 403
    assert nobody.post("/recipes/sums/joint/use", data=sent).status_code in {303, 401, 403}


@pytest.mark.parametrize(
    ("changes", "status"),
    [
        ({"draft": ""}, 422),
        ({"draft": "x"}, 422),
        ({"draft": "999"}, 404),
        ({"draft": "9" * 30}, 422),
        ({"ball": "\x00"}, 422),
        ({"ball": ""}, 422),
        ({"version": "x" * 5000}, 412),
        ({"version": ""}, 412),
    ],
)
def test_nonsense_is_refused(
    signed_in: SignedIn, ines: Person, make: Make, look: Look, changes: dict[str, str], status: int
) -> None:
    client, draft = signed_in(ines), make()
    sent = {**BALL, "draft": str(draft), "version": "1", "fineness": "mm", **changes}
    assert client.post("/recipes/sums/joint/use", data=sent).status_code == status
    assert read_body(look, draft) == BODY


def test_a_text_without_a_tolerance_keeps_the_digest_that_it_had() -> None:
    dumped = BODY.model_dump(mode="json")
    assert "height_tolerance" not in dumped["placement"]
    with_height = put_height(BODY, BALL, fineness=Fineness.MM)
    assert "height_tolerance" not in with_height.model_dump(mode="json")["placement"]
    with_tolerance = put_height(BODY, {**BALL, **TOLERANCES}, fineness=Fineness.MM)
    assert digest_of(with_tolerance) != digest_of(with_height)
    again = RecipeBody.model_validate_json(with_tolerance.model_dump_json())
    assert again == with_tolerance


def test_a_tolerance_without_a_height_is_refused() -> None:
    changed: dict[str, Any] = BODY.model_dump(mode="json")
    changed["placement"]["height_tolerance"] = {"value": "0.01", "unit": "mm"}
    with pytest.raises(ValueError, match="may be given only with a height"):
        RecipeBody.model_validate(changed)


def test_thousandths_are_exact() -> None:
    written = write_height(Height(0.0254, 0.00254, 0.00254), Fineness.THOU)
    assert (written.height.value, written.tolerance and written.tolerance.value) == ("1.00", "0.10")
    assert written.rounded_by == Decimal(0)
    assert "not rounded" in written.words
