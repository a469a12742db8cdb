"""A simulated trace as the CSV of one of four loggers, each with habits of its own."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from seed_demo.thermal_model import CHANNELS, SimulatedTrace


@dataclass(frozen=True)
class LoggerDialect:
    """How one logger writes: `headings` name its columns, `roles` what is plugged in there.

    The role of the time column is `time`; a column nothing is plugged into has role `unused`.
    """

    name: str
    delimiter: str
    decimal_mark: str
    headings: tuple[str, ...]
    roles: tuple[str, ...]
    open_word: str
    units: tuple[str, ...] = ()
    is_commented: bool = False
    line_end: str = "\n"


DIALECTS: Final = {
    "comma_seconds": LoggerDialect(
        name="comma_seconds",
        delimiter=",",
        decimal_mark=".",
        headings=("Time", "CH1", "CH2", "CH3", "CH4", "CH5"),
        roles=("time", *CHANNELS),
        open_word="",
        units=("s", "°C", "°C", "°C", "°C", "°C"),
    ),
    "semicolon_clock": LoggerDialect(
        name="semicolon_clock",
        delimiter=";",
        decimal_mark=",",
        headings=("Clock", "Board", "Joint corner", "Joint centre", "Package", "Neighbour"),
        roles=("time", "board", "joint_corner", "joint_centre", "body", "adjacent"),
        open_word="NaN",
        line_end="\r\n",
    ),
    "tab_milliseconds": LoggerDialect(
        name="tab_milliseconds",
        delimiter="\t",
        decimal_mark=".",
        headings=("t [ms]", "A1 [°C]", "A2 [°C]", "A3 [°C]", "B1 [°C]", "B2 [°C]", "room [°C]"),
        roles=("time", "joint_centre", "joint_corner", "body", "adjacent", "board", "unused"),
        # What a converter for type K answers at the end of its range.
        open_word="1372.0",
    ),
    "iso_datetime": LoggerDialect(
        name="iso_datetime",
        delimiter=",",
        decimal_mark=".",
        headings=("timestamp", "tc_1", "tc_2", "tc_3", "tc_4", "tc_5"),
        roles=("time", "body", "joint_corner", "joint_centre", "board", "adjacent"),
        open_word="OPEN",
        is_commented=True,
    ),
}
_ROOM_C: Final = 23.5


def write_logger_file(trace: SimulatedTrace, *, dialect: str, started_at: datetime) -> str:
    """Write a trace as CSV text; `started_at` is the logger's own clock, with its offset.

    KeyError for a dialect that is not in DIALECTS.
    """
    habits = DIALECTS[dialect]
    spell_time = _SPELL_TIME[dialect]
    lines = _open_file(habits, started_at=started_at)
    columns = [_spell_column(trace, role, habits) for role in habits.roles[1:]]
    for place, time_s in enumerate(trace.times_s):
        cells = [spell_time(float(time_s), started_at), *(column[place] for column in columns)]
        lines.append(habits.delimiter.join(cells))
    return habits.line_end.join([*lines, ""])


def _open_file(habits: LoggerDialect, *, started_at: datetime) -> list[str]:
    lines: list[str] = []
    if habits.is_commented:
        lines += [
            "# thermocouples: type K, class 1",
            f"# started: {started_at.isoformat(timespec='milliseconds')}",
            "# unit: degC",
        ]
    lines.append(habits.delimiter.join(habits.headings))
    if habits.units:
        lines.append(habits.delimiter.join(habits.units))
    return lines


def _spell_column(trace: SimulatedTrace, role: str, habits: LoggerDialect) -> list[str]:
    if role == "unused":
        return [f"{_ROOM_C:.1f}"] * len(trace.times_s)
    return [
        habits.open_word if np.isnan(value) else f"{value:.1f}".replace(".", habits.decimal_mark)
        for value in trace.get_channel(role)
    ]


def _spell_seconds(time_s: float, _started_at: datetime) -> str:
    return f"{time_s:.2f}"


def _spell_milliseconds(time_s: float, _started_at: datetime) -> str:
    return f"{time_s * 1000:.0f}"


def _spell_clock(time_s: float, started_at: datetime) -> str:
    moment = started_at + timedelta(seconds=time_s)
    return f"{moment:%H:%M:%S},{moment.microsecond // 1000:03d}"


def _spell_moment(time_s: float, started_at: datetime) -> str:
    return (started_at + timedelta(seconds=time_s)).isoformat(timespec="milliseconds")


_SPELL_TIME: Final[dict[str, Callable[[float, datetime], str]]] = {
    "comma_seconds": _spell_seconds,
    "semicolon_clock": _spell_clock,
    "tab_milliseconds": _spell_milliseconds,
    "iso_datetime": _spell_moment,
}
