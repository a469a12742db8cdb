"""What the form of a run's reading says: choices about the file, and its channels."""

from collections.abc import Mapping
from typing import Any, Final, TypeVar

from pydantic import BaseModel, ValidationError

from app.core.faults import faults_of
from app.core.refusals import Unacceptable, Unreadable
from app.jobs.schemas import TraceChosen
from app.traces.rules import ChannelRole, ReadingChoices
from app.web.forms import Form

MOST_COLUMNS: Final = 64
# A choice about the whole file has a field of its own name.
FILE_CHOICES: Final = tuple(name for name in ReadingChoices.model_fields if name != "columns")
COLUMN_CHOICES: Final = ("role", "unit", "thermocouple", "cold_junction", "cold_junction_c")
CHANNEL_FIELDS: Final = ("channel_role", "channel", "designator")
_TEMPERATURES: Final = frozenset({"cold_junction_c"})
Said = TypeVar("Said", bound=BaseModel)


class NoChannelSaid(Unacceptable):
    """No column of the form is taken for a channel."""

    code = "jobs.no_channel_said"


def list_said_columns(form: Form) -> list[int]:
    """Return the indices of the columns that the form says something of."""
    return [
        index
        for index in range(MOST_COLUMNS)
        if any(form.text(f"{name}_{index}").strip() for name in COLUMN_CHOICES)
    ]


def list_said_channels(form: Form) -> list[int]:
    """Return the indices of the columns that the form takes for channels in use."""
    roles = ((index, form.text(f"channel_role_{index}")) for index in range(MOST_COLUMNS))
    return [index for index, role in roles if role and role != ChannelRole.UNUSED]


def parse_choices(form: Form) -> ReadingChoices:
    """Return what a form says of a file instead of letting it be guessed. Raises Unreadable."""
    columns = [
        {"index": index, **_list_given(form, {name: f"{name}_{index}" for name in COLUMN_CHOICES})}
        for index in list_said_columns(form)
    ]
    given = _list_given(form, {name: name for name in FILE_CHOICES})
    if "day_first" in given:
        given["day_first"] = given["day_first"] == "yes"
    return _validate(ReadingChoices, {**given, "columns": columns})


def spell_choices(choices: ReadingChoices) -> dict[str, str]:
    """Return the fields of a form that says these choices."""
    said = choices.model_dump(mode="json", exclude_none=True, exclude={"columns"})
    if "day_first" in said:
        said["day_first"] = "yes" if said["day_first"] else "no"
    texts = {name: str(value) for name, value in said.items()}
    for column in choices.columns:
        named = column.model_dump(mode="json", exclude_none=True, exclude={"index"})
        texts |= {f"{name}_{column.index}": str(value) for name, value in named.items()}
    return texts


def parse_chosen(form: Form) -> TraceChosen:
    """Return the choices and the channels of a form. Raises Unreadable and NoChannelSaid."""
    choices = parse_choices(form)
    if not list_said_channels(form):
        raise NoChannelSaid(
            "No column is taken for a channel: say where the sensor of at least one column sits. "
            "Where no column is offered, say below what the columns hold.",
            field="channel_map",
        )
    channels = [
        {
            "column": index,
            "name": form.text(f"channel_{index}"),
            "role": form.text(f"channel_role_{index}"),
            "designator": form.text(f"designator_{index}").strip() or None,
        }
        for index in list_said_channels(form)
    ]
    return _validate(
        TraceChosen,
        {
            "choices": choices,
            "channel_map": {"channels": channels},
            "lifted_at_s": form.text("lifted_at_s").strip().replace(",", ".") or None,
            "remember": form.text("remember") == "yes",
            "remark": form.text("remark"),
        },
    )


def _list_given(form: Form, fields: Mapping[str, str]) -> dict[str, Any]:
    """Return what stands in the fields, by the names of the choices; blank ones are not given."""
    given: dict[str, Any] = {}
    for name, field in fields.items():
        text = form.text(field)
        if text.strip():
            # A tab is a delimiter; a decimal comma is as good as a point.
            given[name] = text.strip().replace(",", ".") if name in _TEMPERATURES else text
        elif name == "delimiter" and text:
            given[name] = text
    return given


def _validate(model: type[Said], given: dict[str, Any]) -> Said:
    try:
        return model.model_validate(given)
    except ValidationError as error:
        raise Unreadable(faults_of(error)) from None
