"""Refuses a JSON body in which an object names the same key twice."""

import json
from typing import Final

from starlette.requests import Request

from app.core.refusals import Unacceptable
from app.core.request import SAFE_METHODS

SHOWN_LENGTH: Final = 60


class KeyTwice(Unacceptable):
    """An object of the JSON names a key twice: which of the two was meant, nobody can say."""

    code = "core.key_twice"


async def check_json_keys(request: Request) -> None:
    """Refuse a JSON body with a key that is named twice; KeyTwice names it.

    What is no JSON at all is left to whoever reads it.
    """
    if request.method in SAFE_METHODS or not _is_json(request.headers.get("content-type", "")):
        return
    body = await request.body()
    try:
        json.loads(body, object_pairs_hook=_check_pairs)
    except (ValueError, RecursionError):
        return


def _is_json(content_type: str) -> bool:
    kind = content_type.partition(";")[0].strip().lower()
    return kind == "application/json" or (
        kind.startswith("application/") and kind.endswith("+json")
    )


def _check_pairs(pairs: list[tuple[str, object]]) -> None:
    if len({key for key, _ in pairs}) == len(pairs):
        return
    seen: set[str] = set()
    for key, _ in pairs:
        if key in seen:
            shown = "".join(c if c.isprintable() else "�" for c in key[:SHOWN_LENGTH])
            raise KeyTwice(f"The JSON names {shown!r} twice in one object.", field=shown)
        seen.add(key)
