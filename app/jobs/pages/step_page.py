"""The screen of a step's answer: pick a channel and a stretch, see time constant and dead time."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.queries import map_account_names
from app.accounts.rules import Person
from app.core.refusals import Unacceptable
from app.core.request import HouseSettings, PathId, RequestSession
from app.core.settings import Settings
from app.jobs.comparison_runs import find_left_out, map_serials
from app.jobs.downloads import spell_disposition
from app.jobs.pages.asked import AskedPart, AskedView
from app.jobs.pages.compare_asked import spell_origin
from app.jobs.queries import get_run
from app.jobs.run_samples import load_run_samples
from app.jobs.scale_words import spell_on_scale
from app.jobs.scales import Scale
from app.jobs.step_picture import draw_step_svg
from app.jobs.step_response import (
    LEAST_SQUARES,
    TWO_POINTS,
    Method,
    StepResponse,
    choose_response_channel,
    find_response,
)
from app.jobs.tables import Run
from app.numerics.identification import StepAnswer, TwoPointAnswer
from app.numerics.values import CannotSay
from app.traces.queries import RecordedTrace
from app.web.shell import Shell
from app.web.templates import render

router = APIRouter()

Reader = Annotated[Person, Depends(needs(Action.READ))]
Channel = Annotated[str, Query(max_length=60)]


@dataclass(frozen=True)
class MethodWords:
    """One method with its numbers, spelt; empty where the step does not hold."""

    method: Method
    time_constant: str
    dead_time: str
    between: str


@dataclass(frozen=True)
class StepPage:
    """All that step.html can see."""

    shell: Shell
    href: str
    run_href: str
    run_text: str
    channels: tuple[tuple[str, str], ...]
    channel: str
    from_s: str
    to_s: str
    unit: str
    units: tuple[tuple[str, str, str], ...]
    faults: Mapping[str, str]
    is_found: bool
    holds: bool
    reasons: tuple[str, ...]
    left_out: str
    methods: tuple[MethodWords, ...]
    facts: tuple[tuple[str, str], ...]
    picture: str
    picture_href: str


@router.get("/runs/{run_id}/step")
def show_step(
    run_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    asked: AskedView,
    person: Reader,
    channel: Channel = "",
) -> HTMLResponse:
    """Show how a channel answers a step; a stretch that is none is refused beside its field."""
    run = get_run(session, run_id)
    recorded = load_run_samples(session, run)
    name = channel or choose_response_channel(recorded)
    shell = make_shell(request, person, title=f"Run {run.id}: answer to a step")
    try:
        response = _find(recorded, run, name, asked)
    except Unacceptable as refusal:
        faults = {refusal.field or "": refusal.sentence}
        page = _make_page(shell, run, recorded, name, asked, faults=faults)
        return render("jobs/step.html", page, status=422)
    picture = draw_step_svg(
        response, scale=asked.scale, about=_list_about(session, run, response, asked, settings)
    )
    page = _make_page(shell, run, recorded, name, asked, response=response, picture=picture)
    return render("jobs/step.html", page)


@router.get("/runs/{run_id}/step/picture.svg")
def export_step_svg(
    run_id: PathId,
    session: RequestSession,
    settings: HouseSettings,
    asked: AskedView,
    _: Reader,
    channel: Channel = "",
) -> Response:
    """Give the picture of a step's answer as SVG."""
    run = get_run(session, run_id)
    recorded = load_run_samples(session, run)
    response = _find(recorded, run, channel or choose_response_channel(recorded), asked)
    about = _list_about(session, run, response, asked, settings)
    return Response(
        draw_step_svg(response, scale=asked.scale, about=about),
        media_type="image/svg+xml",
        headers={"Content-Disposition": spell_disposition(f"run-{run.id}-step.svg")},
    )


def _find(recorded: RecordedTrace, run: Run, channel: str, asked: AskedPart) -> StepResponse:
    return find_response(
        recorded,
        channel=channel,
        from_s=asked.from_s,
        to_s=asked.to_s,
        left_out=find_left_out(run, channel),
    )


def _make_page(
    shell: Shell,
    run: Run,
    recorded: RecordedTrace,
    channel: str,
    asked: AskedPart,
    *,
    response: StepResponse | None = None,
    faults: Mapping[str, str] | None = None,
    picture: str = "",
) -> StepPage:
    scale = asked.scale
    from_s, to_s = asked.from_s, asked.to_s
    if response is not None:
        from_s, to_s = response.from_s, response.to_s
    given = {"channel": channel, "from": _spell(from_s), "to": _spell(to_s)}
    href = f"/runs/{run.id}/step"
    return StepPage(
        shell=shell,
        href=href,
        run_href=f"/runs/{run.id}",
        run_text=f"Run {run.id}",
        channels=tuple((one.name, f"{one.name}, {one.role.words}") for one in recorded.channels),
        channel=channel,
        from_s=_spell(from_s),
        to_s=_spell(to_s),
        unit=str(scale),
        units=tuple(
            (str(one), one.words, f"{href}?{urlencode({**given, 'unit': str(one)})}")
            for one in Scale
        ),
        faults=faults or {},
        is_found=response is not None and response.is_found,
        holds=response is not None and not response.reasons,
        reasons=tuple(spell_on_scale(one, scale) for one in response.reasons) if response else (),
        left_out=spell_on_scale(response.left_out, scale) if response else "",
        methods=_word_methods(response, scale),
        facts=_list_facts(response, scale) if response else (),
        picture=picture,
        picture_href=f"{href}/picture.svg?{urlencode({**given, 'unit': str(scale)})}",
    )


def _spell(moment_s: float | None) -> str:
    return "" if moment_s is None else f"{round(moment_s, 6):.12g}"


def _word_methods(response: StepResponse | None, scale: Scale) -> tuple[MethodWords, ...]:
    judgement = response.judgement if response is not None else None
    holds = judgement is not None and judgement.holds
    return tuple(
        _word_method(method, answer if holds else None, scale)
        for method, answer in (
            (LEAST_SQUARES, judgement.fit if judgement is not None else None),
            (TWO_POINTS, judgement.two_points if judgement is not None else None),
        )
    )


def _word_method(
    method: Method, answer: StepAnswer | TwoPointAnswer | CannotSay | None, scale: Scale
) -> MethodWords:
    if answer is None or isinstance(answer, CannotSay):
        return MethodWords(method, "", "", "")
    return MethodWords(
        method,
        _spell_time_constant(answer),
        _spell_dead_time(answer),
        f"{scale.spell(answer.baseline_c, '°C')} to {scale.spell(answer.final_c, '°C')}",
    )


def _spell_time_constant(answer: StepAnswer | TwoPointAnswer) -> str:
    expanded = answer.expanded_time_constant_s if isinstance(answer, StepAnswer) else None
    around = "" if expanded is None else f" ± {expanded:.2g}"
    return f"{answer.time_constant_s:.4g}{around} s"


def _spell_dead_time(answer: StepAnswer | TwoPointAnswer) -> str:
    if isinstance(answer, StepAnswer) and answer.is_dead_time_at_limit:
        return "0 s: the answer begins with the stretch or before it"
    if answer.dead_time_s < 0:
        return f"{answer.dead_time_s:.3g} s: before the stretch, so no dead time is seen".replace(
            "-", "−", 1
        )
    return f"{answer.dead_time_s:.3g} s"


def _list_facts(response: StepResponse, scale: Scale) -> tuple[tuple[str, str], ...]:
    judgement = response.judgement
    if judgement is None or not judgement.holds or not isinstance(judgement.fit, StepAnswer):
        return ()
    fit = judgement.fit
    thinned = f", every {judgement.taken_every}th" if judgement.taken_every > 1 else ""
    return (
        ("Readings fitted", f"{judgement.time_s.size:,}{thinned}"),
        ("Change, least squares", scale.spell(fit.change_k, "K", signed=True)),
        ("Readings minus curve", f"{scale.spell(fit.rms_k, 'K')}, root mean square"),
        (
            "Largest of them",
            scale.spell(float(abs(judgement.residual_k).max()), "K"),
        ),
        ("Scatter of the readings", scale.spell(judgement.noise_k, "K")),
    )


def _list_about(
    session: Session, run: Run, response: StepResponse, asked: AskedPart, settings: Settings
) -> list[tuple[str, str]]:
    names = map_account_names(session, {run.by_id})
    origin = spell_origin(
        run,
        serial=map_serials(session, [run])[run.id],
        operator=names.get(run.by_id, ""),
        settings=settings,
    )
    about = [(f"Run {run.id}:", origin)]
    about += [
        (
            f"{words.method.name}:",
            f"time constant {words.time_constant}, dead time {words.dead_time}",
        )
        for words in _word_methods(response, asked.scale)
        if words.time_constant
    ]
    about += [("", spell_on_scale(reason, asked.scale)) for reason in response.reasons]
    about.append(("Temperatures in", asked.scale.words))
    return about
