"""Whether a stretch of a trace is the answer to a step, and its time constant and dead time."""

import math
from dataclasses import dataclass

import numpy as np

from app.numerics.cut import cut_trace
from app.numerics.faults.shapes import NOISE_OF_THIRD_DIFFERENCE, bend, find_middle
from app.numerics.identification import (
    StepAnswer,
    TwoPointAnswer,
    compute_likeness,
    fit_step,
    read_step_two_points,
)
from app.numerics.trace import FloatArray, Trace
from app.numerics.values import CannotSay

# All of these are our own rules. After three time constants 95 % of the change are done. A lag of
# third order, 1/(s + 1)³, lies 2.3 % of its change from the best curve of first order, an ordinary
# cooling tail 0.6 % to 1.1 %; a plate put into a furnace, in a published record, 0.34 %.
FEWEST_TIME_CONSTANTS = 3.0
MOST_NOISE_SHARE = 0.03
MOST_MISFIT_SHARE = 0.02
MOST_SYSTEMATIC_SHARE = 0.005
MOST_LIKENESS = 0.5
MOST_METHODS_APART = 0.05
# Noise moves the two points: three standard deviations of τ read off them, by the curve's slopes.
METHODS_APART_OF_NOISE = 14.0
FEWEST_IN_TIME_CONSTANT = 3.0
MOST_READINGS = 20_000

_FEWEST_FOR_NOISE = 8
_NOISE_FROM = 4_000
_LAST_SHARE = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class StepJudgement:
    """Both methods' answers, what is left of the readings, and why the step does not hold.

    `reasons` is empty when it holds; otherwise the answers are not to be shown as results.
    `noise_k` is the scatter of the readings, `residual_k` readings minus least-squares curve at
    `time_s` (s). Only every so many readings were fitted where `taken_every` is above 1.
    """

    fit: StepAnswer | CannotSay
    two_points: TwoPointAnswer | CannotSay
    reasons: tuple[str, ...]
    noise_k: float
    time_s: FloatArray
    temperature_c: FloatArray
    residual_k: FloatArray
    taken_every: int

    @property
    def holds(self) -> bool:
        """Whether the stretch is the answer to a step, as far as can be seen."""
        return not self.reasons


def judge_step(trace: Trace, *, from_s: float, to_s: float) -> StepJudgement:
    """Fit a step's answer to the stretch from `from_s` to `to_s` (s), and say if it may be one.

    The step is at `from_s` and the first reading there is the baseline. The two points are read
    off between the baseline and the mean of the stretch's last tenth. Raises UnusablePart for ends
    that are no time.
    """
    part = cut_trace(trace, from_s, to_s)
    every = max(1, -(-part.time_s.size // MOST_READINGS))
    part = Trace(part.time_s[::every], part.temperature_c[::every], 0)
    fit = fit_step(part)
    nothing = np.empty(0, dtype=np.float64)
    if isinstance(fit, CannotSay):
        return StepJudgement(
            fit,
            CannotSay(fit.reason),
            (fit.reason,),
            0.0,
            part.time_s,
            part.temperature_c,
            nothing,
            every,
        )
    residual = part.temperature_c - compute_answer(fit, part.time_s - part.time_s[0])
    two_points = read_step_two_points(
        part,
        step_at_s=float(part.time_s[0]),
        until_s=float(part.time_s[-1]),
        baseline_c=fit.baseline_c,
        final_c=_find_final_c(part),
    )
    noise = _estimate_noise_k(residual)
    likeness = compute_likeness(residual)
    return StepJudgement(
        fit,
        two_points,
        tuple(_list_reasons(part, fit, two_points, noise_k=noise, likeness=likeness)),
        noise,
        part.time_s,
        part.temperature_c,
        residual,
        every,
    )


def compute_answer(fit: StepAnswer, since_s: FloatArray) -> FloatArray:
    """Return the fitted temperature (°C) at times since the step (s)."""
    after = np.maximum(since_s - fit.dead_time_s, 0.0)
    answer: FloatArray = fit.baseline_c - fit.change_k * np.expm1(-after / fit.time_constant_s)
    return answer


def _find_final_c(part: Trace) -> float:
    begin = part.time_s[-1] - _LAST_SHARE * part.span_s
    return float(part.temperature_c[part.time_s >= begin].mean())


def _estimate_noise_k(residual: FloatArray) -> float:
    """Estimate independent noise (K) from third differences, which smooth misfits do not reach."""
    if residual.size < _FEWEST_FOR_NOISE:
        return 0.0
    bent, _ = bend(np.diff(residual), at_most=_NOISE_FROM)
    return find_middle(np.abs(bent)) / NOISE_OF_THIRD_DIFFERENCE


def _list_reasons(
    part: Trace,
    fit: StepAnswer,
    two_points: TwoPointAnswer | CannotSay,
    *,
    noise_k: float,
    likeness: float,
) -> list[str]:
    change, tau = abs(fit.change_k), fit.time_constant_s
    if noise_k > MOST_NOISE_SHARE * change:
        # What else could be said of such a curve would be said of the noise.
        return [_say_noisy(noise_k, change)]
    reasons = []
    lasts = part.span_s - fit.dead_time_s
    if lasts < FEWEST_TIME_CONSTANTS * tau:
        reasons.append(
            f"Too short: the stretch ends {lasts / tau:.1f} time constants after the answer "
            f"begins; {FEWEST_TIME_CONSTANTS:g} are needed, so that 95 % of the change are seen."
        )
    misfit = math.sqrt(max(fit.rms_k**2 - noise_k**2, 0.0))
    if misfit > MOST_MISFIT_SHARE * change:
        reasons.append(
            f"Not a step: beyond their noise the readings lie {misfit:.2g} K (root mean square) "
            f"from the best curve, which is more than {100 * MOST_MISFIT_SHARE:g} % of the "
            f"change of {change:.3g} K."
        )
    elif misfit > MOST_SYSTEMATIC_SHARE * change and likeness > MOST_LIKENESS:
        reasons.append(
            f"Not a step of first order: beyond their noise the readings lie {misfit:.2g} K (root "
            f"mean square) from the best curve, more than {100 * MOST_SYSTEMATIC_SHARE:g} % of the "
            f"change of {change:.3g} K, and do so in long runs to one side, not by chance "
            f"(neighbours alike by {likeness:.2f}, at most {MOST_LIKENESS:g})."
        )
    usual_s = float(np.median(np.diff(part.time_s)))
    if tau < FEWEST_IN_TIME_CONSTANT * usual_s:
        reasons.append(
            f"Too coarse: a time constant of {tau:.2g} s has fewer than "
            f"{FEWEST_IN_TIME_CONSTANT:g} readings, which are {usual_s:g} s apart."
        )
    if isinstance(two_points, CannotSay):
        reasons.append(f"The two points are not there: {two_points.reason}")
    elif not reasons:
        apart = MOST_METHODS_APART + METHODS_APART_OF_NOISE * noise_k / change
        if abs(two_points.time_constant_s - tau) > apart * tau:
            reasons.append(
                f"Not a step of first order: the two methods give {tau:.3g} s and "
                f"{two_points.time_constant_s:.3g} s, more than {100 * apart:.2g} % apart."
            )
    return reasons


def _say_noisy(noise_k: float, change_k: float) -> str:
    return (
        f"Too noisy: the readings scatter by {noise_k:.2g} K, which is more than "
        f"{100 * MOST_NOISE_SHARE:g} % of the change of {change_k:.3g} K."
    )
