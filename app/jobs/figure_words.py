"""How each figure of a run is computed, in words for the page."""

from collections.abc import Mapping
from typing import Final

SOURCE: Final = (
    "Definitions of this program, made after J-STD-020 as seen in public restatements; confirm "
    "against your copy. A trace is taken as straight lines between its samples; crossings are "
    "interpolated. Where a value is “at least”, the trace began too late or ended too early to "
    "show all of it."
)

DEFINITIONS_IN_WORDS: Final[Mapping[str, str]] = {
    "peak": "The highest reading, in °C.",
    "above_liquidus": "Total time above the liquidus of the recipe's window, in s.",
    "area_above_liquidus": (
        "Area between the trace and the liquidus while it is above, in kelvin seconds."
    ),
    "maximum_ramp": (
        "The largest mean slope over any stretch of exactly the recipe's window for slopes, "
        "usually 5 s, in K/s."
    ),
    "average_ramp": (
        "From the last upward crossing of the liquidus before the peak to the peak, in K/s."
    ),
    "soak_time": (
        "From the last upward crossing of the soak's lower temperature before the peak to the "
        "first upward crossing of its upper one after that, in s."
    ),
    "average_cooling": (
        "From the last moment at the peak to the next downward crossing of the liquidus, in K/s."
    ),
    "maximum_fall": "The steepest mean fall over the same stretch as the maximum ramp, in K/s.",
    "time_25_c_to_peak": (
        "From the last upward crossing of 25 °C before the peak to the peak, in s. A trace that "
        "starts warmer cannot say."
    ),
    "near_classification": (
        "Time above the classification temperature less 5 K, in s; none where the recipe gives "
        "no classification temperature."
    ),
    "spread": (
        "The largest difference between joint channels at one moment while any of them is above "
        "the liquidus, in K."
    ),
    "all_above_liquidus": "The first moment at which every joint is above the liquidus, in s.",
    "lift": "The first moment at which the recipe's lift rule is met, in s since the first sample.",
}
