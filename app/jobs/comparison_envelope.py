"""Holds a run against what accepted runs did: an envelope a channel, and where it is left."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from app.numerics.envelope import (
    Departure,
    Departures,
    Envelope,
    compute_envelope,
    find_departures,
)
from app.numerics.trace import Trace
from app.numerics.values import CannotSay

# A run leaves the envelope when it is further out than two thermocouples of type K, class 2, may
# differ from each other's middle (IEC 60584-1, ±2.5 K up to 333 °C, from memory), for longer than a
# reading that failed. The time is our own rule.
MARGIN_K: Final = 2.5
SHORTEST_S: Final = 2.0

# How many accepted runs an envelope is of unless asked otherwise: our own rule. Two is the fewest
# that span anything.
USUAL_RUNS: Final = 10
FEWEST_RUNS: Final = 2
MOST_RUNS: Final = 30


@dataclass(frozen=True, eq=False)
class EarlierRun:
    """An accepted run, moved in time: its usable channels by the first run's names for them.

    `note` says why it is left out as a whole; `unusable` why a channel of it is.
    """

    run_id: int
    traces: Mapping[str, Trace]
    unusable: Mapping[str, str]
    note: str = ""


@dataclass(frozen=True, eq=False)
class ChannelEnvelope:
    """What a channel did in the runs `of`, and why others are not among them."""

    channel: str
    band: Envelope | CannotSay
    of: tuple[int, ...]
    left_out: tuple[tuple[int, str], ...]

    def read_at(self, moment_s: float) -> tuple[float, float] | None:
        """Return lowest and highest (°C) at an aligned moment; None outside the envelope."""
        band = self.band
        if isinstance(band, CannotSay) or not band.time_s[0] <= moment_s <= band.time_s[-1]:
            return None
        return (
            float(np.interp(moment_s, band.time_s, band.low_c)),
            float(np.interp(moment_s, band.time_s, band.high_c)),
        )


@dataclass(frozen=True, eq=False)
class EnvelopeSet:
    """An envelope a channel; `wanted` runs were asked for, `there` were read.

    `is_cut`: more are there, but too long to be read at once.
    """

    channels: Mapping[str, ChannelEnvelope]
    wanted: int
    there: int
    is_cut: bool

    @property
    def fewer(self) -> str:
        """Why there are fewer runs than were asked for; empty where there are as many."""
        if self.there >= self.wanted:
            return ""
        why = (
            "more have too many readings to be read at once"
            if self.is_cut
            else ("more are not there")
        )
        return f"{self.wanted} were asked for, {why}"


@dataclass(frozen=True)
class HeldChannel:
    """One channel of a run against its envelope; `name` is the first run's name for it."""

    name: str
    departures: Departures | CannotSay

    @property
    def furthest(self) -> Departure | None:
        """The departure that goes furthest, if it leaves the envelope at all."""
        return None if isinstance(self.departures, CannotSay) else self.departures.furthest


def build_envelopes(
    names: Iterable[str], earlier: Sequence[EarlierRun], *, wanted: int, is_cut: bool
) -> EnvelopeSet:
    """Return the envelope of each channel, of the runs in which it is usable."""
    envelopes = {}
    for name in names:
        used = {one.run_id: one.traces[name] for one in earlier if name in one.traces}
        envelopes[name] = ChannelEnvelope(
            name,
            compute_envelope(list(used.values())),
            tuple(used),
            tuple(
                (one.run_id, one.note or one.unusable.get(name, "has no such channel"))
                for one in earlier
                if one.run_id not in used
            ),
        )
    return EnvelopeSet(envelopes, wanted, len(earlier), is_cut)


def hold_channels(
    traces: Mapping[str, Trace], unusable: Mapping[str, str], envelopes: EnvelopeSet
) -> tuple[HeldChannel, ...]:
    """Hold every channel of an aligned run against its envelope, in the envelopes' order.

    A channel without an envelope, or that the run does not have, is no part of it.
    """
    held = []
    for name, envelope in envelopes.channels.items():
        if isinstance(envelope.band, CannotSay):
            continue
        if name in traces:
            found = find_departures(
                envelope.band, traces[name], margin_k=MARGIN_K, shortest_s=SHORTEST_S
            )
            held.append(HeldChannel(name, found))
        elif name in unusable:
            held.append(HeldChannel(name, CannotSay(unusable[name])))
    return tuple(held)
