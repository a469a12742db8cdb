"""Answers with a window as a file."""

from fastapi import Response

from app.approval.queries import get_digest
from app.windows.built_in import BuiltIn
from app.windows.files import Stated, spell_window_csv, spell_window_json
from app.windows.queries import get_text
from app.windows.tables import WindowVersion


def state_version(version: WindowVersion) -> Stated:
    """Return one of the plant's own as it goes out."""
    return Stated(
        key=version.window.code,
        version=version.number,
        name=version.title,
        state=version.state,
        digest=get_digest(version),
        text=get_text(version),
    )


def state_built_in(found: BuiltIn) -> Stated:
    """Return a built-in one as it goes out."""
    return Stated(found.key, found.version, found.name, "built in", found.digest, found.text)


def answer_json(stated: Stated) -> Response:
    """Answer with the file that the import and `wickbook analyse` read."""
    return _answer(spell_window_json(stated), stated, "json", "application/json")


def answer_csv(stated: Stated) -> Response:
    """Answer with the table for people."""
    return _answer(spell_window_csv(stated), stated, "csv", "text/csv; charset=utf-8")


def _answer(text: str, stated: Stated, suffix: str, media_type: str) -> Response:
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "._-") else "_" for c in stated.key)
    name = f"window-{plain}-version-{stated.version}.{suffix}"
    return Response(
        text.encode(),
        media_type=media_type,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
