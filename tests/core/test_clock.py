"""Moments are spelt in the plant's zone with their offset, through summer time and back."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.core.clock import read_clock, spell_day, spell_minute, spell_moment, spell_utc

VIENNA = ZoneInfo("Europe/Vienna")
WINTER = datetime(2026, 3, 4, 14, 20, 7, tzinfo=UTC)
# Directive 2000/84/EC: from the last Sunday in March, 01:00 UTC, to the last in October.
SUMMER_BEGINS = datetime(2026, 3, 29, 1, tzinfo=UTC)
SUMMER_ENDS = datetime(2026, 10, 25, 1, tzinfo=UTC)
SECOND = timedelta(seconds=1)
ZONES = ("UTC", "Europe/Vienna", "America/St_Johns", "Asia/Kathmandu", "Pacific/Kiritimati")


@pytest.mark.parametrize(
    ("zone", "spelt"),
    [
        ("UTC", "2026-03-04 14:20:07 +00:00"),
        ("Europe/Vienna", "2026-03-04 15:20:07 +01:00"),
        ("America/St_Johns", "2026-03-04 10:50:07 -03:30"),
        ("Asia/Kathmandu", "2026-03-04 20:05:07 +05:45"),
        ("Pacific/Kiritimati", "2026-03-05 04:20:07 +14:00"),
    ],
)
def test_a_moment_is_spelt_as_the_plants_wall_shows_it(zone: str, spelt: str) -> None:
    assert spell_moment(WINTER, ZoneInfo(zone)) == spelt
    assert spell_minute(WINTER, ZoneInfo(zone)) == spelt[:16]
    assert spell_day(WINTER, ZoneInfo(zone)) == spelt[:10]


def test_an_hour_is_skipped_when_summer_time_begins() -> None:
    assert spell_moment(SUMMER_BEGINS - SECOND, VIENNA) == "2026-03-29 01:59:59 +01:00"
    assert spell_moment(SUMMER_BEGINS, VIENNA) == "2026-03-29 03:00:00 +02:00"


def test_the_hour_that_comes_twice_is_told_apart_by_its_offset() -> None:
    first, second = SUMMER_ENDS - timedelta(minutes=30), SUMMER_ENDS + timedelta(minutes=30)
    assert spell_moment(first, VIENNA) == "2026-10-25 02:30:00 +02:00"
    assert spell_moment(second, VIENNA) == "2026-10-25 02:30:00 +01:00"


def test_a_record_keeps_utc_to_the_microsecond_whatever_zone_it_came_in() -> None:
    local = datetime(2026, 7, 1, 9, 0, 0, 5, tzinfo=VIENNA)
    assert spell_utc(local) == "2026-07-01T07:00:00.000005Z"
    assert spell_utc(WINTER) == "2026-03-04T14:20:07.000000Z"


@given(
    st.datetimes(datetime(1990, 1, 1), datetime(2100, 1, 1), timezones=st.just(UTC)),  # noqa: DTZ001
    st.sampled_from(ZONES),
)
def test_what_is_spelt_tells_one_moment_alone(moment: datetime, zone: str) -> None:
    spelt = spell_moment(moment, ZoneInfo(zone))
    assert datetime.strptime(spelt, "%Y-%m-%d %H:%M:%S %z") == moment.replace(microsecond=0)
    assert datetime.fromisoformat(spell_utc(moment)) == moment


def test_the_clock_is_in_utc() -> None:
    assert read_clock().tzinfo is UTC
