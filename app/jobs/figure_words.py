"""How each figure of a run is computed, in words for the page."""

from collections.abc import Mapping
from typing import Final

from app.jobs.scale_words import spell_on_scale
from app.jobs.scales import Scale

SOURCE: Final = (
    "Definitions of this program, made after J-STD-020 as seen in public restatements; confirm "
    "against your copy. A trace is taken as straight lines between its samples; crossings are "
    "interpolated. Where a value is “at least”, the trace began too late or ended too early to "
    "show all of it."
)

OLDER: Final[Mapping[int, str]] = {
    1: (
        "Made by definitions 1: each value was held against its limits as it was read, without an "
        "uncertainty and without looking for faults beyond what the file itself says."
    ),
    2: (
        "Made by definitions 2: a lapsed calibration counted as a valid one, the window use is the "
        "largest of any limit, and the limit named is the one most used."
    ),
}

DEFINITIONS_IN_WORDS: Final[Mapping[str, str]] = {
    "peak": "The highest reading, in °C.",
    "above_liquidus": (
        "Total time above the liquidus of the recipe's window, in s; each crossing is "
        "interpolated between two samples."
    ),
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
        "starts warmer cannot say. Where the room is within the uncertainty of 25 °C, the limit "
        "is held against the time from the recording's start."
    ),
    "near_classification": (
        "Time above the classification temperature less 5 K, in s; none where the recipe gives "
        "no classification temperature."
    ),
    "longest_above_liquidus": "The longest unbroken time above the liquidus, in s.",
    "spread": (
        "The largest difference between joint channels at one moment while any of them is above "
        "the liquidus, in K."
    ),
    "spread_at_coldest_peak": (
        "The difference between the hottest and the coldest joint channel at the moment at which "
        "the joint with the lowest peak is at its peak, in K."
    ),
    "all_above_liquidus": "The first moment at which every joint is above the liquidus, in s.",
    "lift": "The first moment at which the recipe's lift rule is met, in s since the first sample.",
    "lifted": (
        "The moment at which the part was lifted, as somebody said, less the moment at which the "
        "lift rule was met, in s. Below 0 the part was lifted too early."
    ),
    "zone": (
        "Zones are laid from the first sample, as the recipe says; when the heater really began "
        "is not known. Reached: the temperature at the zone's end, in °C; then its difference to "
        "the top heater's setting, in K; the mean slope over the zone's last 5 s, in K/s; and the "
        "unbroken time up to the end within ± 2 K of what was reached, in s (the band is common "
        "practice, no source)."
    ),
    "ceiling": (
        "Channels beside the joints, held against every upper limit of the peak for their role: "
        "peak in °C, what is left to the limit in K, and the total time strictly above it in s."
    ),
    "window_use": (
        "How much of a limit a value uses, in %: 100 % is at the limit. With two limits the "
        "distance from their middle over half their distance; with one, both counted from 25 °C "
        "for temperatures and from 0 for all else. None where nothing can be said, or where the "
        "trace does not show all of the value. The use of a whole trace is that of the limit its "
        "verdict rests on. Definition of this program, no source."
    ),
    "uncertainty": (
        "U is the expanded uncertainty (k = 2, about 95 %), in the unit of the value, for °C in "
        "K: the wire's class, the logger's accuracy and last digit, the calibration, noise, clock "
        "and the slope at each crossing, combined by the law of propagation (JCGM 100). "
        "Where a calibration had lapsed when the run began, its correction is still added, and "
        "what it covered counts by its own tolerance instead. Neither the sensor's own lag and "
        "fit nor the ageing of used wire is in it."
    ),
    "decision": (
        "A value is inside when it is at least U within its limits, outside when it is more than U "
        "beyond one, and too close to call between (JCGM 106, from memory: confirm against your "
        "copy). Outside beats cannot say, that beats too close to call, and that beats inside. "
        "The limit named first: among those outside a passed highest peak, of the body, then of an "
        "adjacent part, the board, a joint; then the limit most used; what was never reached "
        "comes last (our own order, no source)."
    ),
}

# Units without a number before them; the longer ones first.
_UNITS: Final = (
    ("in kelvin seconds", "in °F·s"),
    (", for °C in K", ""),
    ("in K/s", "in °F/s"),
    ("in °C", "in °F"),
    ("in K", "in °F"),
)


def spell_definition(name: str, scale: Scale = Scale.CELSIUS) -> str:
    """Say how a figure is computed, its temperatures and units on the scale."""
    words = spell_on_scale(DEFINITIONS_IN_WORDS[name], scale)
    if scale is Scale.CELSIUS:
        return words
    for unit, other in _UNITS:
        words = words.replace(unit, other)
    return words
