"""What may be said of columns and channels, and what is refused."""

import pytest
from pydantic import ValidationError

from app.traces.rules import (
    Channel,
    ChannelMap,
    ChannelRole,
    ChannelWithoutColumn,
    ColumnChoice,
    ColumnRole,
    Delimiter,
    ReadingChoices,
    TemperatureUnit,
    check_channels_fit,
)


def channel(column: int, name: str, role: ChannelRole = ChannelRole.BODY) -> Channel:
    return Channel(column=column, name=name, role=role)


def test_choices_are_remembered_as_json_and_come_back_the_same() -> None:
    choices = ReadingChoices(
        delimiter=Delimiter.TAB,
        header_row=0,
        columns=(
            ColumnChoice(index=0, role=ColumnRole.TIME),
            ColumnChoice(index=1, unit=TemperatureUnit.FAHRENHEIT),
        ),
    )
    assert ReadingChoices.model_validate_json(choices.model_dump_json()) == choices
    assert ReadingChoices.model_validate(choices.model_dump(mode="json")) == choices


@pytest.mark.parametrize(
    "data",
    [
        {"delimiter": " "},
        {"decimal_mark": "'"},
        {"header_row": -1},
        {"time_format": "fortnights"},
        {"temperature_unit": "R"},
        {"columns": [{"index": -1}]},
        {"columns": [{"index": 1000}]},
        {"columns": [{"index": 1}, {"index": 1}]},
        {"columns": [{"index": 1, "role": "time"}, {"index": 2, "role": "time"}]},
        {"colour": "red"},
        {"sheet": " "},
        {"zone": "Vienna"},
        {"zone": "../../etc/localtime"},
        {"header_last_row": 3},
        {"header_row": 3, "header_last_row": 2},
        {"header_row": 3, "header_last_row": 13},
        {"header_row": 0, "header_last_row": 1},
        {"header_row": 3, "header_last_row": 4, "units_row": 4},
        {"cold_junction_c": 151},
        {"cold_junction_c": float("nan")},
        {"columns": [{"index": 1, "cold_junction": 1}]},
        {"columns": [{"index": 1, "cold_junction": 2, "cold_junction_c": 25}]},
        {"columns": [{"index": 1, "cold_junction": 0}, {"index": 0, "role": "time"}]},
    ],
)
def test_choices_that_cannot_be_meant_are_refused(data: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        ReadingChoices.model_validate(data)


def test_every_role_has_words() -> None:
    words = [role.words for role in ChannelRole]
    assert len(set(words)) == len(ChannelRole)
    assert ChannelRole.JOINT_CENTRE.words == "joint, centre"
    assert [role for role in ChannelRole if role.is_joint] == [
        ChannelRole.JOINT_CENTRE,
        ChannelRole.JOINT_CORNER,
    ]


def test_a_map_keeps_its_channels_in_order_and_comes_back_from_json() -> None:
    channels = ChannelMap(
        channels=(
            channel(2, "centre", ChannelRole.JOINT_CENTRE),
            channel(1, "spare", ChannelRole.UNUSED),
            Channel(column=4, name=" C12 ", role=ChannelRole.ADJACENT, designator="C12"),
        )
    )
    assert [c.name for c in channels.in_use] == ["centre", "C12"]
    assert ChannelMap.model_validate_json(channels.model_dump_json()) == channels


def test_an_adjacent_channel_names_its_part_and_no_other_does() -> None:
    with pytest.raises(ValidationError, match="names the part it sits on"):
        channel(1, "C12", ChannelRole.ADJACENT)
    with pytest.raises(ValidationError, match="adjacent channel alone"):
        Channel(column=1, name="body", role=ChannelRole.BODY, designator="U7")


@pytest.mark.parametrize(
    ("channels", "words"),
    [
        ((channel(1, "body"), channel(2, "Body")), "more than once"),
        ((channel(1, "body"), channel(1, "board")), "one channel only"),
        ((channel(1, "spare", ChannelRole.UNUSED),), "at least one"),
        (tuple(channel(k, f"T{k}") for k in range(17)), "17 are in use; 16 is the most"),
    ],
)
def test_a_map_that_is_ambiguous_or_too_large_is_refused(
    channels: tuple[Channel, ...], words: str
) -> None:
    with pytest.raises(ValidationError, match=words):
        ChannelMap(channels=channels)


def test_sixteen_channels_in_use_and_unused_ones_beside_them_are_accepted() -> None:
    used = tuple(channel(k, f"T{k}") for k in range(16))
    spare = tuple(channel(k, "spare", ChannelRole.UNUSED) for k in range(16, 20))
    assert len(ChannelMap(channels=used + spare).in_use) == 16


@pytest.mark.parametrize("name", ["", " " * 3, "x" * 61, "a\x00b", "a\ud800"])
def test_a_channel_needs_a_name_of_one_line(name: str) -> None:
    with pytest.raises(ValidationError):
        channel(1, name)


def test_a_channel_on_a_column_without_temperatures_is_refused_by_its_place() -> None:
    channels = ChannelMap(
        channels=(channel(9, "spare", ChannelRole.UNUSED), channel(1, "a"), channel(5, "b"))
    )
    check_channels_fit(channels, columns={1, 5})
    with pytest.raises(ChannelWithoutColumn) as refused:
        check_channels_fit(channels, columns={1, 2})
    assert refused.value.field == "channels.2.column"
    assert "column 6" in refused.value.sentence
