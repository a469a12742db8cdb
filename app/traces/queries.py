"""Reads traces back into arrays."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from hashlib import sha256

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.core.refusals import Conflict, Unknown
from app.numerics.errors import CorruptSamples
from app.numerics.sample_codec import unpack_samples
from app.traces.files import TemperatureColumn
from app.traces.files.reading import spell_scaled
from app.traces.rules import ChannelRole, TemperatureUnit
from app.traces.tables import Trace


class TraceUnknown(Unknown):
    """No trace has this number."""

    code = "traces.unknown"


class SamplesDamaged(Conflict):
    """The stored samples are not the ones that were recorded."""

    code = "traces.samples_damaged"


@dataclass(frozen=True, eq=False)
class RecordedChannel:
    """One channel as recorded; `column` keeps the file's own digits and unit.

    `correction_k` is what a calibration adds to every reading, in K; the column stays without it.
    """

    name: str
    role: ChannelRole
    designator: str | None
    header: str
    column: TemperatureColumn
    correction_k: float = 0.0

    def recorded_c(self) -> NDArray[np.float64]:
        """Return the temperatures as recorded in °C, NaN where there was no reading."""
        return self.column.temperature_c()

    def temperature_c(self) -> NDArray[np.float64]:
        """Return the temperatures in °C, the correction added; NaN where there was no reading."""
        recorded_c = self.recorded_c()
        return recorded_c + self.correction_k if self.correction_k else recorded_c


@dataclass(frozen=True, eq=False)
class RecordedTrace:
    """A trace's samples: seconds since the first one, and its channels in order.

    `ticks` are the same moments since the first one, exact, in 10**-tick_decimals seconds.
    """

    time_s: NDArray[np.float64]
    channels: tuple[RecordedChannel, ...]
    ticks: NDArray[np.int64]
    tick_decimals: int

    def spell_time(self, sample: int) -> str:
        """Return a sample's moment in seconds since the first one with all its decimals."""
        return spell_scaled(int(self.ticks[sample]), self.tick_decimals)


def add_corrections(recorded: RecordedTrace, correction_k: Mapping[str, float]) -> RecordedTrace:
    """Return the trace with what a calibration adds to each channel named, in K."""
    return replace(
        recorded,
        channels=tuple(
            replace(one, correction_k=correction_k.get(one.name, 0.0)) for one in recorded.channels
        ),
    )


def get_trace(session: Session, trace_id: int) -> Trace:
    """Return a trace without its samples; TraceUnknown if there is none."""
    trace = session.get(Trace, trace_id)
    if trace is None:
        raise TraceUnknown(f"There is no trace number {trace_id}.", field="trace_id")
    return trace


def load_samples(session: Session, trace: Trace) -> RecordedTrace:
    """Unpack a trace's samples; SamplesDamaged when they are not what was recorded."""
    blob = session.scalars(select(Trace.samples).where(Trace.id == trace.id)).one()
    return unpack_trace(trace, blob)


def unpack_trace(trace: Trace, blob: bytes) -> RecordedTrace:
    """Unpack samples that were read beside their trace; SamplesDamaged when they were changed."""
    if sha256(blob).hexdigest() != trace.samples_sha256:
        raise SamplesDamaged(f"The samples of trace {trace.id} were changed in the database.")
    try:
        samples = unpack_samples(blob)
    except CorruptSamples as error:
        raise SamplesDamaged(f"The samples of trace {trace.id} cannot be read: {error}") from None
    channels = tuple(
        RecordedChannel(
            name=said["name"],
            role=ChannelRole(said["role"]),
            designator=said["designator"],
            header=said["header"],
            column=TemperatureColumn(
                index=said["column"],
                header=said["header"],
                unit=TemperatureUnit(said["unit"]),
                decimals=column.decimals,
                values=column.values,
                missing=column.missing,
                computed_step_k=said.get("computed_step_k"),
            ),
        )
        for said, column in zip(trace.channels, samples.columns, strict=True)
    )
    ticks = samples.ticks - samples.ticks[0]
    elapsed = np.asarray(ticks / 10.0**samples.tick_decimals, dtype=np.float64)
    return RecordedTrace(elapsed, channels, ticks, samples.tick_decimals)
