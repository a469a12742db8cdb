"""One spelling for one value: the bytes that digests are taken over (RFC 8785)."""

from collections.abc import Mapping, Sequence
from hashlib import sha256
from typing import TypeAlias

import rfc8785

JsonValue: TypeAlias = (
    "str | int | float | bool | Sequence[JsonValue] | Mapping[str, JsonValue] | None"
)


def spell_canonical_json(value: Mapping[str, JsonValue]) -> bytes:
    """Return the canonical UTF-8 bytes of a JSON object.

    RFC 8785. ValueError for what JSON cannot say in one way: NaN, infinities, integers beyond
    2**53 and text with unpaired surrogates.
    """
    return rfc8785.dumps(value)


def compute_digest(value: Mapping[str, JsonValue]) -> str:
    """Return the SHA-256 of the canonical bytes as 64 hexadecimal digits."""
    return sha256(spell_canonical_json(value)).hexdigest()
