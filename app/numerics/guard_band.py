"""Decides whether a measured value conforms to its limits, given its uncertainty (JCGM 106)."""

import math
from enum import StrEnum

from app.numerics.errors import NumericsError


class UndecidableLimit(NumericsError):
    """No limit, limits out of order, or a value or uncertainty that is no usable number."""


class DecisionRule(StrEnum):
    """The rule by which conformity is decided; to be named beside every verdict.

    Guarded acceptance moves each limit inwards by a guard band w = U (k = 2). With one limit and
    a normal distribution at most 2.3 % of what it accepts at the very edge does not conform.
    Simple acceptance shares the risk: a value at a limit is inside in one case out of two only.
    """

    GUARDED = "guarded acceptance, guard band w = U (k = 2), JCGM 106"
    SIMPLE = "simple acceptance, shared risk, JCGM 106"


class Conformity(StrEnum):
    """The answer."""

    INSIDE = "inside"
    OUTSIDE = "outside"
    TOO_CLOSE = "too close to call"


def decide(
    value: float,
    expanded_uncertainty: float,
    *,
    lower: float | None = None,
    upper: float | None = None,
    rule: DecisionRule = DecisionRule.GUARDED,
) -> Conformity:
    """Decide by the rule; all four in one unit, the uncertainty U expanded by k = 2 and ≥ 0.

    Guarded: inside from `lower` + U to `upper` − U, both included; outside below `lower` − U or
    above `upper` + U; too close to call between. Simple: inside from `lower` to `upper`, both
    included, outside else. Source: JCGM 106:2012, clauses 8.2 and 8.3 (from memory: confirm
    against your copy). Raises UndecidableLimit.
    """
    _check(value, expanded_uncertainty, lower, upper)
    low, high = _fill(lower, upper)
    guard = expanded_uncertainty if rule is DecisionRule.GUARDED else 0.0
    if low + guard <= value <= high - guard:
        return Conformity.INSIDE
    if value < low - guard or value > high + guard:
        return Conformity.OUTSIDE
    return Conformity.TOO_CLOSE


def compute_conformance_probability(
    value: float,
    standard_uncertainty: float,
    *,
    lower: float | None = None,
    upper: float | None = None,
) -> float:
    """Probability, 0 to 1, that the true value lies within the limits, both included.

    The true value is taken as normal about the measured one: Φ((upper − y)/u) − Φ((lower − y)/u).
    Without uncertainty it is 0 or 1. Source: JCGM 106:2012, clause 7 (from memory: confirm
    against your copy). Raises UndecidableLimit.
    """
    _check(value, standard_uncertainty, lower, upper)
    low, high = _fill(lower, upper)
    if standard_uncertainty == 0.0:
        return 1.0 if low <= value <= high else 0.0
    # By the tails, so that a probability near 1 and one near 0 both keep their digits.
    scale = standard_uncertainty * math.sqrt(2.0)
    if low > value:
        return (math.erfc((low - value) / scale) - math.erfc((high - value) / scale)) / 2.0
    if high < value:
        return (math.erfc((value - high) / scale) - math.erfc((value - low) / scale)) / 2.0
    return 1.0 - (math.erfc((value - low) / scale) + math.erfc((high - value) / scale)) / 2.0


def _check(value: float, uncertainty: float, lower: float | None, upper: float | None) -> None:
    if lower is None and upper is None:
        raise UndecidableLimit("A value can only be held against a limit: there is none.")
    for name, number in (("value", value), ("lower", lower), ("upper", upper)):
        if number is not None and not math.isfinite(number):
            raise UndecidableLimit(f"{name} must be a finite number, not {number:g}.")
    if not (math.isfinite(uncertainty) and uncertainty >= 0.0):
        raise UndecidableLimit(f"An uncertainty of {uncertainty:g} is no number from 0 up.")
    if lower is not None and upper is not None and lower > upper:
        raise UndecidableLimit(f"The lower limit {lower:g} is above the upper limit {upper:g}.")


def _fill(lower: float | None, upper: float | None) -> tuple[float, float]:
    return -math.inf if lower is None else lower, math.inf if upper is None else upper
