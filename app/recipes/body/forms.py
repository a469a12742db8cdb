"""Reads a body from JSON or from a posted form, and names every field that is wrong."""

from collections.abc import Mapping
from typing import Final, TypeAlias

from pydantic import ValidationError

from app.core.faults import faults_of
from app.core.refusals import Fault, Unreadable
from app.recipes.body.fields import FROM_FORM
from app.recipes.body.recipe import RecipeBody

MOST_FIELDS: Final = 2000
MOST_STEPS: Final = 6
_ROW_DIGITS: Final = 4

FormValue: TypeAlias = "str | list[FormValue] | dict[str, FormValue]"
_Branch: TypeAlias = "dict[str, str | _Branch]"


class BodyUnreadable(Unreadable):
    """Values of a recipe do not have the type or the range that their field asks for."""

    code = "recipes.body_unreadable"


def parse_body(given: object) -> RecipeBody:
    """Return the body that a JSON value holds; BodyUnreadable with one fault a field."""
    try:
        return RecipeBody.model_validate(given)
    except ValidationError as error:
        raise BodyUnreadable(faults_of(error)) from None


def parse_stored_body(text: str | bytes) -> RecipeBody:
    """Return the body that stored JSON text holds; BodyUnreadable as parse_body."""
    try:
        return RecipeBody.model_validate_json(text)
    except ValidationError as error:
        raise BodyUnreadable(faults_of(error)) from None


def parse_body_form(fields: Mapping[str, str]) -> RecipeBody:
    """Return the body of a form whose fields are named by their paths (`zones.0.time_s`).

    Blank fields count as not given, and so do rows that are blank throughout. Lists of words may
    come in one field with commas between, lengths as `0.020 in` in one field or as `….value` and
    `….unit`, numbers with point or comma, yes/no as `yes` and `no`. `format` need not be sent.
    Raises BodyUnreadable; its paths are those of nest_fields(fields).
    """
    nested = nest_fields(fields)
    try:
        return RecipeBody.model_validate({**nested, "format": 1}, context=FROM_FORM)
    except ValidationError as error:
        raise BodyUnreadable(faults_of(error)) from None


def nest_fields(fields: Mapping[str, str]) -> dict[str, FormValue]:
    """Return the fields as objects and lists: steps that are all numbers make a list.

    Blank texts and rows are left out, and later rows move up. Raises BodyUnreadable for more than
    2000 fields, more than 6 steps in a path, or a path that is both a text and a part.
    """
    if len(fields) > MOST_FIELDS:
        raise BodyUnreadable((Fault("", f"may have at most {MOST_FIELDS} fields"),))
    root: _Branch = {}
    for path, text in fields.items():
        if text.strip():
            _plant(root, path, text)
    return {name: _settle(value) for name, value in root.items()}


def _plant(root: _Branch, path: str, text: str) -> None:
    *branches, leaf = path.split(".")
    if len(branches) >= MOST_STEPS:
        raise BodyUnreadable((Fault(path[:60], f"may have at most {MOST_STEPS} steps"),))
    here = root
    for step in branches:
        found = here.setdefault(step, {})
        if isinstance(found, str):
            raise BodyUnreadable((Fault(path[:60], "is both a value and a part of the recipe"),))
        here = found
    if leaf in here:
        raise BodyUnreadable((Fault(path[:60], "is both a value and a part of the recipe"),))
    here[leaf] = text


def _settle(value: "str | _Branch") -> FormValue:
    if isinstance(value, str):
        return value
    if all(step.isascii() and step.isdigit() and len(step) <= _ROW_DIGITS for step in value):
        return [_settle(value[step]) for step in sorted(value, key=int)]
    return {step: _settle(below) for step, below in value.items()}
