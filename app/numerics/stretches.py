"""The times at which a trace is above a temperature."""

from dataclasses import dataclass

from app.numerics.values import Measured, Unit


@dataclass(frozen=True, slots=True)
class Crossing:
    """A moment at which the trace passes the temperature."""

    at_s: float
    is_upward: bool


@dataclass(frozen=True, slots=True)
class Stretch:
    """One unbroken time strictly above a temperature, by interpolated crossings.

    An end that is open is no crossing: the trace begins or ends there, already or still above.
    """

    start_s: float
    end_s: float
    starts_open: bool = False
    ends_open: bool = False

    @property
    def length_s(self) -> float:
        """How long it lasts, as far as the trace shows it."""
        return self.end_s - self.start_s

    @property
    def is_censored(self) -> bool:
        """Whether the trace shows less than all of it."""
        return self.starts_open or self.ends_open


@dataclass(frozen=True, slots=True)
class TimeAbove:
    """How long, in all and at most at once, a trace is strictly above a temperature."""

    threshold_c: float
    stretches: tuple[Stretch, ...]

    @property
    def total(self) -> Measured:
        """Total time above (s); censored when the trace starts or ends above."""
        return Measured(
            value=sum(stretch.length_s for stretch in self.stretches),
            unit=Unit.SECOND,
            at_s=self.stretches[0].start_s if self.stretches else None,
            is_censored=self.starts_above or self.ends_above,
        )

    @property
    def longest(self) -> Measured:
        """Longest unbroken time above (s) and its start; the first of equals.

        Censored when any stretch is: one that is cut off might have been the longest.
        """
        longest = max(self.stretches, key=lambda stretch: stretch.length_s, default=None)
        return Measured(
            value=longest.length_s if longest else 0.0,
            unit=Unit.SECOND,
            at_s=longest.start_s if longest else None,
            is_censored=self.starts_above or self.ends_above,
        )

    @property
    def crossings(self) -> tuple[Crossing, ...]:
        """Every crossing in order of time; a mere touch is none."""
        found: list[Crossing] = []
        for stretch in self.stretches:
            if not stretch.starts_open:
                found.append(Crossing(stretch.start_s, is_upward=True))
            if not stretch.ends_open:
                found.append(Crossing(stretch.end_s, is_upward=False))
        return tuple(found)

    @property
    def starts_above(self) -> bool:
        """Whether the first reading is already above."""
        return bool(self.stretches) and self.stretches[0].starts_open

    @property
    def ends_above(self) -> bool:
        """Whether the last reading is still above."""
        return bool(self.stretches) and self.stretches[-1].ends_open

    def find_stretch_at(self, moment_s: float) -> Stretch | None:
        """Find the stretch that holds this moment; at a shared end the earlier one."""
        for stretch in self.stretches:
            if stretch.start_s <= moment_s <= stretch.end_s:
                return stretch
        return None

    def find_rise_after(self, moment_s: float) -> float | None:
        """Find the first upward crossing (s) at a moment or after it."""
        for stretch in self.stretches:
            if stretch.start_s >= moment_s and not stretch.starts_open:
                return stretch.start_s
        return None
