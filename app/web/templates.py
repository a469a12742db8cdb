"""Renders a page: one frozen dataclass in, one HTML response out."""

from pathlib import Path
from typing import TYPE_CHECKING, Final

from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

APP_FOLDER: Final = Path(__file__).parent.parent

_environment = Environment(
    loader=FileSystemLoader(APP_FOLDER),
    undefined=StrictUndefined,
    autoescape=True,
    trim_blocks=True,
    lstrip_blocks=True,
    auto_reload=False,
)


def render(template: str, page: "DataclassInstance", *, status: int = 200) -> HTMLResponse:
    """Render `feature/name.html` with `page` as the only name the template can see."""
    text = _environment.get_template(template).render(page=page)
    # A refused form shows again what was typed, which may hold what UTF-8 cannot.
    return HTMLResponse(text.encode("utf-8", "replace"), status_code=status)


def render_bare(template: str) -> HTMLResponse:
    """Render a template that shows nothing of anybody's."""
    return HTMLResponse(_environment.get_template(template).render())
