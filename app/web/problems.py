"""Answers every refusal: RFC 9457 problem+json to programs, a page with a way on to people."""

import logging
from collections.abc import Mapping
from dataclasses import dataclass
from http import HTTPStatus
from typing import Final

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse, Response
from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from sqlalchemy.orm.exc import StaleDataError
from starlette.exceptions import HTTPException

from app.core.conditional import EditedMeanwhile
from app.core.faults import spell_fault
from app.core.refusals import (
    Conflict,
    Fault,
    Forbidden,
    Missing,
    Refusal,
    Stale,
    TooLarge,
    TooSoon,
    Unacceptable,
    Unidentified,
    Unknown,
    Unreadable,
)
from app.web.headers import add_security_headers
from app.web.templates import render

log = logging.getLogger("wickbook")

STATUS_OF_KIND: Final[Mapping[type[Refusal], HTTPStatus]] = {
    Unidentified: HTTPStatus.UNAUTHORIZED,
    Forbidden: HTTPStatus.FORBIDDEN,
    Unknown: HTTPStatus.NOT_FOUND,
    Conflict: HTTPStatus.CONFLICT,
    Stale: HTTPStatus.PRECONDITION_FAILED,
    Missing: HTTPStatus.PRECONDITION_REQUIRED,
    TooLarge: HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
    TooSoon: HTTPStatus.TOO_MANY_REQUESTS,
    Unacceptable: HTTPStatus.UNPROCESSABLE_ENTITY,
}


class Contradiction(Conflict):
    """The database refused what a rule should have refused first."""

    code = "core.contradiction"


class Busy(Refusal):
    """The database did not answer in time."""

    code = "core.busy"


class RequestUnreadable(Unreadable):
    """Values of the request do not have the type or the range that was asked for."""


class BodyUnreadable(Unacceptable):
    """The body is no JSON that can be read."""

    code = "core.body_unreadable"


@dataclass(frozen=True)
class RefusalPage:
    """All that refusal.html can see."""

    title: str
    status: int
    faults: tuple[Fault, ...]
    code: str
    way_back: str


def get_status(refusal: type[Refusal]) -> HTTPStatus:
    """Return the status of the kind a refusal descends from; KeyError for an orphan."""
    kind = next((ancestor for ancestor in refusal.__mro__ if ancestor in STATUS_OF_KIND), refusal)
    return STATUS_OF_KIND[kind]


def answer_refusal(request: Request, refusal: Refusal) -> Response:
    """Answer one refusal in the form the asker reads."""
    status = HTTPStatus.SERVICE_UNAVAILABLE
    if not isinstance(refusal, Busy):
        status = get_status(type(refusal))
    faults = (
        refusal.faults
        if isinstance(refusal, Unreadable)
        else (Fault(refusal.field or "", refusal.sentence),)
    )
    answer = _answer(request, status, refusal.code, refusal.sentence, faults)
    if isinstance(refusal, TooSoon):
        answer.headers["Retry-After"] = str(refusal.wait_s)
    if isinstance(refusal, Busy):
        answer.headers["Retry-After"] = "2"
    if isinstance(refusal, Unidentified):
        answer.headers["WWW-Authenticate"] = 'Bearer realm="Wickbook"'
    return answer


def install_problems(app: FastAPI) -> None:
    """Teach the app to answer refusals, and its own errors, in one way."""

    @app.exception_handler(Refusal)
    def answer(request: Request, refusal: Refusal) -> Response:
        return answer_refusal(request, refusal)

    @app.exception_handler(StaleDataError)
    def answer_stale_row(request: Request, _: StaleDataError) -> Response:
        sentence = "Somebody changed this while you looked at it; look again and repeat it."
        return answer_refusal(request, EditedMeanwhile(sentence))

    @app.exception_handler(RequestValidationError)
    def answer_unreadable(request: Request, error: RequestValidationError) -> Response:
        faults = tuple(spell_fault(fault) for fault in error.errors())
        return answer_refusal(request, RequestUnreadable(faults))

    @app.exception_handler(HTTPException)
    def answer_http_error(request: Request, error: HTTPException) -> Response:
        if (refusal := find_refusal_behind(error)) is not None:
            return answer_refusal(request, refusal)
        status = HTTPStatus(error.status_code)
        fault = Fault("", str(error.detail))
        made = _answer(request, status, f"http.{status.name.lower()}", str(error.detail), (fault,))
        for name, value in (error.headers or {}).items():
            made.headers[name] = value
        _allow_head(made)
        return made

    @app.exception_handler(DBAPIError)
    def answer_database(request: Request, error: DBAPIError) -> Response:
        log.error("database refused %s %r: %r", request.method, request.url.path, str(error.orig))
        return answer_refusal(request, get_refusal_of_database(error))

    @app.exception_handler(Exception)
    def answer_own_fault(request: Request, _: Exception) -> Response:
        # Answered outside all that wraps the app, which then hands the error on to the log.
        sentence = "Wickbook failed at this; the service's log says where."
        status = HTTPStatus.INTERNAL_SERVER_ERROR
        made = _answer(request, status, "core.failed", sentence, (Fault("", sentence),))
        add_security_headers(made.headers, scheme=request.url.scheme)
        return made

    @app.exception_handler(PoolTimeout)
    def answer_no_connection(request: Request, _: PoolTimeout) -> Response:
        return answer_refusal(request, Busy("The service is very busy; try again shortly."))


def get_refusal_of_database(error: DBAPIError) -> Refusal:
    """Return what an error of the database means to who asked."""
    if isinstance(error, IntegrityError):
        return Contradiction("This contradicts what is stored; look again and retry.")
    if isinstance(error, OperationalError):
        return Busy("The database is busy or away; try again shortly.")
    return Contradiction("The record does not allow this change.")


def find_refusal_behind(error: HTTPException) -> Refusal | None:
    """Return the refusal that FastAPI hides when a JSON body cannot be read, or None."""
    cause = error.__cause__
    if isinstance(cause, Refusal):
        return cause
    if isinstance(cause, RecursionError):
        return BodyUnreadable("The JSON is nested too deeply.", field="body")
    if isinstance(cause, UnicodeDecodeError):
        return BodyUnreadable("The JSON is not written in UTF-8.", field="body")
    if isinstance(cause, ValueError):
        return BodyUnreadable("A number of the JSON has too many digits.", field="body")
    return None


def spell_way_back(came_from: str, *, here: str) -> str:
    """Return the address within the house that somebody came from, or `/` for any other.

    `here` is the house's own address with a slash at its end. A browser takes what begins with two
    slashes, also of the other kind, for another house.
    """
    inside = came_from.removeprefix(here)
    if inside == came_from or inside.startswith(("/", "\\")) or not inside.isprintable():
        return "/"
    return f"/{inside}"


def is_for_programs(request: Request) -> bool:
    """Whether the asker reads JSON: everything under /api and the health checks."""
    return request.url.path.startswith(("/api/", "/healthz", "/readyz"))


def _allow_head(answer: Response) -> None:
    """Say that HEAD may be asked wherever GET may."""
    allowed = answer.headers.get("allow", "").split(", ")
    if "GET" in allowed and "HEAD" not in allowed:
        answer.headers["Allow"] = ", ".join([*allowed, "HEAD"])


def _answer(
    request: Request, status: HTTPStatus, code: str, sentence: str, faults: tuple[Fault, ...]
) -> Response:
    if is_for_programs(request):
        problem = {
            "type": "about:blank",
            "title": status.phrase,
            "status": int(status),
            "code": code,
            "detail": sentence,
            "faults": [{"field": f.field, "sentence": f.sentence} for f in faults],
        }
        return JSONResponse(problem, status, media_type="application/problem+json")
    if status == HTTPStatus.UNAUTHORIZED and request.method == "GET":
        return RedirectResponse("/sign-in", status_code=303)
    page = RefusalPage(
        title=status.phrase if not sentence else "Not done",
        status=int(status),
        faults=faults,
        code=code,
        way_back=spell_way_back(request.headers.get("referer", ""), here=str(request.base_url)),
    )
    return render("web/refusal.html", page, status=int(status))
