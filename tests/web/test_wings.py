"""A feature is asked only for its own addresses, and answers as if it had been asked in turn."""

import pytest
from fastapi import APIRouter, FastAPI
from fastapi.testclient import TestClient

from app.web.wings import Wing


@pytest.fixture
def client() -> TestClient:
    boards, jobs = APIRouter(), APIRouter()
    boards.add_api_route("/boards/{board_id}", lambda board_id: board_id, methods=["GET"])
    jobs.add_api_route("/jobs", lambda: "jobs", methods=["GET"])
    jobs.add_api_route(
        "/boards/{board_id}/jobs", lambda board_id: f"of {board_id}", methods=["GET"]
    )
    house = FastAPI()
    house.include_router(Wing(boards, prefix="/api/v1"), prefix="/api/v1")
    house.include_router(Wing(jobs, prefix="/api/v1"), prefix="/api/v1")
    return TestClient(house)


@pytest.mark.parametrize(
    ("path", "answer"),
    [("/boards/5", "5"), ("/jobs", "jobs"), ("/boards/5/jobs", "of 5")],
)
def test_an_address_reaches_its_route_in_whichever_feature_it_is(
    client: TestClient, path: str, answer: str
) -> None:
    assert client.get(f"/api/v1{path}").json() == answer


def test_what_no_feature_has_is_unknown_and_a_wrong_method_is_named(client: TestClient) -> None:
    assert client.get("/api/v1/sites").status_code == 404
    assert client.get("/api/v1").status_code == 404
    assert client.delete("/api/v1/jobs").status_code == 405


def test_a_feature_is_not_asked_for_the_addresses_of_others() -> None:
    feature = APIRouter()
    feature.add_api_route("/jobs", lambda: "jobs", methods=["GET"])
    wing = Wing(feature, prefix="/api/v1")
    assert wing.heads == {"jobs"}
    assert not wing.takes_any


def test_a_feature_whose_address_begins_with_a_value_is_asked_for_all() -> None:
    feature = APIRouter()
    feature.add_api_route("/{serial}", lambda serial: serial, methods=["GET"])
    house = FastAPI()
    house.include_router(Wing(feature))
    assert TestClient(house).get("/BRL-0417").json() == "BRL-0417"
