"""An audited write over HTTP, held against the same two rows stored bare."""

import json
from contextlib import ExitStack
from http import HTTPStatus
from http.client import HTTPConnection
from itertools import count

from app.core.db import WRITES, create_house_engine
from app.measure.bare_service import insert_two_rows
from app.measure.figure import Bound, Figure
from app.measure.house import Kind, add_database, make_database_url, seat_administrator, serve
from app.measure.rounds import time_in_turns

TARGET = 0.5
ROUNDS = 15
REPEATS = 40


def measure_writes(kind: Kind, *, rounds: int = ROUNDS, repeats: int = REPEATS) -> list[Figure]:
    """Measure one bench added over HTTP with a token: against a bare service, and bare SQL."""
    with ExitStack() as stack:
        place = stack.enter_context(make_database_url(kind))
        house_url = add_database(place, "house")
        token = seat_administrator(house_url)
        bare_url = add_database(place, "bare")
        house = stack.enter_context(serve("app.main:create_app", house_url))
        bare = stack.enter_context(serve("app.measure.bare_service:create_app", bare_url))
        engine = create_house_engine(add_database(place, "direct"))
        stack.callback(engine.dispose)
        direct = engine.execution_options(**{WRITES: True})
        numbers = count(1)

        def insert_direct() -> None:
            number = next(numbers)
            with direct.begin() as connection:
                insert_two_rows(connection, f"D{number}", number)

        times = time_in_turns(
            {
                "house": lambda: post_bench(house, "/api/v1/benches", token, f"B{next(numbers)}"),
                "bare": lambda: post_bench(bare, "/benches", token, f"B{next(numbers)}"),
                "direct": insert_direct,
            },
            rounds=rounds,
            repeats=repeats,
        )
    name = f"audited write, {kind}"
    return [
        Figure(name, "one write over HTTP with its audit entry", times["house"] * 1e3, "ms"),
        Figure(name, "the same two rows, bare service over HTTP", times["bare"] * 1e3, "ms"),
        Figure(name, "the same two rows, bare SQL without HTTP", times["direct"] * 1e3, "ms"),
        Figure(
            name,
            "rate against the bare service",
            times["bare"] / times["house"],
            "of its rate",
            Bound.AT_LEAST,
            TARGET,
        ),
        Figure(
            name,
            "rate against bare SQL without HTTP",
            times["direct"] / times["house"],
            "of its rate",
        ),
    ]


def post_bench(connection: HTTPConnection, path: str, token: str, code: str) -> None:
    """Add one bench; RuntimeError when the service does not say that it was made."""
    body = json.dumps({"code": code, "title": "Hot gas bench", "has_nitrogen": True})
    headers = {"Content-Type": "application/json", "Authorization": f"Bearer {token}"}
    connection.request("POST", path, body, headers)
    answer = connection.getresponse()
    said = answer.read()
    if answer.status != HTTPStatus.CREATED:
        raise RuntimeError(f"{path} answered {answer.status}: {said[:200]!r}")
