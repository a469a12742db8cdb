"""No answer is ever 500: generated requests over the whole OpenAPI, as each role and as nobody."""

import os
from collections.abc import Iterator
from typing import Any, cast

import hypothesis
import pytest
import schemathesis
from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, given
from requests import Session
from schemathesis import Case, GenerationMode
from schemathesis.schemas import APIOperation

from app.accounts.access import COOKIE, CSRF_HEADER
from app.core.settings import Settings
from app.main import create_app
from tests.conftest import CAST, Databases, MovableClock

pytestmark = pytest.mark.fuzz

Operation = APIOperation[Any, Any, Any, Any]
GeneratedCase = Case[Any]

# Signing out and ending sign-ins would leave the rest of the run without the person it is about.
ENDS_THE_SIGN_IN = ("sign-out", "/me/sessions", "/me/password")
# More of them find more, in proportion to the time they take.
CASES_EACH = int(os.environ.get("TESTS_CASES_EACH", "6"))
# Numbers that exist in a house with a demo, so that requests get past "there is no such thing".
LIKELY_IDS = (1, 2, 3)


@pytest.fixture(scope="module")
def fuzzed_house(databases: Databases, with_demo: str) -> Iterator[FastAPI]:
    """Return a house of the module's own, which every operation may change."""
    url = databases.create(with_demo)
    house = create_app(
        Settings(database_url=url, argon2_memory_kib=64, argon2_passes=1), clock=MovableClock()
    )
    yield house
    house.state.sessions.engine.dispose()
    databases.drop(url)


@pytest.fixture(scope="module")
def operations(fuzzed_house: FastAPI) -> list[Operation]:
    schema = schemathesis.openapi.from_asgi("/api/v1/openapi.json", fuzzed_house)
    found = [cast("Operation", result.ok()) for result in schema.get_all_operations()]  # type: ignore[union-attr]
    assert len(found) > 20
    return [one for one in found if not any(end in one.path for end in ENDS_THE_SIGN_IN)]


@pytest.mark.parametrize("username", [name for name, _, _ in CAST] + ["nobody"])
@pytest.mark.parametrize("mode", list(GenerationMode))
def test_no_request_is_answered_with_500(
    fuzzed_house: FastAPI, operations: list[Operation], username: str, mode: GenerationMode
) -> None:
    client = TestClient(fuzzed_house, raise_server_exceptions=False, follow_redirects=False)
    if username != "nobody":
        client.cookies.set(COOKIE, f"secret of {username}")
        client.headers[CSRF_HEADER] = f"mark of {username}"
    answered: dict[str, set[int]] = {}
    for operation in operations:
        send_cases(client, operation, mode, answered.setdefault(operation.label, set()))
    broken = {label: statuses for label, statuses in answered.items() if 500 in statuses}
    assert broken == {}
    if username == "nobody":
        let_in = {
            label
            for label, statuses in answered.items()
            if statuses & {200, 201} and "/healthz" not in label and "/readyz" not in label
        }
        assert let_in == set()


def send_cases(
    client: TestClient, operation: Operation, mode: GenerationMode, statuses: set[int]
) -> None:
    """Send generated cases of one operation and note the statuses of the answers."""

    @hypothesis.settings(
        max_examples=CASES_EACH,
        deadline=None,
        derandomize=True,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(generation_mode=mode))
    def send(case: GeneratedCase) -> None:
        for name in case.path_parameters or {}:
            if name.endswith("_id") and len(statuses) % 2:
                case.path_parameters[name] = LIKELY_IDS[len(statuses) % len(LIKELY_IDS)]
        answer = case.call(session=cast("Session", client), base_url="http://testserver")
        statuses.add(answer.status_code)
        if answer.status_code >= 500 and answer.status_code != 503:
            print(case.as_curl_command())  # noqa: T201
            statuses.add(500)

    try:
        send()
    except hypothesis.errors.Unsatisfiable:
        # An operation without parameters has no wrong ones.
        return
    except schemathesis.errors.SchemathesisError as error:
        if "negative" not in str(error).lower():
            raise
