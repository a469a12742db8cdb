"""What the form of a run's reading says: choices about the file, and its channels."""

from typing import Any, Final, TypeVar

from pydantic import BaseModel, ValidationError

from app.core.faults import faults_of
from app.core.refusals import Unreadable
from app.jobs.schemas import TraceChosen
from app.traces.rules import ChannelRole, ReadingChoices
from app.web.forms import Form

MOST_COLUMNS: Final = 64
Said = TypeVar("Said", bound=BaseModel)


def parse_choices(form: Form) -> ReadingChoices:
    """Return what a form says of a file instead of letting it be guessed. Raises Unreadable."""
    columns = []
    for index in range(MOST_COLUMNS):
        role, unit = form.text(f"role_{index}"), form.text(f"unit_{index}")
        if role or unit:
            columns.append({"index": index, "role": role or None, "unit": unit or None})
    given: dict[str, Any] = {
        name: form.text(name)
        for name in (
            "delimiter",
            "decimal_mark",
            "header_row",
            "time_format",
            "temperature_unit",
        )
        if form.text(name)
    }
    if form.text("day_first"):
        given["day_first"] = form.text("day_first") == "yes"
    return _validate(ReadingChoices, {**given, "columns": columns})


def parse_chosen(form: Form) -> TraceChosen:
    """Return the choices and the channels of a form. Raises Unreadable."""
    choices = parse_choices(form)
    channels = []
    for index in range(MOST_COLUMNS):
        role = form.text(f"channel_role_{index}")
        if role and role != ChannelRole.UNUSED:
            designator = form.text(f"designator_{index}").strip()
            channels.append(
                {
                    "column": index,
                    "name": form.text(f"channel_{index}"),
                    "role": role,
                    "designator": designator or None,
                }
            )
    return _validate(
        TraceChosen,
        {
            "choices": choices,
            "channel_map": {"channels": channels},
            "remember": form.text("remember") == "yes",
            "remark": form.text("remark"),
        },
    )


def _validate(model: type[Said], given: dict[str, Any]) -> Said:
    try:
        return model.model_validate(given)
    except ValidationError as error:
        raise Unreadable(faults_of(error)) from None
