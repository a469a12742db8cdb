"""A trace as a table that a spreadsheet opens without harm."""

import numpy as np

from app.jobs.downloads import spell_samples
from app.traces.files import TemperatureColumn
from app.traces.queries import RecordedChannel, RecordedTrace
from app.traces.rules import ChannelRole, TemperatureUnit


def make_channel(name: str) -> RecordedChannel:
    column = TemperatureColumn(
        index=1,
        header="T1",
        unit=TemperatureUnit.CELSIUS,
        decimals=1,
        values=np.array([-55, 250], dtype=np.int64),
        missing=np.array([False, False]),
    )
    return RecordedChannel(name, ChannelRole.JOINT_CENTRE, None, "T1", column)


def test_a_channel_named_like_a_formula_stays_text_and_cold_stays_a_number() -> None:
    ticks = np.array([0, 1], dtype=np.int64)
    name = '=HYPERLINK("http://elsewhere.plant")'
    trace = RecordedTrace(ticks.astype(np.float64), (make_channel(name),), ticks, 0)
    rows = "".join(spell_samples(trace, about=[("File", "=1+1.csv")])).splitlines()
    assert rows[:2] == ["File,'=1+1.csv", ""]
    assert rows[2].startswith("time (s),\"'=HYPERLINK(")
    assert rows[3:] == ["0,-5.5", "1,25.0"]
