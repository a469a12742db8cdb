"""What no package body may exceed: the classification profiles, and 200 °C for neighbours."""

from dataclasses import dataclass
from typing import Final

from app.recipes.body.alloys import Status
from app.recipes.body.window import Metric
from app.recipes.windows.classification import Process, find_classification
from app.recipes.windows.rows import ADJACENT, BODY, BuiltInWindow, OtherPrint, Source, WindowRow

_STANDARD: Final = "J-STD-020 rev D"
_TABLE: Final = "Table 5-2"
_SEEN: Final = Source(
    _STANDARD, _TABLE, "public restatement of J-STD-020 rev D, Table 5-2", Status.SEEN
)
_DIFFERS: Final = Source(
    _STANDARD,
    _TABLE,
    "public restatements of J-STD-020 rev C and D, Table 5-2",
    Status.CONFLICT,
)
_PROFILE_NOTE: Final = (
    "The profile classifies parts; it is no profile to assemble by, and a board's profile must not "
    "exceed it. Only its upper limits are limits for a user: times that a part was tested for at "
    "least are not asked of it. All temperatures at the centre of the package's top. Revisions "
    "D.1 and E are said to print the same."
)


@dataclass(frozen=True, slots=True)
class _Profile:
    """The numbers of one column of the table; s, °C and K/s."""

    soak_min_c: float
    soak_max_c: float
    soak_s: float
    liquidus_c: float
    above_liquidus_s: float
    near_classification_s: float
    to_peak_s: float
    soak_others: tuple[OtherPrint, ...]
    near_others: tuple[OtherPrint, ...]


_RAMP_UP_K_PER_S: Final = 3.0
_RAMP_DOWN_K_PER_S: Final = 6.0
_PROFILES: Final = {
    Process.SNPB: _Profile(
        soak_min_c=100.0,
        soak_max_c=150.0,
        soak_s=120.0,
        liquidus_c=183.0,
        above_liquidus_s=150.0,
        near_classification_s=20.0,
        to_peak_s=360.0,
        soak_others=(),
        near_others=(
            OtherPrint(10.0, 30.0, "rev C, against the actual peak; also a page headed rev E"),
        ),
    ),
    Process.PB_FREE: _Profile(
        soak_min_c=150.0,
        soak_max_c=200.0,
        soak_s=120.0,
        liquidus_c=217.0,
        above_liquidus_s=150.0,
        near_classification_s=30.0,
        to_peak_s=480.0,
        soak_others=(OtherPrint(60.0, 180.0, "rev C; also sheets that name rev D"),),
        near_others=(
            OtherPrint(20.0, 40.0, "rev C, against the actual peak; also a page headed rev E"),
        ),
    ),
}


def make_classification_window(
    process: Process, *, thickness_mm: float, volume_mm3: float
) -> BuiltInWindow:
    """Return the classification profile as limits that a body never exceeds (J-STD-020 Table 5-2).

    Peak and the time near it go by Tc, found from thickness (mm) and volume (mm³). Raises
    ImpossiblePackage.
    """
    found = find_classification(process, thickness_mm=thickness_mm, volume_mm3=volume_mm3)
    profile = _PROFILES[process]
    return BuiltInWindow(
        key=f"classification-{process.value.replace('_', '-')}",
        version=1,
        name=f"Never exceed: classification profile, {process.words}",
        note=_PROFILE_NOTE,
        rows=(
            WindowRow(Metric.PEAK_C, BODY, None, found.value_c, found.source, found.note),
            WindowRow(
                Metric.TIME_WITHIN_5_OF_CLASSIFICATION_S,
                BODY,
                None,
                profile.near_classification_s,
                _DIFFERS,
                "Longest for a user, shortest for the maker's test.",
                profile.near_others,
            ),
            WindowRow(
                Metric.TIME_ABOVE_LIQUIDUS_S,
                BODY,
                None,
                profile.above_liquidus_s,
                _SEEN,
                f"Above {profile.liquidus_c:g} °C.",
            ),
            WindowRow(
                Metric.AVERAGE_RAMP_K_PER_S,
                BODY,
                None,
                _RAMP_UP_K_PER_S,
                _SEEN,
                "From liquidus to peak; revision C measured from the end of the soak to the peak.",
            ),
            WindowRow(
                Metric.MAX_RAMP_DOWN_K_PER_S,
                BODY,
                None,
                _RAMP_DOWN_K_PER_S,
                _SEEN,
                "Printed for the mean from peak to liquidus; the largest fall over a window is "
                "never less, so that it is the stricter reading.",
            ),
            WindowRow(
                Metric.SOAK_TIME_S,
                BODY,
                None,
                profile.soak_s,
                _DIFFERS if profile.soak_others else _SEEN,
                f"From {profile.soak_min_c:g} °C to {profile.soak_max_c:g} °C.",
                profile.soak_others,
            ),
            WindowRow(Metric.TIME_25_TO_PEAK_S, BODY, None, profile.to_peak_s, _SEEN),
        ),
        liquidus_c=profile.liquidus_c,
        soak_min_c=profile.soak_min_c,
        soak_max_c=profile.soak_max_c,
        classification_c=found.value_c,
        is_never_exceed=True,
    )


ADJACENT_BODIES: Final = BuiltInWindow(
    key="adjacent-bodies",
    version=1,
    name="Never exceed: bodies of neighbours",
    note=(
        "Each moisture-sensitive body on the board, at the centre of its top. A part still inside "
        "its floor life may go to its own rated temperature; where a body would pass the limit "
        "otherwise, the board is baked dry first."
    ),
    rows=(
        WindowRow(
            Metric.PEAK_C,
            ADJACENT,
            None,
            200.0,
            Source(
                "J-STD-033",
                "clause 6 (6.1)",
                "public restatement of J-STD-033, clause 6, in a part maker's data sheet",
                Status.SEEN,
            ),
        ),
    ),
    is_never_exceed=True,
)
