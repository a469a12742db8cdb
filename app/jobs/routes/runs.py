"""The JSON routes of runs: a logger's file in, its reading, its figures, its samples."""

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Response
from fastapi.responses import StreamingResponse

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.queries import map_account_names
from app.accounts.rules import Person
from app.core.conditional import spell_etag
from app.core.refusals import Unacceptable
from app.core.request import HouseSettings, Now, PathId, RequestSession
from app.core.text import Line, RowId
from app.files.queries import get_content
from app.jobs import runs, setting_aside
from app.jobs.ahead import ChoicesAhead, CompletionAhead, KeptFileAhead, NewFileAhead
from app.jobs.answers import view_reading, view_run
from app.jobs.downloads import parse_file_name, spell_disposition, spell_samples
from app.jobs.drawing import CHART_POINTS, FULL_POINTS, draw_channels, is_reduced
from app.jobs.queries import get_run, get_trace_of, load_place
from app.jobs.readings import get_file_digest, suggest
from app.jobs.sample_origin import list_origin
from app.jobs.schemas import ReasonGiven
from app.jobs.service import lock_job
from app.jobs.views import ChannelSamples, ReadingView, RunView, SamplesView
from app.plant.queries import get_bench
from app.traces.queries import load_samples
from app.web.once import CreateOnce

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Worker = Annotated[Person, Depends(needs(Action.JOBS_WORK))]

FILE_BODY = {
    "requestBody": {
        "required": True,
        "description": "The logger's file as it is.",
        "content": {
            "text/csv": {
                "schema": {"type": "string"},
                "example": "Time (s),T1 (°C),T2 (°C)\n0,25.1,25.0\n1,26.4,26.2\n",
            },
            "application/octet-stream": {"schema": {"type": "string", "format": "binary"}},
        },
    }
}
DOWNLOAD: dict[int | str, dict[str, object]] = {
    200: {"content": {"application/octet-stream": {"schema": {"type": "string"}}}}
}
TABLE: dict[int | str, dict[str, object]] = {
    200: {"content": {"text/csv": {"schema": {"type": "string"}}}}
}


class FileNotRaw(Unacceptable):
    """The body is a form and not the file itself."""

    code = "jobs.file_not_raw"


@router.post(
    "/jobs/{job_id}/steps/{step_id}/runs",
    response_model=RunView,
    status_code=HTTPStatus.CREATED,
    openapi_extra=FILE_BODY,
)
def start_run(
    file: NewFileAhead,
    job_id: PathId,
    step_id: PathId,
    bench_id: Annotated[RowId, Query(description="Where the site was heated.")],
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Worker,
    once: CreateOnce,
    file_name: Annotated[Line, Query(description="What the logger called it.")] = "trace.csv",
    at_once: Annotated[  # noqa: FBT002 - a query parameter
        bool, Query(description="Complete the run if the bench remembers how to read the file.")
    ] = False,
) -> Response:
    """Begin a run of a heated line with the file its logger wrote; the body is the file."""
    if file is None:
        raise FileNotRaw("Send the file itself as the body, not a form.", field="body")

    def create() -> RunView:
        run = runs.start_run(
            session,
            lock_job(session, job_id),
            step_id,
            bench=get_bench(session, bench_id),
            file=file,
            file_name=parse_file_name(file_name),
            settings=settings,
            person=person,
            now=now,
        )
        run = get_run(session, run.id)
        if at_once:
            runs.complete_at_once(
                session, run, settings=settings, person=person, now=now, file=file
            )
        return _view(session, run.id)

    return once.answer(session, person.account_id, create)


@router.get("/runs/{run_id}")
def show_run(run_id: PathId, session: RequestSession, response: Response, _: Reader) -> RunView:
    """Show a run with what was found before it and computed after it."""
    run = _view(session, run_id)
    response.headers["ETag"] = spell_etag(run.version)
    return run


@router.get("/runs/{run_id}/reading")
def show_reading(
    run_id: PathId, session: RequestSession, settings: HouseSettings, _: Reader
) -> ReadingView:
    """Show how the run's file is read, why, what is to be answered, and suggested channels."""
    run = get_run(session, run_id)
    return view_reading(run, suggest(session, run, choices=None, settings=settings))


@router.post("/runs/{run_id}/reading")
def try_reading(
    tried: ChoicesAhead,
    run_id: PathId,
    session: RequestSession,
    settings: HouseSettings,
    _: Worker,
) -> ReadingView:
    """Show how the run's file is read with other choices, and change nothing."""
    run = get_run(session, run_id)
    suggestion = suggest(session, run, choices=tried.choices, settings=settings, file=tried.file)
    return view_reading(run, suggestion)


@router.post("/runs/{run_id}/completion")
def complete_run(
    ahead: CompletionAhead,
    run_id: PathId,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Worker,
) -> RunView:
    """Keep the run's trace, compute its figures, and lock the run for good."""
    run = get_run(session, run_id)
    runs.complete_run(
        session, run, ahead.said, settings=settings, person=person, now=now, file=ahead.file
    )
    return _view(session, run_id)


@router.post("/runs/{run_id}/abortion")
def abort_run(
    run_id: PathId, fields: ReasonGiven, session: RequestSession, now: Now, person: Worker
) -> RunView:
    """End a run that is not to count, and say why; its file stays kept."""
    run = get_run(session, run_id)
    runs.abort_run(session, run, fields.reason, person=person, now=now)
    return _view(session, run_id)


@router.post("/runs/{run_id}/setting-aside")
def set_aside_run(
    run_id: PathId, fields: ReasonGiven, session: RequestSession, now: Now, person: Worker
) -> RunView:
    """Say that a complete run does not count, and why; nothing of it goes, and nothing undoes it.

    Whoever may record a run may set it aside until its line is signed; an engineer afterwards too.
    """
    run = get_run(session, run_id)
    setting_aside.set_aside_run(session, run, fields.reason, person=person, now=now)
    return _view(session, run_id)


@router.post("/runs/{run_id}/reading-again", response_model=RunView, status_code=HTTPStatus.CREATED)
def read_again(
    file: KeptFileAhead,
    run_id: PathId,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Worker,
    once: CreateOnce,
) -> Response:
    """Begin a new run of the same line from the kept file of a run that does not count."""

    def create() -> RunView:
        run = setting_aside.read_again(
            session, get_run(session, run_id), settings=settings, person=person, now=now, file=file
        )
        return _view(session, run.id)

    return once.answer(session, person.account_id, create)


@router.get("/runs/{run_id}/samples")
def show_samples(
    run_id: PathId,
    session: RequestSession,
    _: Reader,
    full: Annotated[  # noqa: FBT002 - a query parameter
        bool,
        Query(description=f"{FULL_POINTS:,} points a channel at most, not {CHART_POINTS:,}."),
    ] = False,
) -> SamplesView:
    """Give the trace as recorded: °C against seconds, thinned so that no peak is lost.

    What a calibration adds is not in it; `/runs/{id}/chart.json` of the pages has it.
    """
    run = get_run(session, run_id)
    trace = get_trace_of(run)
    recorded = load_samples(session, trace)
    points = FULL_POINTS if full else CHART_POINTS
    return SamplesView(
        run_id=run.id,
        trace_id=trace.id,
        sample_count=trace.rows,
        is_reduced=is_reduced(recorded, points=points),
        channels=[
            ChannelSamples(
                name=channel.name,
                role=channel.role,
                designator=channel.designator,
                time_s=list(channel.time_s),
                temperature_c=list(channel.temperature_c),
            )
            for channel in draw_channels(recorded, points=points)
        ],
    )


@router.get("/runs/{run_id}/samples.csv", response_class=StreamingResponse, responses=TABLE)
def download_samples(
    run_id: PathId, session: RequestSession, settings: HouseSettings, _: Reader
) -> StreamingResponse:
    """Give every sample as recorded, as CSV: each channel in its file's own digits and unit.

    Above them, and a blank row between, stands where they come from.
    """
    run = get_run(session, run_id)
    recorded = load_samples(session, get_trace_of(run))
    operator = map_account_names(session, {run.by_id}).get(run.by_id, "")
    about = list_origin(run, load_place(session, run), operator=operator, zone=settings.zone)
    return StreamingResponse(
        spell_samples(recorded, about=about),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": spell_disposition(f"run-{run.id}-samples.csv")},
    )


@router.get("/runs/{run_id}/file", response_class=Response, responses=DOWNLOAD)
def download_file(run_id: PathId, session: RequestSession, _: Reader) -> Response:
    """Give the logger's file, byte for byte as it came."""
    run = get_run(session, run_id)
    return Response(
        get_content(session, get_file_digest(run)),
        media_type="application/octet-stream",
        headers={"Content-Disposition": spell_disposition(run.file_name or "trace.csv")},
    )


def _view(session: RequestSession, run_id: int) -> RunView:
    run = get_run(session, run_id)
    card, site, step = load_place(session, run)
    return view_run(session, card, site, step, run)
