"""What the forms of a run send, read before their transaction begins (see jobs.ahead)."""

from contextlib import suppress
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends

from app.core.refusals import Refusal
from app.core.request import PathId
from app.jobs.ahead import Ahead, read_completion, read_start, read_suggestion
from app.jobs.logger_file import LoggerFile
from app.jobs.pages.reading_form import parse_choices, parse_chosen
from app.jobs.schemas import ClearJob, ReasonGiven
from app.web.forms import PostedForm

KEEP = "keep"


@dataclass(frozen=True)
class SentFile:
    """A logger's file as a form brought it."""

    name: str
    content: LoggerFile


def read_sent_file(
    job_id: PathId, step_id: PathId, ahead: Ahead, form: PostedForm
) -> SentFile | None:
    """Read the file that a form starts a run with; None when none was chosen."""
    try:
        name, content = form.get_file("file")
    except Refusal:
        return None
    file = LoggerFile(content, settings=ahead.settings)
    ahead.ask(
        lambda look: read_start(
            look,
            file,
            job_id=job_id,
            step_id=step_id,
            bench_id=form.parse(ClearJob).bench_id,
            at_once=True,
        )
    )
    return SentFile(name, file)


def read_chosen_file(run_id: PathId, ahead: Ahead, form: PostedForm) -> LoggerFile | None:
    """Read a run's file as a form says: to keep the trace, or to show the reading again."""
    file = None
    if form.text("do") == KEEP:
        file = ahead.ask(lambda look: read_completion(look, run_id, parse_chosen(form)))
    if file is not None and file.is_worked_out:
        return file
    return ahead.ask(lambda look: read_suggestion(look, run_id, parse_choices(form), file=file))


def read_file_not_aborted(run_id: PathId, ahead: Ahead, form: PostedForm) -> LoggerFile | None:
    """Read a run's file where its form must be shown again, since no reason was given."""
    with suppress(Refusal):
        form.parse(ReasonGiven)
        return None
    return ahead.ask(lambda look: read_suggestion(look, run_id, None))


FileSent = Annotated[SentFile | None, Depends(read_sent_file)]
FileChosen = Annotated[LoggerFile | None, Depends(read_chosen_file)]
FileNotAborted = Annotated[LoggerFile | None, Depends(read_file_not_aborted)]
