"""Common windows for solder joints, from the alloy's solidus and liquidus."""

from dataclasses import dataclass
from typing import Final

from app.recipes.body.alloys import ALLOYS, Alloy, Status
from app.recipes.body.window import Metric
from app.recipes.windows.rows import ADJACENT, JOINTS, BuiltInWindow, OtherPrint, Source, WindowRow

ABOVE_LIQUIDUS_K: Final = (10.0, 25.0)
# Reached at a joint and no package would stand it: such balls stay solid.
_HOTTEST_LIQUIDUS_C: Final = 250.0

_PRACTICE: Final = Source("common practice", "", "", Status.MEMORY)
_NOTE: Final = (
    "Aims for joints, from common practice and makers' guides; no standard sets them. The body's "
    "own limits always come before them."
)


@dataclass(frozen=True, slots=True)
class _Aim:
    lower: float
    upper: float
    source: Source
    others: tuple[OtherPrint, ...] = ()


# Stated for Sn63Pb37 and its neighbours.
_SNPB_PEAK: Final = _Aim(205.0, 220.0, _PRACTICE)
_SNPB_TIME: Final = _Aim(
    45.0,
    60.0,
    Source("practice of one user", "", "a public forum of the trade", Status.SEEN),
)
_PB_FREE_TIME: Final = _Aim(60.0, 90.0, _PRACTICE)


def make_joint_window(alloy: Alloy) -> BuiltInWindow | None:
    """Return the common joint window of an alloy; None when its joints do not melt in rework.

    Peak: liquidus + 10 to + 25 K, stated for tin-silver-copper and carried over to other
    lead-free alloys; 205 to 220 °C for tin-lead. Where printed liquidus values differ, the alloy
    table holds the safe side and the row says that sources differ.
    """
    if alloy.liquidus_c > _HOTTEST_LIQUIDUS_C:
        return None
    has_lead = "Pb" in alloy.name
    if has_lead:
        peak, time = _SNPB_PEAK, _SNPB_TIME
        peak_note = "Stated for eutectic tin-lead."
    else:
        low, high = (alloy.liquidus_c + above for above in ABOVE_LIQUIDUS_K)
        peak, time = _Aim(low, high, _PRACTICE), _PB_FREE_TIME
        peak_note = (
            f"Liquidus {alloy.liquidus_c:g} °C + {ABOVE_LIQUIDUS_K[0]:g} to "
            f"{ABOVE_LIQUIDUS_K[1]:g} K; stated for tin-silver-copper."
        )
    melts = f"Liquidus {alloy.liquidus_c:g} °C: {alloy.source}."
    if alloy.status is not Status.SEEN:
        melts = f"{melts} {alloy.caution.capitalize()}."
    if alloy.note:
        melts = f"{melts} Note: {alloy.note}."
    return BuiltInWindow(
        key=f"joints-{_make_key(alloy.name)}",
        version=1,
        name=f"Joints of {alloy.name}",
        note=f"{_NOTE} {melts}",
        rows=(
            WindowRow(
                Metric.PEAK_C, JOINTS, peak.lower, peak.upper, peak.source, peak_note, peak.others
            ),
            WindowRow(
                Metric.TIME_ABOVE_LIQUIDUS_S,
                JOINTS,
                time.lower,
                time.upper,
                time.source,
                f"Above {alloy.liquidus_c:g} °C.",
            ),
            WindowRow(
                Metric.AVERAGE_RAMP_K_PER_S,
                JOINTS,
                None,
                3.0,
                Source(
                    "J-STD-020 rev D",
                    "Table 5-2",
                    "public restatement of J-STD-020 rev D, Table 5-2",
                    Status.SEEN,
                ),
                "Printed for the package body.",
                (OtherPrint(None, 4.0, "one module maker's guide, for preheating"),),
            ),
            WindowRow(
                Metric.SPREAD_K,
                (),
                None,
                7.0,
                Source(
                    "a maker's soldering guide",
                    "",
                    "public guide for surface-mount parts, across one part",
                    Status.SEEN,
                ),
            ),
        ),
        liquidus_c=alloy.liquidus_c,
        alloy=alloy.name,
        solidus_c=alloy.solidus_c,
    )


def make_adjacent_joint_window(alloy: Alloy) -> BuiltInWindow:
    """Return the limit of neighbouring joints: they stay below the alloy's solidus."""
    caution = f" {alloy.caution.capitalize()}." if alloy.caution else ""
    return BuiltInWindow(
        key=f"adjacent-joints-{_make_key(alloy.name)}",
        version=1,
        name=f"Never exceed: neighbouring joints of {alloy.name}",
        note=(
            f"Solidus {alloy.solidus_c:g} °C: {alloy.source}.{caution} Many aim for 150 °C beside "
            "tin-lead joints (from memory)."
        ),
        rows=(
            WindowRow(
                Metric.PEAK_C,
                ADJACENT,
                None,
                alloy.solidus_c,
                _PRACTICE,
                "Joints stay solid below the solidus.",
            ),
        ),
        alloy=alloy.name,
        solidus_c=alloy.solidus_c,
        liquidus_c=alloy.liquidus_c,
        is_never_exceed=True,
    )


def list_joint_windows() -> tuple[BuiltInWindow, ...]:
    """List the joint windows of every tabled alloy that melts in rework."""
    return tuple(window for alloy in ALLOYS if (window := make_joint_window(alloy)) is not None)


def list_adjacent_joint_windows() -> tuple[BuiltInWindow, ...]:
    """List the limits of neighbouring joints of every tabled alloy that melts in rework."""
    return tuple(
        make_adjacent_joint_window(alloy)
        for alloy in ALLOYS
        if alloy.liquidus_c <= _HOTTEST_LIQUIDUS_C
    )


def _make_key(name: str) -> str:
    kept = "".join(c if c.isalnum() else "-" for c in name.casefold())
    return "-".join(part for part in kept.split("-") if part)
