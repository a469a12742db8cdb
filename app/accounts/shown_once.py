"""Answers with a secret the first time only: what is kept for a repeated key never holds it."""

from collections.abc import Sequence

from fastapi.responses import Response
from pydantic import BaseModel


def answer_with_secret(kept: Response, made: Sequence[BaseModel]) -> Response:
    """Return the kept answer with the body that has the secret; as it is when nothing was made."""
    if not made:
        return kept
    body = made[-1].model_dump_json().encode()
    answer = Response(body, status_code=kept.status_code, media_type="application/json")
    if "etag" in kept.headers:
        answer.headers["ETag"] = kept.headers["etag"]
    return answer
