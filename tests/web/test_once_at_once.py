"""A creation sent many times at the same moment is one creation with one answer."""

import asyncio

import httpx
from fastapi import FastAPI
from sqlalchemy import select

from app.accounts.access import COOKIE, CSRF_HEADER
from app.accounts.rules import Person
from app.plant.tables import Bench
from tests.conftest import Look

BENCH = {"code": "B7", "title": "By the window", "has_nitrogen": False}


async def send_at_once(house: FastAPI, person: Person, times: int) -> list[httpx.Response]:
    async with httpx.AsyncClient(
        transport=httpx.ASGITransport(house),
        base_url="http://testserver",
        cookies={COOKIE: f"secret of {person.username}"},
        headers={CSRF_HEADER: person.csrf, "Idempotency-Key": "one"},
    ) as client:
        return await asyncio.gather(
            *(client.post("/api/v1/benches", json=BENCH) for _ in range(times))
        )


def test_every_sender_of_one_key_gets_the_same_answer(
    house: FastAPI, ada: Person, look: Look
) -> None:
    answers = asyncio.run(send_at_once(house, ada, 8))
    assert {answer.status_code for answer in answers} == {201}
    assert len({answer.content for answer in answers}) == 1
    assert sum("Idempotency-Replayed" not in answer.headers for answer in answers) == 1
    assert look(select(Bench.code)) == ["B7"]
