"""What a posted form holds, and beside which field it is refused."""

from io import BytesIO
from typing import Annotated

import pytest
from pydantic import BaseModel, Field
from starlette.datastructures import FormData, Headers, UploadFile

from app.core.refusals import Conflict, Fault, Unreadable
from app.core.text import Line
from app.web.forms import Form, NotAForm, list_faults, map_faults, read_form


class Order(BaseModel):
    """A form with a text, a number, a list and a set."""

    title: Line
    amount: Annotated[int, Field(ge=1, le=9)] = 3
    sites: list[str] = []
    marks: frozenset[str] = frozenset()
    by: str = "nobody"


class Taken(Conflict):
    """A refusal with a field."""

    code = "tests.taken"


def make_upload(name: str, content: bytes = b"1;2") -> UploadFile:
    return UploadFile(BytesIO(content), filename=name, headers=Headers())


def make_form(*fields: tuple[str, str | UploadFile]) -> Form:
    return read_form(FormData(list(fields)))


def test_a_field_gives_its_text_and_a_repeated_one_all_of_them() -> None:
    form = make_form(("title", "x"), ("sites", "U3"), ("sites", "U4"), ("marks", "a"))
    order = form.parse(Order)
    assert (order.title, order.sites, order.marks) == (
        "x",
        ["U3", "U4"],
        frozenset("a"),
    )


def test_of_a_plain_field_that_came_twice_the_last_one_counts() -> None:
    assert make_form(("title", "one"), ("title", "two")).parse(Order).title == "two"


def test_an_empty_text_counts_as_not_given() -> None:
    form = make_form(("title", "x"), ("amount", ""), ("sites", ""), ("sites", "U3"))
    order = form.parse(Order)
    assert order.amount == 3
    assert order.sites == ["U3"]
    with pytest.raises(Unreadable) as refused:
        make_form(("title", "")).parse(Order)
    assert refused.value.faults == (Fault("title", "is missing"),)


def test_a_field_that_the_model_does_not_name_is_passed_over() -> None:
    assert make_form(("title", "x"), ("csrf", "mark")).parse(Order).title == "x"


def test_what_the_page_knows_itself_wins_over_what_was_sent() -> None:
    form = make_form(("title", "x"), ("by", "an impostor"))
    assert form.parse(Order, by="ines").by == "ines"


def test_every_wrong_field_is_named_at_once() -> None:
    with pytest.raises(Unreadable) as refused:
        make_form(("title", "a\x00"), ("amount", "ten")).parse(Order)
    assert map_faults(refused.value) == {
        "title": "character 2 is U+0000, which no text may hold",
        "amount": "must be a whole number, not ten",
    }
    assert len(list_faults(refused.value)) == 2


@pytest.mark.parametrize(
    ("sent", "kept"),
    [
        ("log.csv", "log.csv"),
        ("C:\\Users\\odile\\log.csv", "log.csv"),
        ("../../etc/passwd", "passwd"),
        ("a/b\\c/d.csv", "d.csv"),
        ("x" * 300, "x" * 120),
        ("folder/", ""),
    ],
)
def test_a_file_comes_with_its_name_and_without_its_folders(sent: str, kept: str) -> None:
    assert make_form(("file", make_upload(sent))).get_file("file") == (kept, b"1;2")


@pytest.mark.parametrize(
    "form",
    [
        make_form(),
        make_form(("file", "a text in the place of a file")),
        make_form(("file", make_upload(""))),
        make_form(("other", make_upload("log.csv"))),
    ],
)
def test_without_a_file_one_is_asked_for(form: Form) -> None:
    with pytest.raises(NotAForm, match="Choose a file first") as refused:
        form.get_file("file")
    assert refused.value.field == "file"


@pytest.mark.parametrize("body", [b"", b'{"title": "x"}'])
def test_a_body_that_is_no_form_has_no_fields(body: bytes) -> None:
    form = read_form(body)
    assert form.text("title") == ""
    with pytest.raises(Unreadable):
        form.parse(Order)


def test_a_refusal_without_a_field_stands_above_the_form() -> None:
    assert map_faults(Taken("Taken already.")) == {"": "Taken already."}
    assert map_faults(Taken("Taken already.", field="code")) == {"code": "Taken already."}
    assert list_faults(Taken("Taken already.")) == (Fault("", "Taken already."),)
