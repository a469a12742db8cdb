"""Which column of a file is which channel: as said, as the plan names it, or by its header."""

import re
from collections.abc import Sequence
from typing import Final

from pydantic import ValidationError

from app.core.faults import faults_of
from app.core.refusals import Unacceptable
from app.recipes.body.setup import Thermocouple
from app.traces.files import (
    ColumnGuess,
    LoggerReading,
    TemperatureColumn,
    is_cold_junction_header,
    strip_unit,
)
from app.traces.rules import Channel, ChannelMap, ChannelRole, ColumnRole, check_channels_fit

_LONGEST_NAME: Final = 60
# The first that is found in a header counts: "joint under the body" is a joint.
_ROLE_WORDS: Final = (
    ("corner", ChannelRole.JOINT_CORNER),
    ("joint", ChannelRole.JOINT_CENTRE),
    ("centre", ChannelRole.JOINT_CENTRE),
    ("center", ChannelRole.JOINT_CENTRE),
    ("body", ChannelRole.BODY),
    ("package", ChannelRole.BODY),
    ("board", ChannelRole.BOARD),
    ("pcb", ChannelRole.BOARD),
    ("ambient", ChannelRole.AIR),
    ("air", ChannelRole.AIR),
)
_BRACKETS: Final = re.compile(r"\s*[\[(].*$")


class MapUnreadable(Unacceptable):
    """A word about a column is not written as one."""

    code = "analyse.map_unreadable"


class NoColumnNamed(Unacceptable):
    """A file has no column of temperatures with the header that was named."""

    code = "analyse.no_column_named"


class ChannelsImpossible(Unacceptable):
    """The channels contradict each other or are too many."""

    code = "analyse.channels_impossible"


def parse_map(said: str) -> tuple[str, ChannelRole, str]:
    """Return (column, role, name) of `T1=joint-centre`, `3=body:Lid` or `T5=adjacent:U7`.

    Raises MapUnreadable.
    """
    column, equals, rest = said.rpartition("=")
    role_word, _, name = rest.partition(":")
    folded = role_word.strip().casefold().replace("-", "_").replace(" ", "_")
    if not equals or not column.strip():
        raise MapUnreadable(
            f"“{said}” is not written as COLUMN=ROLE or COLUMN=ROLE:NAME.", field="map"
        )
    if folded not in list(ChannelRole):
        roles = ", ".join(role.replace("_", "-") for role in ChannelRole)
        raise MapUnreadable(f"“{role_word}” is no role; there are {roles}.", field="map")
    role = ChannelRole(folded)
    if role is ChannelRole.ADJACENT and not name.strip():
        raise MapUnreadable(
            f"“{said}” must name the adjacent part: {column}=adjacent:U7.", field="map"
        )
    return column.strip(), role, name.strip()


def map_channels(
    reading: LoggerReading, *, said: Sequence[str], plan: Sequence[Thermocouple] | None
) -> tuple[ChannelMap, tuple[str, ...]]:
    """Return the channels, and a sentence for each whose role could only be supposed.

    Where columns are named, they alone are used. Otherwise a column is the plan's channel of that
    name, or what its header speaks of, or a joint; a cold junction's own column and millivolts of
    no known type beside columns of temperatures are left out. Raises MapUnreadable, NoColumnNamed
    and ChannelsImpossible.
    """
    supposed: list[str] = []
    if said:
        channels = [_make_said(reading, one) for one in said]
        used = {channel.column for channel in channels}
        supposed += [
            f"Column {column.index + 1} “{column.header}” is left out: no --map names it."
            for column in reading.columns
            if column.index not in used
        ]
    else:
        planned = {one.channel.casefold(): one for one in plan or ()}
        channels = []
        for column in reading.columns:
            why_not = "" if _find_planned(column, planned) else _why_not_likely(reading, column)
            if why_not:
                supposed.append(
                    f"Column {column.index + 1} “{column.header}” is left out: {why_not}; "
                    "say otherwise with --map."
                )
            else:
                channels.append(_guess(column, planned, supposed))
    if not channels:
        raise ChannelsImpossible(
            f"No column can be taken for a channel. {' '.join(supposed)}", field="map"
        )
    try:
        channel_map = ChannelMap(channels=tuple(channels))
    except ValidationError as error:
        sentences = "; ".join(fault.sentence for fault in faults_of(error))
        raise ChannelsImpossible(f"{sentences}. Name them with --map.", field="map") from None
    check_channels_fit(channel_map, columns={column.index for column in reading.columns})
    return channel_map, tuple(supposed)


def _make_said(reading: LoggerReading, said: str) -> Channel:
    wanted, role, name = parse_map(said)
    column = _get_column(reading, wanted)
    is_adjacent = role is ChannelRole.ADJACENT
    try:
        return Channel(
            column=column.index,
            name=_name_of(column) if is_adjacent or not name else name,
            role=role,
            designator=name if is_adjacent else None,
        )
    except ValidationError as error:
        sentences = "; ".join(fault.sentence for fault in faults_of(error))
        raise MapUnreadable(f"“{said}”: {sentences}.", field="map") from None


def _get_column(reading: LoggerReading, wanted: str) -> TemperatureColumn:
    """Find by the whole header, by the header without its unit, then by number from 1."""
    folded = wanted.casefold()
    columns = reading.columns
    for found in (
        [one for one in columns if one.header.casefold() == folded],
        [one for one in columns if _bare(one.header).casefold() == folded],
        [one for one in columns if str(one.index + 1) == wanted],
    ):
        if len(found) == 1:
            return found[0]
    there = ", ".join(f"{one.index + 1} “{one.header}”" for one in columns)
    aside = [one for one in reading.guesses if one.role is not ColumnRole.TEMPERATURE]
    for guess in aside:
        if _is_named(guess, folded):
            raise NoColumnNamed(
                f"Column {guess.index + 1} “{guess.header}” is no column of temperatures: "
                f"{guess.why}. There are {there}.",
                field="map",
            )
    raise NoColumnNamed(
        f"“{wanted}” is not the header or number of one column of temperatures; there are {there}.",
        field="map",
    )


def _guess(
    column: TemperatureColumn, planned: dict[str, Thermocouple], supposed: list[str]
) -> Channel:
    name = _name_of(column)
    one = _find_planned(column, planned)
    if one is not None:
        return Channel(
            column=column.index,
            name=one.channel,
            role=one.role,
            designator=one.designator or None,
        )
    header = column.header.casefold()
    role = next((role for word, role in _ROLE_WORDS if word in header), None)
    why = "its header says so" if role else "its header says nothing else"
    role = role or ChannelRole.JOINT_CENTRE
    supposed.append(
        f"Column {column.index + 1} “{column.header}” was taken for: {role.words}; {why}. "
        "Say otherwise with --map."
    )
    return Channel(column=column.index, name=name, role=role)


def _find_planned(
    column: TemperatureColumn, planned: dict[str, Thermocouple]
) -> Thermocouple | None:
    return planned.get(_name_of(column).casefold()) or planned.get(column.header.casefold())


def _why_not_likely(reading: LoggerReading, column: TemperatureColumn) -> str:
    """Return why the column is no channel unless it is named; empty where it may be one."""
    if is_cold_junction_header(column.header):
        return "its header names a cold junction"
    untyped = {guess.index for guess in reading.guesses if guess.is_untyped}
    others = (one for one in reading.columns if not is_cold_junction_header(one.header))
    if column.index in untyped and any(one.index not in untyped for one in others):
        return "it holds millivolts of no known type, which --thermocouple would say"
    return ""


def _is_named(guess: ColumnGuess, folded: str) -> bool:
    header = guess.header.casefold()
    return folded in {header, _bare(guess.header).casefold(), str(guess.index + 1)}


def _bare(header: str) -> str:
    return _BRACKETS.sub("", strip_unit(header)).strip()


def _name_of(column: TemperatureColumn) -> str:
    bare = _bare(column.header) or column.header.strip()
    return bare[:_LONGEST_NAME].strip() or f"column {column.index + 1}"
