"""The reference of the REST interface, with Swagger UI's files served from the plant itself."""

import os
from pathlib import Path

import plotly
from fastapi import FastAPI, Request, Response
from fastapi.responses import HTMLResponse
from fastapi.staticfiles import StaticFiles
from starlette.types import Scope
from swagger_ui_bundle import swagger_ui_path

from app.web.templates import APP_FOLDER, render_bare

PLOTLY_FOLDER = Path(plotly.__file__).parent / "package_data"


class KeptFiles(StaticFiles):
    """Files that a browser keeps, and asks whether they are new before it uses them again."""

    def file_response(
        self,
        full_path: str | os.PathLike[str],
        stat_result: os.stat_result,
        scope: Scope,
        status_code: int = 200,
    ) -> Response:
        """Answer with the file, or that the browser has it already."""
        answer = super().file_response(full_path, stat_result, scope, status_code)
        answer.headers["Cache-Control"] = "no-cache"
        return answer


def install_static(app: FastAPI) -> None:
    """Serve the house's own static files, plotly's script and Swagger UI's files."""
    app.mount("/static", KeptFiles(directory=APP_FOLDER / "web" / "static"), name="static")
    app.mount("/vendor/plotly", KeptFiles(directory=PLOTLY_FOLDER), name="plotly")
    app.mount("/vendor/swagger", KeptFiles(directory=swagger_ui_path), name="swagger")


def show_reference(_request: Request) -> HTMLResponse:
    """Show the reference page; it reads `/api/v1/openapi.json`."""
    return render_bare("web/reference.html")
