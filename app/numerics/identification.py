"""Time constant and dead time of a channel from its answer to a step."""

import math
from dataclasses import dataclass

import numpy as np

from app.numerics.cut import cut_trace
from app.numerics.trace import FloatArray, Trace
from app.numerics.values import CannotSay

# The exact fractions of a first-order answer at τ/3 and τ after its dead time, 0.283469 and
# 0.632121; textbooks print them rounded, which reads a τ of 6.000 as 6.003.
EXACT_FRACTIONS = (1.0 - math.exp(-1.0 / 3.0), 1.0 - math.exp(-1.0))
ROUNDED_FRACTIONS = (0.283, 0.632)

_FEWEST_READINGS = 5
_MOST_FOR_START = 400
_START_COUNT = 3
_MOST_STEPS = 200
_HIGHEST_DAMPING = 1e12
_SMALLEST_GAIN = 1e-12
_FLATTEST_STEP_K = 1e-6
# A time constant beyond this many spans is a ramp, whose end the trace does not show.
_MOST_SPANS = 20.0
_MOST_LIKENESS = 0.999
COVERAGE_FACTOR = 2.0


@dataclass(frozen=True, slots=True)
class StepAnswer:
    """First order plus dead time: baseline + change·(1 − exp(−(t − θ)/τ)) after θ.

    `dead_time_s` counts from the step. `rms_k` is the root mean square of readings minus model.
    `is_dead_time_at_limit`: the best dead time would be before the step, so that it is 0. The
    expanded uncertainties (s, k = 2) are those of the fit alone, from its covariance and what is
    left of the readings; neighbours that err alike count as fewer. None where it has none.
    """

    baseline_c: float
    final_c: float
    time_constant_s: float
    dead_time_s: float
    rms_k: float
    reading_count: int
    is_dead_time_at_limit: bool = False
    expanded_time_constant_s: float | None = None
    expanded_dead_time_s: float | None = None

    @property
    def change_k(self) -> float:
        """How far the answer goes in all, with its sign."""
        return self.final_c - self.baseline_c


@dataclass(frozen=True, slots=True)
class TwoPointAnswer:
    """The same model from two moments: τ = 1.5·(t63 − t28), θ = t63 − τ.

    `at_28_s` and `at_63_s` are the first moments after the step at 28.3 % and 63.2 % of the
    change. A negative `dead_time_s` says that the answer is no first order with a dead time.
    """

    baseline_c: float
    final_c: float
    at_28_s: float
    at_63_s: float

    @property
    def time_constant_s(self) -> float:
        """τ in s."""
        return 1.5 * (self.at_63_s - self.at_28_s)

    @property
    def dead_time_s(self) -> float:
        """θ in s from the step."""
        return self.at_63_s - self.time_constant_s


def read_step_two_points(
    trace: Trace,
    *,
    step_at_s: float,
    until_s: float,
    baseline_c: float,
    final_c: float,
    fractions: tuple[float, float] = EXACT_FRACTIONS,
) -> TwoPointAnswer | CannotSay:
    """Read τ and θ (s) off the moments at 28.3 % and 63.2 % of a step's answer.

    The trace counts from `step_at_s` to `until_s`, rising or falling from `baseline_c` to
    `final_c` (°C), interpolated. Cannot say when there is no change, or a fraction is not reached
    or already passed at the start. Raises
    UnusablePart for ends that are no time.
    """
    part = cut_trace(trace, step_at_s, until_s)
    change = final_c - baseline_c
    if part.time_s.size < _FEWEST_READINGS:
        return CannotSay(f"A step needs {_FEWEST_READINGS} readings or more.")
    if not abs(change) > _FLATTEST_STEP_K:
        return CannotSay("There is no change to divide: baseline and final value are equal.")
    share = (part.temperature_c - baseline_c) / change
    moments: list[float] = []
    for fraction in fractions:
        reached = np.flatnonzero(share >= fraction)
        if not reached.size:
            return CannotSay(f"The answer does not reach {fraction:.1%} of its change.")
        place = int(reached[0])
        if place == 0:
            return CannotSay(f"The answer starts beyond {fraction:.1%} of its change.")
        before, after = float(share[place - 1]), float(share[place])
        begin, end = float(part.time_s[place - 1]), float(part.time_s[place])
        moments.append(begin + (fraction - before) / (after - before) * (end - begin))
    return TwoPointAnswer(
        baseline_c=baseline_c,
        final_c=final_c,
        at_28_s=moments[0] - step_at_s,
        at_63_s=moments[1] - step_at_s,
    )


def fit_step(
    trace: Trace,
    *,
    step_at_s: float | None = None,
    until_s: float | None = None,
    baseline_c: float | None = None,
    final_c: float | None = None,
) -> StepAnswer | CannotSay:
    """Fit first order plus dead time to the readings by least squares.

    Counts readings from `step_at_s` (the first reading) to `until_s` (the last). `baseline_c` is
    the first of them unless given; `final_c` is fitted unless given. Every reading weighs the
    same. Variable projection: the change is the best one for each (τ, θ), which Gauss and Newton
    find from the best points of a coarse grid, damped (Levenberg-Marquardt). Cannot say for fewer
    than five readings, for a flat trace, or when τ would be longer than 20 times the span.
    Raises UnusablePart for ends that are no time.
    """
    if trace.time_s.size < _FEWEST_READINGS:
        return CannotSay(f"A step needs {_FEWEST_READINGS} readings or more.")
    begin_s = float(trace.time_s[0]) if step_at_s is None else step_at_s
    part = cut_trace(trace, begin_s, float(trace.time_s[-1]) if until_s is None else until_s)
    if part.time_s.size < _FEWEST_READINGS:
        return CannotSay(f"A step needs {_FEWEST_READINGS} readings or more.")
    start_c = float(part.temperature_c[0]) if baseline_c is None else baseline_c
    problem = _Problem(
        time=part.time_s - begin_s,
        rise=part.temperature_c - start_c,
        change=None if final_c is None else final_c - start_c,
    )
    if not float(np.abs(problem.rise).max()) > _FLATTEST_STEP_K:
        return CannotSay("The trace does not change after the step.")
    found = [_descend(problem, *start) for start in _list_starts(problem)]
    tau, theta = min(found, key=lambda pair: problem.cost(*pair))
    if tau >= _MOST_SPANS * problem.span:
        return CannotSay("The answer is no step: it does not bend before the trace ends.")
    change, residual = problem.project(tau, theta)
    expanded = _weigh(problem, tau, theta, is_baseline_read=baseline_c is None)
    return StepAnswer(
        baseline_c=start_c,
        final_c=start_c + change,
        time_constant_s=tau,
        dead_time_s=theta,
        rms_k=float(np.sqrt(np.mean(residual**2))),
        reading_count=part.time_s.size,
        is_dead_time_at_limit=theta == 0.0,
        expanded_time_constant_s=expanded[0],
        expanded_dead_time_s=expanded[1],
    )


def compute_likeness(residual: FloatArray) -> float:
    """Compute the autocorrelation of neighbours (−1 to 1): 0 for noise, near 1 for a wrong curve.

    0 for readings that all lie on the curve.
    """
    size = float(np.dot(residual, residual))
    return float(np.dot(residual[1:], residual[:-1])) / size if size > 0.0 else 0.0


def _weigh(
    problem: "_Problem", tau: float, theta: float, *, is_baseline_read: bool
) -> tuple[float | None, float | None]:
    """Compute U (k = 2, s) of τ and θ; θ at its limit is no free parameter and has none.

    A baseline that is one reading is as uncertain as that, and moves the whole curve.
    """
    residual, columns = problem.slopes(tau, theta)
    is_free = [True, theta > 0.0]
    free = columns[:, is_free]
    parameters = free.shape[1] + (problem.change is None)
    spare = residual.size - parameters
    if spare < 1 or np.linalg.matrix_rank(free) < free.shape[1]:
        return None, None
    likeness = min(max(compute_likeness(residual), 0.0), _MOST_LIKENESS)
    scatter = float(np.dot(residual, residual)) / spare * (1.0 + likeness) / (1.0 - likeness)
    inverse = np.linalg.inv(free.T @ free)
    variance = np.diag(inverse) * scatter
    if is_baseline_read:
        by_baseline = inverse @ free.T @ problem.take_change(np.ones(residual.size), tau, theta)
        variance = variance + by_baseline**2 * float(np.dot(residual, residual)) / spare
    expanded = COVERAGE_FACTOR * np.sqrt(variance)
    return float(expanded[0]) * tau, float(expanded[1]) if theta > 0.0 else None


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    time: FloatArray
    rise: FloatArray
    change: float | None

    @property
    def span(self) -> float:
        return float(self.time[-1])

    def shape(self, tau: float, theta: float) -> FloatArray:
        since: FloatArray = np.maximum(self.time - theta, 0.0)
        return -np.expm1(-since / tau)

    def project(self, tau: float, theta: float) -> tuple[float, FloatArray]:
        shape = self.shape(tau, theta)
        change = self.change
        if change is None:
            size = float(np.dot(shape, shape))
            change = float(np.dot(shape, self.rise)) / size if size > _SMALLEST_GAIN else 0.0
        return change, self.rise - change * shape

    def cost(self, tau: float, theta: float) -> float:
        _, residual = self.project(tau, theta)
        return float(np.dot(residual, residual))

    def slopes(self, tau: float, theta: float) -> tuple[FloatArray, FloatArray]:
        """Residual, and its derivatives by log τ and θ in two columns (Kaufman's projection)."""
        change, residual = self.project(tau, theta)
        since = self.time - theta
        is_after = since > 0.0
        decay = np.where(is_after, np.exp(-np.maximum(since, 0.0) / tau), 0.0)
        columns = np.column_stack((change * since / tau * decay, change * decay / tau))
        return residual, self.take_change(columns, tau, theta)

    def take_change(self, columns: FloatArray, tau: float, theta: float) -> FloatArray:
        """Take from columns what the best change makes up for, where the change is fitted."""
        if self.change is not None:
            return columns
        shape = self.shape(tau, theta)
        size = float(np.dot(shape, shape))
        if size <= _SMALLEST_GAIN:
            return columns
        taken: FloatArray = columns - np.multiply.outer(shape, shape @ columns) / size
        return taken

    def thin(self, most: int) -> "_Problem":
        every = max(1, -(-self.time.size // most))
        return _Problem(self.time[::every], self.rise[::every], self.change)


def _list_starts(problem: _Problem) -> list[tuple[float, float]]:
    """List the best points of a coarse grid: the cost bends at every reading, so one is few."""
    few = problem.thin(_MOST_FOR_START)
    taus = (problem.span * np.geomspace(1e-3, 10.0, 25)).tolist()
    thetas = (problem.span * np.linspace(0.0, 0.9, 31)).tolist()
    grid = [(few.cost(tau, theta), tau, theta) for tau in taus for theta in thetas]
    return [(tau, theta) for _, tau, theta in sorted(grid)[:_START_COUNT]]


def _descend(problem: _Problem, tau: float, theta: float) -> tuple[float, float]:
    cost, damping = problem.cost(tau, theta), 1e-3
    for _ in range(_MOST_STEPS):
        residual, columns = problem.slopes(tau, theta)
        normal, gradient = columns.T @ columns, columns.T @ residual
        if theta == 0.0 and gradient[1] > 0.0:
            # At the limit and pushed against it: only τ is left.
            normal[1, :] = normal[:, 1] = gradient[1] = 0.0
        scale = np.diag(np.diag(normal) + 1e-300)
        move = np.linalg.lstsq(normal + damping * scale, -gradient, rcond=None)[0]
        step = float(np.clip(move[0], -1.0, 1.0))
        new_tau = min(tau * math.exp(step), 2.0 * _MOST_SPANS * problem.span)
        new_theta = min(max(theta + float(move[1]), 0.0), problem.span)
        new_cost = problem.cost(new_tau, new_theta)
        if new_cost < cost:
            is_done = abs(new_tau - tau) <= 1e-12 * tau and abs(new_theta - theta) <= 1e-12 * tau
            tau, theta, cost = new_tau, new_theta, new_cost
            damping = max(damping / 10.0, 1e-12)
            if is_done:
                break
        else:
            damping *= 10.0
            if damping > _HIGHEST_DAMPING:
                break
    return tau, theta
