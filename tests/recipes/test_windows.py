"""Built-in windows: the tables' numbers, their edges, and what each row says of its source."""

import math
import re
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.recipes.body.alloys import ALLOYS, Alloy, Status, find_alloy
from app.recipes.body.window import METRICS, Limit, Metric
from app.recipes.windows.bodies import ADJACENT_BODIES, make_classification_window
from app.recipes.windows.classification import (
    ImpossiblePackage,
    Process,
    find_classification,
)
from app.recipes.windows.joints import (
    list_joint_windows,
    make_adjacent_joint_window,
    make_joint_window,
)
from app.recipes.windows.rows import BuiltInWindow, WindowRow
from app.traces.rules import ChannelRole

SAC305, SNPB = "Sn96.5Ag3.0Cu0.5 (SAC305)", "Sn63Pb37"


def _alloy(name: str) -> Alloy:
    alloy = find_alloy(name)
    assert alloy is not None
    return alloy


def _joints(name: str) -> BuiltInWindow:
    window = make_joint_window(_alloy(name))
    assert window is not None
    return window


def _row(window: BuiltInWindow, metric: Metric) -> WindowRow:
    row = window.find_row(metric)
    assert row is not None
    return row


# J-STD-020 rev D, Tables 4-1 and 4-2, as seen in public restatements: one package in each cell.
@pytest.mark.parametrize(
    ("process", "thickness_mm", "volume_mm3", "tc_c"),
    [
        (Process.SNPB, 1.2, 100, 235),
        (Process.SNPB, 1.2, 900, 220),
        (Process.SNPB, 3.0, 100, 220),
        (Process.SNPB, 3.0, 900, 220),
        (Process.PB_FREE, 1.2, 100, 260),
        (Process.PB_FREE, 1.2, 900, 260),
        (Process.PB_FREE, 1.2, 2500, 260),
        (Process.PB_FREE, 2.0, 100, 260),
        (Process.PB_FREE, 2.0, 900, 250),
        (Process.PB_FREE, 2.0, 2500, 245),
        (Process.PB_FREE, 3.0, 100, 250),
        (Process.PB_FREE, 3.0, 900, 245),
        (Process.PB_FREE, 3.0, 2500, 245),
    ],
)
def test_each_cell_has_its_temperature(
    process: Process, thickness_mm: float, volume_mm3: float, tc_c: float
) -> None:
    found = find_classification(process, thickness_mm=thickness_mm, volume_mm3=volume_mm3)
    assert found.value_c == tc_c
    assert not found.is_edge_decided
    assert "edge" not in found.note


@pytest.mark.parametrize(
    ("process", "thickness_mm", "volume_mm3", "tc_c", "printed"),
    [
        (Process.SNPB, 2.5, 100, 220, "220 and 235"),
        (Process.SNPB, 1.2, 350, 220, "220 and 235"),
        (Process.PB_FREE, 1.6, 900, 250, "250 and 260"),
        (Process.PB_FREE, 1.6, 2500, 245, "245 and 260"),
        (Process.PB_FREE, 2.0, 350, 250, "250 and 260"),
        (Process.PB_FREE, 2.0, 2000, 245, "245 and 250"),
        (Process.PB_FREE, 2.5, 100, 250, "250 and 260"),
        (Process.PB_FREE, 2.5, 900, 245, "245 and 250"),
        (Process.PB_FREE, 2.5, 350, 245, "245 and 250 and 260"),
    ],
)
def test_on_an_edge_the_lower_is_taken_and_said(
    process: Process, thickness_mm: float, volume_mm3: float, tc_c: float, printed: str
) -> None:
    found = find_classification(process, thickness_mm=thickness_mm, volume_mm3=volume_mm3)
    assert found.value_c == tc_c
    assert found.is_edge_decided
    assert f"print {printed} °C; the lower, {tc_c:g} °C, is taken" in found.note


def test_an_edge_between_equal_cells_needs_no_word() -> None:
    found = find_classification(Process.PB_FREE, thickness_mm=1.2, volume_mm3=350)
    assert (found.value_c, found.is_edge_decided) == (260, False)
    assert len(found.cells) == 2


@given(
    process=st.sampled_from(Process),
    thickness_mm=st.floats(0.05, 20.0),
    volume_mm3=st.floats(1.0, 20_000.0),
    thicker_mm=st.floats(0.0, 5.0),
    larger_mm3=st.floats(0.0, 5000.0),
)
def test_a_larger_package_is_never_classified_hotter(
    process: Process, thickness_mm: float, volume_mm3: float, thicker_mm: float, larger_mm3: float
) -> None:
    small = find_classification(process, thickness_mm=thickness_mm, volume_mm3=volume_mm3)
    large = find_classification(
        process, thickness_mm=thickness_mm + thicker_mm, volume_mm3=volume_mm3 + larger_mm3
    )
    assert large.value_c <= small.value_c


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf, 1e9])
def test_a_package_that_cannot_be_is_refused(bad: float) -> None:
    with pytest.raises(ImpossiblePackage, match="thickness_mm") as refused:
        find_classification(Process.SNPB, thickness_mm=bad, volume_mm3=100)
    assert (refused.value.code, refused.value.field) == (
        "recipes.impossible_package",
        "thickness_mm",
    )
    with pytest.raises(ImpossiblePackage, match="volume_mm3"):
        make_classification_window(Process.SNPB, thickness_mm=1.0, volume_mm3=bad)


# J-STD-020 rev D, Table 5-2, upper limits, as seen in a public restatement.
@pytest.mark.parametrize(
    ("process", "tc_c", "near_s", "liquidus_c", "soak_c", "to_peak_s"),
    [
        (Process.SNPB, 220, 20, 183, (100, 150), 360),
        (Process.PB_FREE, 250, 30, 217, (150, 200), 480),
    ],
)
def test_the_classification_profile_is_a_set_of_upper_limits(
    process: Process,
    tc_c: float,
    near_s: float,
    liquidus_c: float,
    soak_c: tuple[float, float],
    to_peak_s: float,
) -> None:
    window = make_classification_window(process, thickness_mm=2.0, volume_mm3=900)
    assert all(row.lower is None for row in window.rows)
    assert all(row.roles == (ChannelRole.BODY,) for row in window.rows)
    assert {row.metric: row.upper for row in window.rows} == {
        Metric.PEAK_C: tc_c,
        Metric.TIME_WITHIN_5_OF_CLASSIFICATION_S: near_s,
        Metric.TIME_ABOVE_LIQUIDUS_S: 150,
        Metric.AVERAGE_RAMP_K_PER_S: 3,
        Metric.MAX_RAMP_DOWN_K_PER_S: 6,
        Metric.SOAK_TIME_S: 120,
        Metric.TIME_25_TO_PEAK_S: to_peak_s,
    }
    assert (window.liquidus_c, window.classification_c) == (liquidus_c, tc_c)
    assert (window.soak_min_c, window.soak_max_c) == soak_c


def test_where_revisions_differ_the_stricter_holds_and_both_are_shown() -> None:
    for process in Process:
        window = make_classification_window(process, thickness_mm=2.0, volume_mm3=900)
        for row in window.rows:
            assert (row.source.status is Status.CONFLICT) == bool(row.others)
            for other in row.others:
                assert other.upper is not None
                assert row.upper is not None
                assert row.upper < other.upper
                assert other.where
        assert window.cautions == ("sources differ, the stricter holds; confirm against your copy",)


def test_the_lead_free_soak_shows_what_revision_c_printed() -> None:
    window = make_classification_window(Process.PB_FREE, thickness_mm=2.0, volume_mm3=900)
    row = _row(window, Metric.SOAK_TIME_S)
    assert [(other.lower, other.upper) for other in row.others] == [(60, 180)]
    assert "rev C" in row.others[0].where


def test_neighbours_bodies_stay_at_200() -> None:
    row = _row(ADJACENT_BODIES, Metric.PEAK_C)
    assert (row.lower, row.upper, row.unit) == (None, 200, "°C")
    assert row.roles == (ChannelRole.ADJACENT,)
    assert "J-STD-033" in row.source.words
    assert "clause 6" in row.source.words
    assert row.source.caution == ""


@pytest.mark.parametrize(
    ("name", "peak", "time"),
    [
        (SAC305, (230, 245), (60, 90)),
        ("Sn99.3Cu0.7", (237, 252), (60, 90)),
        ("Sn42Bi58", (148, 163), (60, 90)),
        (SNPB, (205, 220), (45, 60)),
        ("Sn60Pb40", (205, 220), (45, 60)),
    ],
)
def test_joints_of_an_alloy_have_their_common_window(
    name: str, peak: tuple[float, float], time: tuple[float, float]
) -> None:
    window = _joints(name)
    row = _row(window, Metric.PEAK_C)
    assert (row.lower, row.upper) == peak
    assert row.roles == (ChannelRole.JOINT_CENTRE, ChannelRole.JOINT_CORNER)
    assert row.source.caution == "from memory; confirm against your copy"
    above = _row(window, Metric.TIME_ABOVE_LIQUIDUS_S)
    assert (above.lower, above.upper) == time
    assert window.liquidus_c == _alloy(name).liquidus_c


def test_every_joint_window_lies_above_its_liquidus() -> None:
    windows = list_joint_windows()
    assert len(windows) == len(ALLOYS) - 1
    for window in windows:
        lower = _row(window, Metric.PEAK_C).lower
        assert lower is not None
        assert window.liquidus_c is not None
        assert lower >= window.liquidus_c + 10


def test_a_ball_that_does_not_melt_has_no_window() -> None:
    assert make_joint_window(_alloy("Pb90Sn10 (high-lead ball)")) is None


def test_an_alloy_whose_sources_differ_says_so_in_its_window() -> None:
    assert "Sources differ; confirm against your copy." in _joints("Sn60Pb40").note
    assert "183/191" in _joints("Sn60Pb40").note
    assert "Sources differ" not in _joints(SAC305).note


def test_neighbouring_joints_stay_below_their_solidus() -> None:
    row = _row(make_adjacent_joint_window(_alloy(SAC305)), Metric.PEAK_C)
    assert (row.upper, row.roles) == (217, (ChannelRole.ADJACENT,))
    assert row.source.status is Status.MEMORY


EVERY_WINDOW = (
    *(
        make_classification_window(process, thickness_mm=mm, volume_mm3=mm3)
        for process, mm, mm3 in product(Process, (1.0, 2.0, 3.0), (100, 900, 2500))
    ),
    ADJACENT_BODIES,
    *list_joint_windows(),
    *(make_adjacent_joint_window(alloy) for alloy in ALLOYS),
)


@pytest.mark.parametrize("window", EVERY_WINDOW, ids=lambda window: window.key)
def test_every_row_can_stand_in_a_recipe_and_names_its_source(window: BuiltInWindow) -> None:
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", window.key)
    assert len({row.metric for row in window.rows}) == len(window.rows)
    for row in window.rows:
        limit = Limit(metric=row.metric, roles=row.roles, lower=row.lower, upper=row.upper)
        assert limit.unit == row.unit == METRICS[row.metric].unit
        assert row.source.words
        is_doubtful = row.source.status is not Status.SEEN
        assert ("confirm against your copy" in row.source.caution) == is_doubtful


def test_no_two_windows_share_a_key() -> None:
    keys = [window.key for window in (*list_joint_windows(), ADJACENT_BODIES)]
    keys += [make_adjacent_joint_window(alloy).key for alloy in ALLOYS]
    assert len(set(keys)) == len(keys)
