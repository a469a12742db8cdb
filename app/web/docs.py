"""The reference of the REST interface, with Swagger UI's files served from the plant itself."""

from pathlib import Path

import plotly
from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse
from fastapi.staticfiles import StaticFiles
from swagger_ui_bundle import swagger_ui_path

from app.web.templates import APP_FOLDER, render_bare

PLOTLY_FOLDER = Path(plotly.__file__).parent / "package_data"


def install_static(app: FastAPI) -> None:
    """Serve the house's own static files, plotly's script and Swagger UI's files."""
    app.mount("/static", StaticFiles(directory=APP_FOLDER / "web" / "static"), name="static")
    app.mount("/vendor/plotly", StaticFiles(directory=PLOTLY_FOLDER), name="plotly")
    app.mount("/vendor/swagger", StaticFiles(directory=swagger_ui_path), name="swagger")


def show_reference(_request: Request) -> HTMLResponse:
    """Show the reference page; it reads `/api/v1/openapi.json`."""
    return render_bare("web/reference.html")
