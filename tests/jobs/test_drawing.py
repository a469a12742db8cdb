"""Pictures of traces: peaks kept, gaps shown, names escaped."""

import numpy as np

from app.jobs.drawing import draw_channels, find_span, split_at_gaps
from app.jobs.pictures import draw_trace_svg
from app.traces.files import TemperatureColumn
from app.traces.queries import RecordedChannel, RecordedTrace
from app.traces.rules import ChannelRole, TemperatureUnit

ROWS = 10_000


def make_trace(*, gap: slice = slice(0, 0), spike_at: int = 7_777) -> RecordedTrace:
    values = np.linspace(200, 2_400, ROWS).astype(np.int64)
    values[spike_at] = 3_000
    missing = np.zeros(ROWS, dtype=np.bool_)
    missing[gap] = True
    column = TemperatureColumn(1, "T1", TemperatureUnit.CELSIUS, 1, values, missing)
    channel = RecordedChannel("T<1>", ChannelRole.JOINT_CENTRE, None, "T1", column)
    ticks = np.arange(ROWS, dtype=np.int64)
    return RecordedTrace(ticks / 10.0, (channel,), ticks, 1)


def test_a_thinned_channel_keeps_its_peak_and_its_moment() -> None:
    (drawn,) = draw_channels(make_trace(), points=200)
    assert len(drawn.time_s) <= 200
    place = drawn.temperature_c.index(300.0)
    assert drawn.time_s[place] == 777.7


def test_a_gap_breaks_the_line() -> None:
    (drawn,) = draw_channels(make_trace(gap=slice(3_000, 5_000)), points=200)
    assert drawn.temperature_c.count(None) == 1
    before, after = split_at_gaps(drawn)
    assert before[-1][0] <= 299.9
    assert after[0][0] >= 500.0


def test_a_channel_without_readings_draws_nothing_and_breaks_nothing() -> None:
    channels = draw_channels(make_trace(gap=slice(0, ROWS)), points=200)
    assert find_span(channels) is None
    assert "<polyline" not in draw_trace_svg(channels, liquidus_c=220, title="empty")


def test_the_small_picture_has_its_box_a_line_and_the_liquidus() -> None:
    picture = draw_trace_svg(draw_channels(make_trace(), points=120), liquidus_c=220, title="A & B")
    assert 'viewBox="0 0 160 60"' in picture
    assert picture.count("<polyline") == 1
    assert "A &amp; B" in picture
    assert "style=" not in picture
