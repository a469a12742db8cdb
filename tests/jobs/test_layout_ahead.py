"""A layout's file is read before a request's transaction begins, and only for who may send it."""

from typing import Final

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import event

from app.accounts.rules import Person
from app.boards.files import PlacementChoices, PlacementReading, once
from app.boards.files.placements import read_placement_file
from tests.conftest import SignedIn
from tests.jobs.conftest import Shop

FILE: Final = b"Designator,X (mm),Y (mm),Rotation,Side\nQ71,1,2,0,top\nQ72,3,4,90,top\n"
DRAFTS: Final = "/api/v1/assemblies/1/layout-drafts?kind=placement&name=xy.csv"


@pytest.fixture
def acts(house: FastAPI, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return what happens from now on: files that are read, and transactions that begin."""
    acts: list[str] = []

    def read(content: bytes, *, choices: PlacementChoices) -> PlacementReading:
        acts.append("read")
        return read_placement_file(content, choices=choices)

    monkeypatch.setattr(once, "read_placement", read)
    event.listen(house.state.sessions.write, "after_begin", lambda *_: acts.append("begin"))
    return acts


@pytest.fixture
def ines_client(signed_in: SignedIn, ines: Person, shop: Shop) -> TestClient:
    assert shop.board_id == 1
    return signed_in(ines)


def test_a_program_s_file_is_read_once_and_first(ines_client: TestClient, acts: list[str]) -> None:
    answer = ines_client.post(DRAFTS, content=FILE + b"Q73,5,6,0,top\n")
    assert answer.status_code == 201, answer.text
    assert acts[:2] == ["read", "begin"]
    assert acts.count("read") == 1


def test_a_form_s_file_is_read_once_and_first(ines_client: TestClient, acts: list[str]) -> None:
    files = {"placement": ("xy.csv", FILE + b"Q74,5,6,0,top\n")}
    answer = ines_client.post("/boards/assemblies/1/layouts", files=files)
    assert answer.status_code == 303, answer.text
    assert acts[:2] == ["read", "begin"]
    assert ines_client.get(answer.headers["location"].split("?")[0]).status_code == 200
    assert acts.count("read") == 1


def test_who_may_not_send_a_layout_has_none_read(
    shop: Shop, signed_in: SignedIn, odile: Person, acts: list[str]
) -> None:
    assert shop.odile == odile
    files = {"placement": ("xy.csv", FILE)}
    client = signed_in(odile)
    assert client.post(DRAFTS, content=FILE).status_code == 403
    assert client.post("/boards/assemblies/1/layouts", files=files).status_code == 403
    assert "read" not in acts
