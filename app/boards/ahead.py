"""What a request with layout files does before its transaction begins: it reads them.

On SQLite one writer at a time has its turn, and nobody should wait for a file to be read. What is
found here is remembered for the transaction; what is refused here is refused there, in its turn.
"""

from collections.abc import Mapping
from contextlib import suppress
from typing import Annotated

from fastapi import Depends

from app.accounts.access import needs_ahead
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.boards.files import read_bill_file, read_placement_file
from app.boards.rules import FileKind, FileNotSent
from app.core.refusals import Refusal
from app.core.request import RequestBody
from app.web.forms import PostedForm

EditorAhead = Annotated[Person, Depends(needs_ahead(Action.ASSEMBLIES_EDIT))]


def read_raw_file(kind: FileKind, body: RequestBody, _: EditorAhead) -> bytes:
    """Return the file that is a request's body; FileNotSent for a form."""
    if not isinstance(body, bytes):
        raise FileNotSent("Send the file itself as the body, not a form.", field="body")
    _read({kind: ("", body)})
    return body


def read_form_files(form: PostedForm, _: EditorAhead) -> Mapping[FileKind, tuple[str, bytes]]:
    """Return the files that were chosen in a form; a field left empty is no file."""
    files = {
        kind: form.get_file(kind)
        for kind in FileKind
        if kind in form.files and form.files[kind].filename
    }
    _read(files)
    return files


def _read(files: Mapping[FileKind, tuple[str, bytes]]) -> None:
    for kind, (_, content) in files.items():
        with suppress(Refusal):
            if kind is FileKind.PLACEMENT:
                read_placement_file(content)
            else:
                read_bill_file(content)


RawFileAhead = Annotated[bytes, Depends(read_raw_file)]
FormFilesAhead = Annotated[Mapping[FileKind, tuple[str, bytes]], Depends(read_form_files)]
