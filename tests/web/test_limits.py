"""A body is measured before it is read; files may be larger than forms and JSON."""

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import select

from app.accounts.rules import Person
from app.core.settings import Settings
from app.plant.tables import Bench
from app.web.forms import PostedForm
from app.web.limits import BodyLimits
from tests.conftest import Look, SignedIn

KIB = 1024
BENCHES = "/api/v1/benches"


@pytest.fixture
def settings(settings: Settings) -> Settings:
    return settings.model_copy(update={"body_limit_kb": 16, "upload_limit_mb": 1})


@pytest.fixture
def client(house: FastAPI, signed_in: SignedIn, ada: Person) -> TestClient:
    def take(form: PostedForm) -> list[int]:
        return [len(form.files["file"].file.read()) if form.files else len(form.text("note"))]

    house.add_api_route("/api/v1/tests", take, methods=["POST"])
    return signed_in(ada)


def spell_bench(size: int) -> bytes:
    """Spell a bench in JSON of exactly so many bytes; blanks fill it up."""
    body = b'{"code": "B1", "title": "By the window"}'
    return body + b" " * (size - len(body))


def test_json_of_the_limit_is_read_and_one_byte_more_is_not(client: TestClient, look: Look) -> None:
    headers = {"Content-Type": "application/json"}
    over = client.post(BENCHES, content=spell_bench(16 * KIB + 1), headers=headers)
    assert over.status_code == 413
    assert over.json()["code"] == "core.body_too_large"
    assert over.json()["detail"] == "The body may hold at most 16,384 bytes."
    assert look(select(Bench.code)) == []
    assert client.post(BENCHES, content=spell_bench(16 * KIB), headers=headers).status_code == 201


def test_a_body_that_is_refused_by_its_stated_length_is_not_even_asked_for(
    house: FastAPI, settings: Settings
) -> None:
    async def never(*_: object) -> None:
        raise AssertionError("the body was read")

    limits = BodyLimits(never, settings)
    stated = {"Content-Length": str(16 * KIB + 1), "Content-Type": "application/json"}
    # No byte of it is sent: the stated length alone is refused.
    assert TestClient(limits).post(BENCHES, content=b"", headers=stated).status_code == 413


@pytest.mark.parametrize("stated", ["9" * 16, "9" * 5_000])
def test_a_stated_length_beyond_all_numbers_is_too_large(client: TestClient, stated: str) -> None:
    headers = {"Content-Length": stated, "Content-Type": "application/json"}
    assert client.post(BENCHES, content=b"", headers=headers).status_code == 413


@pytest.mark.parametrize("stated", ["-1", "x", "", "²"])
def test_a_stated_length_that_is_no_number_is_counted_instead(
    client: TestClient, stated: str
) -> None:
    headers = {b"Content-Length": stated.encode("latin-1"), b"Content-Type": b"application/json"}
    over = client.post(BENCHES, content=spell_bench(16 * KIB + 1), headers=headers)
    assert over.status_code == 413
    within = client.post(BENCHES, content=spell_bench(100), headers=headers)
    assert within.status_code == 201


def test_a_form_has_the_limit_of_json(client: TestClient) -> None:
    assert client.post("/api/v1/tests", data={"note": "x" * (15 * KIB)}).json() == [15 * KIB]
    assert client.post("/api/v1/tests", data={"note": "x" * (16 * KIB)}).status_code == 413


def test_a_form_with_a_file_has_the_limit_of_uploads(client: TestClient) -> None:
    large = {"file": ("a.csv", b"x" * (900 * KIB), "text/csv")}
    assert client.post("/api/v1/tests", files=large).json() == [900 * KIB]
    over = {"file": ("a.csv", b"x" * (1024 * KIB), "text/csv")}
    assert client.post("/api/v1/tests", files=over).status_code == 413


def test_a_text_beside_a_file_has_the_limit_of_texts(client: TestClient) -> None:
    answer = client.post(
        "/api/v1/tests",
        data={"note": "x" * (17 * KIB)},
        files={"file": ("a.csv", b"1", "text/csv")},
    )
    assert answer.status_code in {400, 413}


def test_a_form_of_too_many_fields_or_files_is_refused(client: TestClient) -> None:
    files = [("file", (f"{number}.csv", b"1", "text/csv")) for number in range(3)]
    assert client.post("/api/v1/tests", files=files).status_code == 400
    many = {f"f{number}": "" for number in range(2_001)}
    assert client.post("/api/v1/tests", data=many).status_code in {400, 413}
