"""From the form of a draft to the sums, with the draft's values in the address."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlencode

from app.recipes.sums.asked import MOST_CHARACTERS
from app.recipes.sums.sheets import JOINT, LUMPED, STENCIL

# More apertures than these are reached through one of their sums.
_MOST_APERTURES: Final = 6
# What a sum is worked out for: a draft by its number, and one of its apertures, counted from 1.
DRAFT_FIELD: Final = "draft"
ROW_FIELD: Final = "aperture"
_APERTURE_FIELDS: Final = ("shape", "length", "width", "count")


@dataclass(frozen=True)
class SumLink:
    """A way to a sum."""

    words: str
    href: str


def list_sum_links(
    path: str, fields: Mapping[str, str], *, deposit_kind: str = "", draft_id: int | None = None
) -> tuple[SumLink, ...]:
    """Return the sums that help with one group of a draft's form, from its texts by path.

    With the draft's number in the address, a sum can be put back into it.
    """
    draft = {} if draft_id is None else {DRAFT_FIELD: str(draft_id)}
    if path == "deposit" and deposit_kind == "paste":
        return _link_apertures(fields, draft)
    if path == "placement":
        given = _take_paste(fields) | draft
        return (SumLink("Work out the height of a ball", _address(JOINT.href, given)),)
    if path == "zones":
        given = {
            "gas_c": fields.get("zones.3.top_c", ""),
            "to_c": fields.get("window.liquidus_c", ""),
            **draft,
        }
        return (SumLink("Work out how fast a body follows", _address(LUMPED.href, given)),)
    return ()


def _link_apertures(fields: Mapping[str, str], draft: Mapping[str, str]) -> tuple[SumLink, ...]:
    filled = [
        place for place in range(_MOST_APERTURES) if fields.get(f"deposit.apertures.{place}.length")
    ]
    foil = {"foil_thickness": fields.get("deposit.foil_thickness", ""), **draft}
    if not filled:
        return (SumLink("Work out an aperture", _address(STENCIL.href, foil)),)
    return tuple(
        SumLink(
            f"Work out aperture {place + 1}",
            _address(
                STENCIL.href,
                _take_aperture(fields, place)
                | foil
                | ({ROW_FIELD: str(place + 1)} if draft else {}),
            ),
        )
        for place in filled
    )


def _take_aperture(fields: Mapping[str, str], place: int) -> dict[str, str]:
    return {name: fields.get(f"deposit.apertures.{place}.{name}", "") for name in _APERTURE_FIELDS}


def _take_paste(fields: Mapping[str, str]) -> dict[str, str]:
    if fields.get("deposit.kind") != "paste":
        return {}
    taken = _take_aperture(fields, 0)
    del taken["count"]
    return taken | {"foil_thickness": fields.get("deposit.foil_thickness", "")}


def _address(href: str, given: Mapping[str, str]) -> str:
    # What is longer than any value a sum takes is left out, not cut.
    kept = {name: text for name, text in given.items() if 0 < len(text.strip()) <= MOST_CHARACTERS}
    safe = {name: text.encode("utf-8", "replace").decode() for name, text in kept.items()}
    return f"{href}?{urlencode(safe)}" if safe else href
