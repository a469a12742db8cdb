"""Every door has exactly one lock, or a sign that says it is open."""

from collections.abc import Iterator

from fastapi import Depends, FastAPI
from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute, iter_route_contexts
from starlette.routing import BaseRoute, Mount

from app.accounts.access import Needs, needs, public
from app.accounts.permissions import ROLES_OF_ACTION, Action, Role

MOUNTS = {"static", "plotly", "swagger"}
# FastAPI adds the description of the interface itself; it tells nothing of the plant.
DESCRIPTION = "/api/v1/openapi.json"


def list_calls(dependant: Dependant) -> Iterator[object]:
    for below in dependant.dependencies:
        yield below.call
        yield from list_calls(below)


def find_fault(route: BaseRoute, path: str, dependant: Dependant | None) -> str | None:
    """Say what is wrong with a door, or None."""
    if isinstance(route, Mount):
        return None if route.name in MOUNTS else f"{path} is mounted without a word"
    if path == DESCRIPTION:
        return None
    if not isinstance(route, APIRoute) or dependant is None:
        return f"{path} is no route that could have a lock"
    calls = list(list_calls(dependant))
    locks = {call.action for call in calls if isinstance(call, Needs)}
    if public in calls:
        return f"{path} is public and locked" if locks else None
    return None if len(locks) == 1 else f"{route.methods} {path} has {len(locks)} locks"


def list_faults(house: FastAPI) -> tuple[int, list[str]]:
    doors = list(iter_route_contexts(house.routes))
    faults = [
        find_fault(door.route, door.path or "", getattr(door, "dependant", None))
        for door in doors
        if door.route is not None
    ]
    return len(doors), [fault for fault in faults if fault is not None]


def test_every_route_names_one_permission_or_is_marked_public(house: FastAPI) -> None:
    count, faults = list_faults(house)
    assert count > 30
    assert faults == []


def test_a_door_without_a_lock_with_two_or_with_a_lock_and_a_sign_is_found() -> None:
    house = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    reads, manages = Depends(needs(Action.READ)), Depends(needs(Action.ACCOUNTS_MANAGE))
    house.add_api_route("/none", lambda: None)
    house.add_api_route("/two", lambda: None, dependencies=[reads, manages])
    house.add_api_route("/both", lambda: None, dependencies=[reads, Depends(public)])
    house.add_api_route("/one", lambda: None, dependencies=[reads])
    house.mount("/other", FastAPI())
    faults = list_faults(house)[1]
    assert [fault.split(" ")[0] for fault in faults if fault.startswith("/")] == ["/both", "/other"]
    assert len(faults) == 4


def test_every_action_is_someones_and_administrators_decide_no_process() -> None:
    assert set(ROLES_OF_ACTION) == set(Action)
    assert all(ROLES_OF_ACTION.values())
    of_process = [action for action in Action if action.name.startswith(("RECIPES", "JOBS"))]
    assert all(Role.ADMINISTRATOR not in ROLES_OF_ACTION[action] for action in of_process)
    assert all(Role.AUDITOR not in ROLES_OF_ACTION[action] for action in of_process)
