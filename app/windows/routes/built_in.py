"""JSON routes of the built-in windows: read, taken as a start, put into a recipe."""

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends, Path, Query, Response

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.conditional import IfMatch
from app.core.refusals import Fault
from app.core.request import Now, RequestSession
from app.web.once import CreateOnce
from app.windows import service
from app.windows.built_in import Package, get_built_in, list_built_ins
from app.windows.downloads import answer_csv, answer_json, state_built_in
from app.windows.origin import name_built_in
from app.windows.routes.versions import put
from app.windows.rules import PackageNotStated
from app.windows.schemas import (
    BuiltInLineView,
    BuiltInView,
    PutBuiltInFields,
    PutView,
    StartFields,
    ThicknessMm,
    VersionView,
    VolumeMm3,
)
from app.windows.views import view_built_in, view_built_in_line, view_version

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Writer = Annotated[Person, Depends(needs(Action.RECIPES_WRITE))]
Key = Annotated[str, Path(max_length=80, examples=["classification-pb-free"])]


@router.get("/built-in-windows")
def list_built_in(_: Reader) -> list[BuiltInLineView]:
    """List the built-in windows; none of them can be changed."""
    return [view_built_in_line(line) for line in list_built_ins()]


Thickness = Annotated[ThicknessMm | None, Query()]
Volume = Annotated[VolumeMm3 | None, Query()]


def make_package(thickness_mm: float | None, volume_mm3: float | None) -> Package | None:
    """Return the package of two numbers; None without both, PackageNotStated with one alone."""
    if thickness_mm is None and volume_mm3 is None:
        return None
    if thickness_mm is None or volume_mm3 is None:
        field = "thickness_mm" if thickness_mm is None else "volume_mm3"
        raise PackageNotStated((Fault(field, "must be given with the other one"),))
    return Package(thickness_mm, volume_mm3)


@router.get("/built-in-windows/{key}")
def show_built_in(
    key: Key, _: Reader, thickness_mm: Thickness = None, volume_mm3: Volume = None
) -> BuiltInView:
    """Show a built-in window; a classification profile goes by thickness and volume."""
    return view_built_in(get_built_in(key, make_package(thickness_mm, volume_mm3)))


@router.get("/built-in-windows/{key}/file")
def download_file(
    key: Key, _: Reader, thickness_mm: Thickness = None, volume_mm3: Volume = None
) -> Response:
    """Download it as the JSON file that the import and `wickbook analyse` read."""
    found = get_built_in(key, make_package(thickness_mm, volume_mm3))
    return answer_json(state_built_in(found))


@router.get("/built-in-windows/{key}/table")
def download_table(
    key: Key, _: Reader, thickness_mm: Thickness = None, volume_mm3: Volume = None
) -> Response:
    """Download it as a CSV table for people."""
    found = get_built_in(key, make_package(thickness_mm, volume_mm3))
    return answer_csv(state_built_in(found))


@router.post(
    "/built-in-windows/{key}/copies", response_model=VersionView, status_code=HTTPStatus.CREATED
)
def start_own(
    key: Key,
    fields: StartFields,
    session: RequestSession,
    now: Now,
    person: Writer,
    once: CreateOnce,
) -> Response:
    """Start a window of the plant's own from it: a draft that keeps each source and status."""
    found = get_built_in(key, make_package(fields.thickness_mm, fields.volume_mm3))
    return once.answer(
        session,
        person.account_id,
        lambda: view_version(
            session,
            service.start_from_built_in(
                session,
                found,
                code=fields.code,
                title=fields.title or found.name,
                reason=fields.reason,
                person=person,
                now=now,
            ),
            origin=name_built_in(found),
        ),
    )


@router.post("/built-in-windows/{key}/uses")
def put_into_recipe(
    key: Key,
    fields: PutBuiltInFields,
    session: RequestSession,
    response: Response,
    now: Now,
    person: Writer,
    if_match: IfMatch = None,
) -> PutView:
    """Put it into one's own draft of a recipe; `If-Match` is that draft's."""
    found = get_built_in(key, make_package(fields.thickness_mm, fields.volume_mm3))
    return put(session, found, fields, if_match, person=person, now=now, response=response)
