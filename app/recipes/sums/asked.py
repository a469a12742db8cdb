"""The kinds of value that a sum asks for, all of them texts of an address."""

import re
from collections.abc import Mapping
from typing import Annotated, Final, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    TypeAdapter,
    ValidationError,
)
from typing_extensions import TypeForm

from app.core.faults import SHOWN_LENGTH, faults_of
from app.core.refusals import Unreadable
from app.recipes.body.fields import FROM_FORM
from app.recipes.body.lengths import TypedLength, parse_length, within_mm
from app.recipes.body.site import FoilThickness
from app.recipes.body.stencil import ApertureSide

MOST_CHARACTERS: Final = 40
_NUMBER: Final = re.compile(r"[+-]?[0-9]{1,9}([.,][0-9]{1,6})?")

Asked = TypeVar("Asked", bound="AskedValues")


class SumUnreadable(Unreadable):
    """Values of a sum do not have the type or the range that their field asks for."""

    code = "recipes.sum_unreadable"


class AskedValues(BaseModel):
    """What every sum's values have in common: frozen, and nothing unknown among them."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


def read_asked(model: type[Asked], texts: Mapping[str, str]) -> Asked:
    """Return the values in the texts that the model names; blank ones count as not given.

    Raises SumUnreadable with one fault a field.
    """
    given = {name: texts[name] for name in model.model_fields if texts.get(name, "").strip()}
    try:
        return model.model_validate(given)
    except ValidationError as error:
        raise SumUnreadable(faults_of(error)) from None


def get_mm(text: str) -> float:
    """Return the millimetres of a typed length that a model has checked already."""
    return float(parse_length(text).mm)


def _check_as(kind: TypeForm[TypedLength]) -> AfterValidator:
    """Refuse a text that is no length of `kind`, at the field's own place."""
    adapter: TypeAdapter[TypedLength] = TypeAdapter(kind)

    def check(text: str) -> str:
        try:
            adapter.validate_python(text, context=FROM_FORM)
        except ValidationError as error:
            sentence = error.errors()[0]["msg"].removeprefix("Value error, ")
            if error.errors()[0]["loc"]:
                sentence = f"must be up to 4 digits, 6 decimals and a unit, not {_show(text)}"
            raise ValueError(sentence) from None
        return text.strip()

    return AfterValidator(check)


def _show(text: str) -> str:
    return "".join(c if c.isprintable() else "�" for c in text[:SHOWN_LENGTH])


def _read_number(given: object) -> object:
    if not isinstance(given, str):
        return given
    text = given.strip()
    if not _NUMBER.fullmatch(text):
        shown = _show(text) or "nothing"
        raise ValueError(f"must be a number of at most 6 decimals such as 2.5, not {shown}")
    return text.replace(",", ".")


_TEXT: Final = Field(max_length=MOST_CHARACTERS, examples=["0.5 mm"])

# A number with point or comma. Ranges are written beside each field.
AsTyped = BeforeValidator(_read_number)
SideText = Annotated[str, _TEXT, _check_as(ApertureSide)]
FoilText = Annotated[str, _TEXT, _check_as(FoilThickness)]
# A ball or a pad, 0.02 to 5 mm; a tolerance to either side, 0 to 1 mm; a body, 0.001 to 100 mm.
# Common practice, no source.
BallText = Annotated[str, _TEXT, _check_as(Annotated[TypedLength, within_mm("0.02", "5")])]
ToleranceText = Annotated[str, _TEXT, _check_as(Annotated[TypedLength, within_mm("0", "1")])]
BodyText = Annotated[str, _TEXT, _check_as(Annotated[TypedLength, within_mm("0.001", "100")])]
TransferShare = Annotated[float, Field(ge=1, le=150), AsTyped]
MetalShare = Annotated[float, Field(ge=1, le=100), AsTyped]
