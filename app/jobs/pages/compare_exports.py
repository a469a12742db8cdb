"""A comparison as it is seen, to take along: SVG, PNG, CSV, JSON."""

from typing import Annotated

from fastapi import APIRouter, Depends
from fastapi.responses import Response, StreamingResponse

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.request import HouseSettings, RequestSession
from app.jobs.chart_picture import draw_png
from app.jobs.comparison_data import spell_comparison_csv, view_comparison_json
from app.jobs.downloads import spell_disposition
from app.jobs.pages.compare_asked import Asked, AskedComparison, see_comparison

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Exporter = Annotated[Person, Depends(needs(Action.HISTORY_EXPORT))]


@router.get("/runs/compare/chart.svg")
def export_svg(
    session: RequestSession, settings: HouseSettings, asked: Asked, _: Reader
) -> Response:
    """Give the seen part of a comparison as SVG."""
    return _answer(see_comparison(session, asked, settings).draw(), "image/svg+xml", asked, "svg")


@router.get("/runs/compare/chart.png")
def export_png(
    session: RequestSession, settings: HouseSettings, asked: Asked, _: Reader
) -> Response:
    """Give the seen part of a comparison as PNG."""
    picture = see_comparison(session, asked, settings).draw()
    return _answer(draw_png(picture), "image/png", asked, "png")


@router.get("/runs/compare/chart.csv")
def export_csv(
    session: RequestSession, settings: HouseSettings, asked: Asked, _: Exporter
) -> StreamingResponse:
    """Give every sample of the seen part as CSV, below what it is."""
    seen = see_comparison(session, asked, settings)
    return StreamingResponse(
        spell_comparison_csv(seen.comparison, seen.view, scale=seen.scale, about=seen.about),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": spell_disposition(_name(asked, "csv"))},
    )


@router.get("/runs/compare/chart.json")
def export_json(
    session: RequestSession, settings: HouseSettings, asked: Asked, _: Exporter
) -> Response:
    """Give the seen part as JSON: lines, envelope, departures, figures and differences."""
    seen = see_comparison(session, asked, settings)
    said = view_comparison_json(seen.comparison, seen.view, scale=seen.scale, about=seen.about)
    return _answer(said.model_dump_json(), "application/json", asked, "json")


def _answer(content: str | bytes, media_type: str, asked: AskedComparison, suffix: str) -> Response:
    headers = {"Content-Disposition": spell_disposition(_name(asked, suffix))}
    return Response(content, media_type=media_type, headers=headers)


def _name(asked: AskedComparison, suffix: str) -> str:
    return f"runs-{'-'.join(map(str, asked.run_ids))}.{suffix}"
