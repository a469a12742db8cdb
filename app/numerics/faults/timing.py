"""Faults of the time axis, and of channels that fall silent."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from app.numerics.column_codec import IntArray
from app.numerics.faults.shapes import (
    ABOVE,
    EVERY_METRIC,
    LEFT_OUT,
    RAMPS,
    TIMED,
    ChannelFault,
    Evidence,
    FaultKind,
    Figure,
    caution,
    find_middle,
)
from app.numerics.trace import FloatArray
from app.numerics.values import Unit

BoolArray = NDArray[np.bool_]

# Our own rules, no source: a pause counts from both, so that a slow logger is none.
_GAP_S: Final = 2.0
_GAP_OF_USUAL: Final = 5.0
# Where the intervals are uneven by design, only an outstanding one is a gap.
_GAP_OF_UNEVEN: Final = 20.0
_UNEVEN_SHARE: Final = 0.1
_UNEVEN_OF_USUAL: Final = 1.5
_SILENCE_S: Final = 1.5
_SILENCE_OF_USUAL: Final = 5.0
# A channel silent for both of these was not there for a while.
_LONG_SILENCE_S: Final = 5.0
_LONG_SILENCE_OF_USUAL: Final = 10.0
_SHOWN_AT_MOST: Final = 20
_FEWEST: Final = 3


def find_time_faults(time_s: FloatArray) -> tuple[list[ChannelFault], BoolArray | None]:
    """Find moments that step back or repeat, and which samples to keep so that time rises.

    One finding of each kind, at its first place, with how many there are. None instead of the
    samples to keep where time rises already.
    """
    if bool((time_s[1:] > time_s[:-1]).all()):
        return [], None
    faults: list[ChannelFault] = []
    steps_s = np.diff(time_s)
    for kind, places in (
        (FaultKind.TIME_BACKWARDS, np.flatnonzero(steps_s < 0.0)),
        (FaultKind.TIME_DOUBLED, np.flatnonzero(steps_s == 0.0)),
    ):
        if not places.size:
            continue
        at = int(places[0])
        evidence = Evidence(
            first_sample=at,
            last_sample=int(places[-1]) + 1,
            at_s=float(time_s[at]),
            until_s=float(time_s[int(places[-1]) + 1]),
            figures=(
                Figure("times", float(places.size)),
                Figure("largest step back", float(-steps_s.min()), Unit.SECOND),
            ),
        )
        faults.append(ChannelFault(kind, None, evidence, caution(*TIMED)))
    latest = np.maximum.accumulate(time_s)
    return faults, np.concatenate(([True], time_s[1:] > latest[:-1]))


def find_gaps(time_s: FloatArray, sample: IntArray) -> list[ChannelFault]:
    """Find pauses of the whole recording; `time_s` rises, `sample` numbers its moments.

    A pause is longer than 2 s and 5 times the usual interval (20 times, where more than a tenth
    of the intervals are uneven).
    """
    steps_s = np.diff(time_s)
    if steps_s.size < _FEWEST:
        return []
    longest_s = float(steps_s.max())
    if longest_s <= _GAP_S:
        return []
    usual_s = find_middle(steps_s)
    uneven = np.count_nonzero(steps_s > _UNEVEN_OF_USUAL * usual_s) > _UNEVEN_SHARE * steps_s.size
    limit_s = max(_GAP_S, (_GAP_OF_UNEVEN if uneven else _GAP_OF_USUAL) * usual_s)
    places = _keep_longest(np.flatnonzero(steps_s > limit_s), steps_s)
    return [
        ChannelFault(
            FaultKind.GAP,
            None,
            Evidence(
                first_sample=int(sample[at]),
                last_sample=int(sample[at + 1]),
                at_s=float(time_s[at]),
                until_s=float(time_s[at + 1]),
                figures=(
                    Figure("gap", float(steps_s[at]), Unit.SECOND),
                    Figure("usual interval", usual_s, Unit.SECOND),
                ),
            ),
            # What happened in between is not known: the peak may have been there too.
            caution(*EVERY_METRIC) if steps_s[at] > _LONG_SILENCE_S else caution(*ABOVE, *RAMPS),
        )
        for at in places
    ]


def find_silences(
    name: str, time_s: FloatArray, sample: IntArray, *, is_read: BoolArray, is_beyond: BoolArray
) -> list[ChannelFault]:
    """Find where a channel has no readings while the recording goes on.

    Longer than 1.5 s and 5 times the channel's usual interval; left out from 5 s and 10 times.
    A pause of the whole recording is no silence of a channel. Readings that no thermocouple gives
    (`is_beyond`) are a logger's word for an open wire: left out, however few.
    """
    read = np.flatnonzero(is_read)
    last = time_s.size - 1
    if not read.size:
        whole = Evidence(int(sample[0]), int(sample[last]), float(time_s[0]), float(time_s[last]))
        return [ChannelFault(FaultKind.OPEN_CIRCUIT, name, whole, LEFT_OUT)]
    before = np.concatenate(([-1], read))
    after = np.concatenate((read, [last + 1]))
    places = np.flatnonzero(after - before > 1)
    if not places.size:
        return []
    first, final = before[places] + 1, after[places] - 1
    usual_s = find_middle(np.diff(time_s[read])) if read.size > 1 else 0.0
    # From the reading before to the reading after, or to the end of the recording.
    lasting_s = time_s[np.minimum(final + 1, last)] - time_s[np.maximum(first - 1, 0)]
    beyond = np.concatenate(([0], np.cumsum(is_beyond)))
    is_open = beyond[final + 1] > beyond[first]
    is_silent = is_open | (lasting_s > max(_SILENCE_S, _SILENCE_OF_USUAL * usual_s))
    found = _keep_longest(np.flatnonzero(is_silent), lasting_s)
    long_s = max(_LONG_SILENCE_S, _LONG_SILENCE_OF_USUAL * usual_s)
    return [
        ChannelFault(
            FaultKind.OPEN_CIRCUIT,
            name,
            Evidence(
                first_sample=int(sample[first[at]]),
                last_sample=int(sample[final[at]]),
                at_s=float(time_s[first[at]]),
                until_s=float(time_s[final[at]]),
                figures=(Figure("silence", float(lasting_s[at]), Unit.SECOND),),
            ),
            LEFT_OUT if is_open[at] or lasting_s[at] > long_s else caution(*ABOVE, *RAMPS),
        )
        for at in found
    ]


def _keep_longest(places: NDArray[np.intp], lengths: FloatArray) -> NDArray[np.intp]:
    if places.size <= _SHOWN_AT_MOST:
        return places
    return np.sort(places[np.argsort(lengths[places])[-_SHOWN_AT_MOST:]])
