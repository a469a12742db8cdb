"""Reads a posted form into a pydantic model, or says beside which field it went wrong."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, TypeVar

from fastapi import Depends
from pydantic import BaseModel, ValidationError
from starlette.datastructures import FormData, UploadFile

from app.core.faults import faults_of
from app.core.refusals import Fault, Refusal, Unacceptable, Unreadable
from app.core.request import RequestBody

Model = TypeVar("Model", bound=BaseModel)


class NotAForm(Unacceptable):
    """The body is no form, or a text came where a file was asked for."""

    code = "core.not_a_form"


@dataclass(frozen=True)
class Form:
    """The fields of a posted form: the text of each, all texts of repeated ones, and files."""

    texts: Mapping[str, str] = field(default_factory=dict)
    lists: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    files: Mapping[str, UploadFile] = field(default_factory=dict)

    def parse(self, model: type[Model], **more: object) -> Model:
        """Return the model filled from the fields it names; empty text counts as not given.

        A field declared as a list or set takes all texts of its name. Raises Unreadable with one
        fault a field.
        """
        values: dict[str, object] = {}
        for name, declared in model.model_fields.items():
            if _takes_many(declared.annotation):
                values[name] = [text for text in self.lists.get(name, ()) if text]
            elif self.texts.get(name, "") != "":
                values[name] = self.texts[name]
        try:
            return model.model_validate({**values, **more})
        except ValidationError as error:
            raise Unreadable(faults_of(error)) from None

    def get_file(self, name: str) -> tuple[str, bytes]:
        """Return a file's name (without folders) and its bytes; NotAForm when none was chosen."""
        upload = self.files.get(name)
        if upload is None or not upload.filename:
            raise NotAForm("Choose a file first.", field=name)
        return upload.filename.replace("\\", "/").rsplit("/", 1)[-1][:120], upload.file.read()

    def text(self, name: str) -> str:
        """Return the text of a field, empty when it was not sent."""
        return self.texts.get(name, "")


def read_form(body: RequestBody) -> Form:
    """Turn the parsed body into a Form; any other body gives an empty one."""
    if not isinstance(body, FormData):
        return Form()
    texts: dict[str, str] = {}
    lists: dict[str, tuple[str, ...]] = {}
    files: dict[str, UploadFile] = {}
    for name, value in body.multi_items():
        if isinstance(value, UploadFile):
            files[name] = value
        else:
            texts[name] = value
            lists[name] = (*lists.get(name, ()), value)
    return Form(texts, lists, files)


PostedForm = Annotated[Form, Depends(read_form)]


def map_faults(refusal: Refusal) -> dict[str, str]:
    """Return field → sentence for a page that shows a refusal beside its fields; "" for none."""
    if isinstance(refusal, Unreadable):
        return {fault.field: fault.sentence for fault in refusal.faults}
    return {refusal.field or "": refusal.sentence}


def list_faults(refusal: Refusal) -> tuple[Fault, ...]:
    """Return every fault of a refusal, for a summary at the top of a form."""
    if isinstance(refusal, Unreadable):
        return refusal.faults
    return (Fault(refusal.field or "", refusal.sentence),)


def _takes_many(annotation: object) -> bool:
    text = str(annotation)
    return any(word in text for word in ("list[", "set[", "tuple[", "Sequence["))
