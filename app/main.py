"""Puts the floors on top of each other: the web service."""

from importlib import import_module
from typing import Any, Final

from fastapi import Depends, FastAPI
from fastapi.responses import HTMLResponse

from app.accounts.access import install_way_to_password, public
from app.audit.service import install_log
from app.core.clock import Clock, read_clock
from app.core.db import create_house_engine, open_sessions
from app.core.settings import Settings, read_settings
from app.core.turns import Turns
from app.web import health
from app.web.docs import install_static, show_reference
from app.web.head import HeadAsGet
from app.web.headers import SecurityHeaders
from app.web.json_keys import check_json_keys
from app.web.limits import BodyLimits
from app.web.problems import install_problems
from app.web.wings import Wing

API: Final = "/api/v1"

PAGES: Final = (
    "app.accounts.pages",
    "app.plant.pages",
    "app.materials.pages",
    "app.boards.pages",
    "app.recipes.pages",
    "app.windows.pages",
    "app.jobs.pages",
    "app.history.pages",
)
ROUTES: Final = (
    "app.accounts.routes",
    "app.plant.routes",
    "app.materials.routes",
    "app.boards.routes",
    "app.recipes.routes",
    "app.windows.routes",
    "app.jobs.routes",
    "app.history.routes",
)

PROBLEM: Final[dict[str, Any]] = {
    "description": "Refused: RFC 9457 problem with a stable code and one fault a field.",
    "content": {
        "application/problem+json": {
            "example": {
                "type": "about:blank",
                "title": "Unprocessable Entity",
                "status": 422,
                "code": "core.unreadable",
                "detail": "zones.0.time_s: must be at most 1800, not 9999",
                "faults": [
                    {"field": "zones.0.time_s", "sentence": "must be at most 1800, not 9999"}
                ],
            }
        }
    },
}
REFUSALS: Final[dict[int | str, dict[str, Any]]] = dict.fromkeys(
    (400, 401, 403, 404, 409, 412, 413, 422, 428, 429, 503), PROBLEM
)


def create_app(settings: Settings | None = None, clock: Clock = read_clock) -> FastAPI:
    """Create the service; a test hands in its own settings and clock."""
    house = FastAPI(
        title="Wickbook",
        version="1",
        description="Boards, recipes, jobs, runs and their audit trail.",
        docs_url=None,
        redoc_url=None,
        openapi_url=f"{API}/openapi.json",
    )
    house.state.settings = settings or read_settings()
    house.state.clock = clock
    house.state.sessions = open_sessions(create_house_engine(house.state.settings.database_url))
    house.state.write_turn = Turns() if house.state.settings.is_sqlite else None
    install_log(house.state.sessions)
    house.add_middleware(HeadAsGet)
    house.add_middleware(BodyLimits, settings=house.state.settings)
    house.add_middleware(SecurityHeaders)
    install_problems(house)
    install_way_to_password(house)
    install_static(house)
    for name in PAGES:
        house.include_router(Wing(import_module(name).router), include_in_schema=False)
    for name in ROUTES:
        wing = Wing(import_module(name).router, prefix=API)
        house.include_router(
            wing, prefix=API, responses=REFUSALS, dependencies=[Depends(check_json_keys)]
        )
    house.include_router(health.router, dependencies=[Depends(public)])
    house.add_api_route(
        "/api/docs",
        show_reference,
        response_class=HTMLResponse,
        include_in_schema=False,
        dependencies=[Depends(public)],
    )
    return house
