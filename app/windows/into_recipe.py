"""Puts a window's limits and temperatures into a recipe's body, and says where they are from."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final, Literal

from app.core.canonical_json import JsonValue
from app.core.numbers import spell_number
from app.core.refusals import Fault
from app.recipes.body.forms import BodyUnreadable, parse_body
from app.recipes.body.recipe import LEAST_TO_COMPARE, RecipeBody
from app.recipes.body.window import METRICS, Limit, Metric, TakenFrom, Window
from app.windows.body import NEEDED, WindowLine, WindowText
from app.windows.describe import list_dependent
from app.windows.rules import DoesNotFit

Limits = Literal["add", "replace"]
Temperatures = Literal["window", "draft"]

# A draft's cautions that begin so were written here; the same window's is written anew.
_FROM: Final = "Limits from window "
_SLOPES: Final = frozenset({Metric.MAX_RAMP_UP_K_PER_S, Metric.MAX_RAMP_DOWN_K_PER_S})
_WORDS: Final = {
    "liquidus_c": "a liquidus of",
    "soak_min_c": "a soak from",
    "soak_max_c": "a soak to",
    "classification_c": "a classification temperature of",
}


@dataclass(frozen=True)
class Stamp:
    """Which window something came from."""

    key: str
    version: int
    name: str
    digest: str

    @property
    def words(self) -> str:
        """How a recipe's caution begins that tells of it."""
        return f"{_FROM}{self.key}, version {self.version}"


def put_into_body(
    body: RecipeBody,
    text: WindowText,
    stamp: Stamp,
    *,
    limits: Limits,
    temperatures: Temperatures,
) -> RecipeBody:
    """Return the body with the window's limits in it, and a caution that says whose they are.

    Of the body's own limits, `add` takes away those of the same metric and channels, `replace`
    takes all. `window` sets the alloy and the temperatures that the window gives; `draft` keeps
    the body's, but for the classification temperature, and the caution then names each limit that
    is stated for another one. Raises DoesNotFit with one fault for each row that the body has no
    thermocouple for, and where the temperatures do not go together.
    """
    _check_measured(body, text)
    own = () if limits == "replace" else tuple(_keep(body.window.limits, text))
    taken = [_take(row, stamp) for row in text.rows]
    given = _list_given(text, body.window) if temperatures == "window" else {}
    if text.classification_c is not None:
        given["classification_c"] = text.classification_c
    whole: dict[str, Any] = body.model_dump(mode="json")
    whole["window"] |= given
    whole["window"]["limits"] = [one.model_dump(mode="json") for one in (*own, *taken)]
    is_gone = _FROM if limits == "replace" else f"{_FROM}{stamp.key}, "
    kept = [one for one in body.cautions if not one.startswith(is_gone)]
    whole["cautions"] = [
        *kept,
        _spell_caution(
            text, stamp, Window.model_construct(**{**body.window.model_dump(), **given})
        ),
    ]
    try:
        return parse_body(whole)
    except BodyUnreadable as refusal:
        raise DoesNotFit(refusal.faults) from None


def _take(row: WindowLine, stamp: Stamp) -> Limit:
    """Return a window's row as a recipe's limit that says where it came from."""
    return Limit(
        metric=row.metric,
        roles=row.roles,
        lower=row.lower,
        upper=row.upper,
        taken_from=TakenFrom(
            window=stamp.key,
            version=stamp.version,
            digest=stamp.digest,
            lower=row.lower,
            upper=row.upper,
            status=row.status.told,
            source=row.source,
        ),
    )


def _check_measured(body: RecipeBody, text: WindowText) -> None:
    roles = {one.role for one in body.thermocouples}
    joints = sum(one.role.is_joint for one in body.thermocouples)
    faults = [
        Fault(
            f"rows.{place}.roles",
            f"names “{role.words}”, which no thermocouple of the draft measures: add one first",
        )
        for place, row in enumerate(text.rows)
        for role in row.roles
        if role not in roles
    ]
    faults += [
        Fault(f"rows.{place}.metric", f"{row.metric} needs at least two joint thermocouples")
        for place, row in enumerate(text.rows)
        if METRICS[row.metric].is_of_site and joints < LEAST_TO_COMPARE
    ]
    if faults:
        raise DoesNotFit(tuple(faults))


def _keep(own: Iterable[Limit], text: WindowText) -> Iterable[Limit]:
    """Yield the limits that stay: without the channels that the window limits by that metric."""
    for limit in own:
        said = [row for row in text.rows if row.metric is limit.metric]
        if not said:
            yield limit
            continue
        taken = {role for row in said for role in row.roles}
        roles = tuple(role for role in limit.roles if role not in taken)
        if roles:
            yield limit.model_copy(update={"roles": roles})


def _list_given(text: WindowText, window: Window) -> dict[str, JsonValue]:
    """Return the temperatures that a window gives; an alloy without its solidus moves none."""
    told: dict[str, JsonValue] = {
        "solidus_c": text.solidus_c,
        "liquidus_c": text.liquidus_c,
        "soak_min_c": text.soak_min_c,
        "soak_max_c": text.soak_max_c,
        "classification_c": text.classification_c,
        "alloy": text.alloy or None,
    }
    if any(row.metric in _SLOPES for row in text.rows):
        told["ramp_window_s"] = text.ramp_window_s
    is_lower = text.liquidus_c is not None and text.liquidus_c < window.solidus_c
    if text.solidus_c is None and is_lower:
        told["solidus_c"] = text.liquidus_c
    return {name: value for name, value in told.items() if value is not None}


def _spell_caution(text: WindowText, stamp: Stamp, window: Window) -> str:
    told = [f"{stamp.words} (digest {stamp.digest}), “{stamp.name}”."]
    told += [f"{one[:1].upper()}{one[1:]}." for one in text.cautions]
    for field in NEEDED:
        stated, held = getattr(text, field), getattr(window, field)
        rows = list_dependent(text, field)
        if rows and stated is not None and held is not None and stated != held:
            labels = dict.fromkeys(METRICS[row.metric].label for row in rows)
            told.append(
                f"{', '.join(labels)}: stated for {_WORDS[field]} {spell_number(stated)} °C, "
                f"measured here at {spell_number(held)} °C."
            )
    is_of_slopes = any(row.metric in _SLOPES for row in text.rows)
    if is_of_slopes and text.ramp_window_s != window.ramp_window_s:
        told.append(
            f"Slopes are stated over {spell_number(text.ramp_window_s)} s and taken here over "
            f"{spell_number(window.ramp_window_s)} s."
        )
    return " ".join(told)
