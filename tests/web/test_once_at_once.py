"""A creation sent many times at the same moment is one creation with one answer."""

from concurrent.futures import ThreadPoolExecutor

from httpx2 import Response
from sqlalchemy import select

from app.accounts.rules import Person
from app.plant.tables import Bench
from tests.conftest import Look, SignedIn

BENCH = {"code": "B7", "title": "By the window", "has_nitrogen": False}


def test_every_sender_of_one_key_gets_the_same_answer(
    signed_in: SignedIn, ada: Person, look: Look
) -> None:
    client = signed_in(ada)

    def send(_: int) -> Response:
        return client.post("/api/v1/benches", json=BENCH, headers={"Idempotency-Key": "one"})

    with ThreadPoolExecutor(8) as senders:
        answers = list(senders.map(send, range(8)))
    assert {answer.status_code for answer in answers} == {201}
    assert len({answer.content for answer in answers}) == 1
    assert sum("Idempotency-Replayed" not in answer.headers for answer in answers) == 1
    assert look(select(Bench.code)) == ["B7"]
