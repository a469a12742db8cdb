"""Times parsed all at once are those parsed one by one, whatever stands among them."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from app.traces.files.grid import PADDING, Bytes, Places
from app.traces.files.moments import Moments, find_clocks, find_date_times, find_days
from app.traces.files.times import (
    Moment,
    NoSuchTime,
    find_clock,
    find_date_time,
    find_day,
)
from app.traces.rules import TimeFormat

clocks = st.one_of(
    st.from_regex(r"[0-2]?[0-9]:[0-6][0-9]:[0-6][0-9]", fullmatch=True),
    st.from_regex(r"[0-9]{1,4}:[0-6][0-9]", fullmatch=True),
    st.from_regex(r"[0-2][0-9]:[0-5][0-9]:[0-5][0-9][.,][0-9]{1,9}", fullmatch=True),
    st.from_regex(r"[0-5][0-9]:[0-5][0-9][.,][0-9]", fullmatch=True),
    st.from_regex(r"[01][0-9]:[0-5][0-9]:[0-5][0-9]:[0-9]{3}", fullmatch=True),
    st.from_regex(r"[01]?[0-9]:[0-5][0-9]:[0-5][0-9] ?[aApP]\.?[mM]\.?", fullmatch=True),
)
days = st.one_of(
    st.dates().map(str),
    st.from_regex(r"[0-9]{4}[-/.][01]?[0-9][-/.][0-3]?[0-9]", fullmatch=True),
    st.from_regex(r"[0-3]?[0-9]/[01]?[0-9]/(20)?[0-9]{2}", fullmatch=True),
    st.from_regex(r"[0-3][0-9]\.[01][0-9]\.[0-9]{4}", fullmatch=True),
)
zones = st.sampled_from(("", "", "Z", " UTC", "+02:00", "-0530", "+99:99"))
date_times = st.tuples(days, st.sampled_from(("T", " ", ", ")), clocks, zones).map("".join)
others = st.sampled_from(
    ("", "-----", "12", "OPEN", "\u0661:\u0662\u0663", "1:2:3:4:5", "24:00:00", "\xa010:00:00")
)


def lay_out(cells: list[str]) -> tuple[Bytes, Places, Places]:
    """Lay the cells one behind the other as a grid's buffer does."""
    encoded = [cell.encode() for cell in cells]
    lengths = np.array([len(one) for one in encoded], dtype=np.int64)
    starts = np.cumsum(lengths + 1) - lengths - 1
    whole = b"\n".join(encoded) + b"\n" * (PADDING + 1)
    return np.frombuffer(whole, dtype=np.uint8), starts, starts + lengths


def check(found: Moments, alone: list[Moment | None]) -> None:
    """Hold what was read at once against each read alone; some may have been left for that."""
    for place in np.flatnonzero(found.is_read).tolist():
        moment = alone[place]
        assert moment is not None
        assert found.second[place] == moment.second
        assert found.fraction[place] == int(moment.fraction or 0)
        assert found.digits[place] == len(moment.fraction)
        assert bool(found.is_zoned[place]) is moment.is_zoned


def repeat(cells: list[str]) -> list[str]:
    """Repeat few cells, so that there are shapes in common."""
    return cells * 9


@settings(max_examples=200)
@given(st.lists(clocks | others, min_size=2, max_size=12), st.sampled_from(TimeFormat))
def test_clock_times_are_the_same_at_once_and_alone(cells: list[str], form: TimeFormat) -> None:
    def alone(text: str) -> Moment | None:
        try:
            return find_clock(text, form)
        except NoSuchTime:
            return None

    many = repeat(cells)
    check(find_clocks(*lay_out(many), form), [alone(text) for text in many])


@settings(max_examples=200)
@given(st.lists(days | others, min_size=2, max_size=12), st.booleans())
def test_dates_are_the_same_at_once_and_alone(cells: list[str], day_first: bool) -> None:  # noqa: FBT001
    def alone(text: str) -> Moment | None:
        try:
            day = find_day(text, day_first=day_first)
        except NoSuchTime:
            return None
        return None if day is None else Moment(day * 86_400)

    many = repeat(cells)
    check(find_days(*lay_out(many), day_first=day_first), [alone(text) for text in many])


@settings(max_examples=300)
@given(st.lists(date_times | others, min_size=2, max_size=12), st.booleans())
def test_dates_with_times_are_the_same_at_once_and_alone(
    cells: list[str],
    day_first: bool,  # noqa: FBT001
) -> None:
    def alone(text: str) -> Moment | None:
        try:
            return find_date_time(text, day_first=day_first, days={})
        except NoSuchTime:
            return None

    many = repeat(cells)
    check(find_date_times(*lay_out(many), day_first=day_first), [alone(text) for text in many])


def test_what_has_a_shape_in_common_is_all_read_at_once() -> None:
    texts = [
        f"2026-02-{1 + k // 24:02d}T{k % 24:02d}:{k % 60:02d}:{k % 59:02d}.{k:03d}Z"
        for k in range(500)
    ]
    found = find_date_times(*lay_out(texts), day_first=True)
    assert found.is_read.all()
    assert found.is_zoned.all()
    assert found.digits.tolist() == [3] * 500


def test_a_time_that_is_none_is_left_for_its_row_to_be_named() -> None:
    texts = ["10:59:59"] * 40 + ["10:60:00"] + ["11:00:00"] * 40
    found = find_clocks(*lay_out(texts), TimeFormat.HH_MM_SS)
    assert np.flatnonzero(~found.is_read).tolist() == [40]
