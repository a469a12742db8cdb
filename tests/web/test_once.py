"""A creation that is sent twice happens once."""

import asyncio

import httpx
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import func, select

from app.accounts.access import COOKIE, CSRF_HEADER
from app.accounts.rules import Person
from app.audit.tables import AuditEntry
from app.materials.tables import Part
from app.web.once import KeptAnswer
from tests.conftest import Look, SignedIn

PARTS = "/api/v1/parts"
PART = {
    "part_number": "VRYLO-B100",
    "title": "Level processor",
    "package_type": "BGA",
    "length_mm": 11,
    "width_mm": 11,
    "max_body_c": 260,
    "moisture_level": "3",
}
KEY = {"Idempotency-Key": "order 7 of 9".replace(" ", "-")}


@pytest.fixture
def client(signed_in: SignedIn, ines: Person) -> TestClient:
    return signed_in(ines)


def count_parts(look: Look) -> tuple[int, int]:
    """Return how many parts there are and how many entries tell of one."""
    told = select(func.count(AuditEntry.seq)).where(AuditEntry.action == "materials.add_part")
    return look(select(func.count(Part.id)))[0], look(told)[0]


def test_the_same_key_and_body_give_the_same_answer_and_one_row(
    client: TestClient, look: Look
) -> None:
    first = client.post(PARTS, json=PART, headers=KEY)
    again = client.post(PARTS, json=PART, headers=KEY)
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.content == first.content
    assert again.headers["etag"] == first.headers["etag"]
    assert again.headers["content-type"] == first.headers["content-type"]
    assert "idempotency-replayed" not in first.headers
    assert again.headers["idempotency-replayed"] == "true"
    assert count_parts(look) == (1, 1)


def test_the_answer_is_the_one_that_was_given_then_not_the_row_as_it_is_now(
    client: TestClient,
) -> None:
    first = client.post(PARTS, json=PART, headers=KEY)
    path = f"{PARTS}/{first.json()['id']}"
    changed = client.put(path, json={**PART, "title": "New"}, headers={"If-Match": '"1"'})
    assert changed.status_code == 200
    assert client.post(PARTS, json=PART, headers=KEY).json()["title"] == PART["title"]


@pytest.mark.parametrize(
    ("path", "body"), [(PARTS, {**PART, "title": "Another"}), (f"{PARTS}?x=1", PART)]
)
def test_the_same_key_with_other_content_is_refused(
    client: TestClient, look: Look, path: str, body: dict[str, object]
) -> None:
    client.post(PARTS, json=PART, headers=KEY)
    answer = client.post(path, json=body, headers=KEY)
    assert answer.status_code == 422
    assert answer.json()["code"] == "core.idempotency_key_used"
    assert answer.json()["faults"][0]["field"] == "Idempotency-Key"
    assert count_parts(look) == (1, 1)


def test_another_persons_same_key_is_another_key(
    signed_in: SignedIn, ines: Person, edda: Person, look: Look
) -> None:
    first = signed_in(ines).post(PARTS, json=PART, headers=KEY)
    other = signed_in(edda).post(PARTS, json={**PART, "part_number": "VRYLO-B2"}, headers=KEY)
    assert (first.status_code, other.status_code) == (201, 201)
    assert first.json()["id"] != other.json()["id"]
    assert count_parts(look) == (2, 2)


def test_without_a_key_each_sending_counts(client: TestClient, look: Look) -> None:
    assert client.post(PARTS, json=PART).status_code == 201
    assert client.post(PARTS, json=PART).status_code == 409
    assert look(select(KeptAnswer.id)) == []


def test_a_refusal_is_not_kept(client: TestClient, look: Look) -> None:
    assert client.post(PARTS, json={**PART, "width_mm": -1}, headers=KEY).status_code == 422
    assert client.post(PARTS, json=PART, headers=KEY).status_code == 201
    assert count_parts(look) == (1, 1)


@pytest.mark.parametrize("key", ["", "x" * 101, "with blank", "tab\there"])
def test_a_key_that_cannot_be_kept_is_refused_by_name(client: TestClient, key: str) -> None:
    answer = client.post(PARTS, json=PART, headers={"Idempotency-Key": key})
    assert answer.status_code == 422
    assert [fault["field"].lower() for fault in answer.json()["faults"]] == ["idempotency-key"]


def test_the_same_key_many_times_at_once_makes_one_row(
    house: FastAPI, ines: Person, look: Look
) -> None:
    headers = {**KEY, "Cookie": f"{COOKIE}=secret of ines", CSRF_HEADER: ines.csrf}

    async def send_all() -> list[httpx.Response]:
        async with httpx.AsyncClient(
            transport=httpx.ASGITransport(house), base_url="http://testserver", headers=headers
        ) as client:
            first = await asyncio.gather(*(client.post(PARTS, json=PART) for _ in range(8)))
            return [*first, await client.post(PARTS, json=PART)]

    answers = asyncio.run(send_all())
    made = [answer for answer in answers if answer.status_code == 201]
    # Whoever came a moment too late to find the kept answer is told to try again, and finds it.
    assert {answer.status_code for answer in answers} <= {201, 409}
    assert len({answer.content for answer in made}) == 1
    assert sum("idempotency-replayed" not in answer.headers for answer in made) == 1
    assert answers[-1].headers["idempotency-replayed"] == "true"
    assert count_parts(look) == (1, 1)
