"""A body that is too large or no JSON is refused by name, however it comes."""

import json
from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from app.accounts.rules import Person
from app.core.settings import Settings
from tests.conftest import SignedIn

WHERE = "/api/v1/parts"
CHUNK = b" " * 65_536
JSON_NAMES = (
    "application/json",
    "APPLICATION/JSON",
    "application/json; charset=utf-8",
    "application/merge-patch+json",
    "application/x-www-form-urlencoded",
    "",
)


@pytest.fixture
def client(signed_in: SignedIn, ines: Person) -> TestClient:
    return signed_in(ines)


def send_in_pieces(size: int) -> Iterator[bytes]:
    for _ in range(0, size, len(CHUNK)):
        yield CHUNK


@pytest.mark.parametrize("path", [WHERE, "/materials/parts/new", "/sign-in"])
@pytest.mark.parametrize("name", JSON_NAMES)
def test_a_body_of_unstated_length_over_the_limit_is_too_large(
    client: TestClient, settings: Settings, path: str, name: str
) -> None:
    size = settings.body_limit_kb * 1024 + 1
    answer = client.post(path, content=send_in_pieces(size), headers={"Content-Type": name})
    assert answer.status_code == 413
    assert f"{settings.body_limit_kb * 1024:,} bytes" in answer.text


def test_an_upload_of_unstated_length_has_the_limit_of_uploads(
    client: TestClient, settings: Settings
) -> None:
    size = settings.upload_limit_mb * 1024 * 1024
    path = "/api/v1/layout-drafts/1/files/placement"
    headers = {"Content-Type": "text/csv", "If-Match": '"1"'}
    assert client.put(path, content=send_in_pieces(size + 1), headers=headers).status_code == 413
    assert client.put(path, content=send_in_pieces(size // 2), headers=headers).status_code == 404


@pytest.mark.parametrize(
    ("body", "sentence"),
    [
        (b"[" * 100_000, "nested too deeply"),
        (b'{"a":' * 100_000, "nested too deeply"),
        (b'{"a": ' + b"9" * 5_000 + b"}", "too many digits"),
        (b'{"a": "\xff\xfe"}', "not written in UTF-8"),
        (b'{"a": ', "not valid JSON, from character 6 on"),
        (b"nul", "not valid JSON, from character 0 on"),
    ],
)
def test_json_that_cannot_be_read_is_refused_with_the_reason(
    client: TestClient, body: bytes, sentence: str
) -> None:
    answer = client.post(WHERE, content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code == 422
    faults = json.loads(answer.content)["faults"]
    assert [fault["field"] for fault in faults] == ["body"]
    assert sentence in faults[0]["sentence"]


@pytest.mark.parametrize(
    ("body", "key"),
    [
        (b'{"title": "a", "title": "b"}', "title"),
        (b'{"title": "a", "\\u0074itle": "a"}', "title"),
        (b'{"a": [{"b": {"deep": 1, "c": 2, "deep": 3}}]}', "deep"),
        (b'[{"x": 1, "x": 1}]', "x"),
        (b'{"": 1, "": 2}', ""),
        (b'{"a\\u202e\\ud800": 1, "a\\u202e\\ud800": 2}', "a\ufffd\ufffd"),
        ('{"k": 1, "k": 2}'.encode("utf-16"), "k"),
    ],
)
@pytest.mark.parametrize("name", ["application/json", "Application/Merge-Patch+JSON; charset=x"])
def test_json_that_names_a_key_twice_is_refused_with_the_key(
    client: TestClient, body: bytes, key: str, name: str
) -> None:
    answer = client.post(WHERE, content=body, headers={"Content-Type": name})
    assert answer.status_code == 422
    told = answer.json()
    assert told["code"] == "core.key_twice"
    assert told["faults"] == [
        {"field": key, "sentence": f"The JSON names {key!r} twice in one object."}
    ]


def test_the_same_key_in_two_objects_is_no_key_named_twice(client: TestClient) -> None:
    body = b'{"title": {"title": [{"a": 1}, {"a": 2}]}}'
    answer = client.post(WHERE, content=body, headers={"Content-Type": "application/json"})
    assert answer.json()["code"] == "core.unreadable"


def test_a_part_with_a_key_named_twice_is_not_added(client: TestClient) -> None:
    body = b'{"part_number": "A-1", "part_number": "A-2", "title": "x", "package_type": "BGA"}'
    headers = {"Content-Type": "application/json"}
    assert client.post(WHERE, content=body, headers=headers).status_code == 422
    assert client.get(WHERE).json()["items"] == []
    once = body.replace(b'"part_number": "A-2", ', b"")
    assert client.post(WHERE, content=once, headers=headers).status_code == 201
