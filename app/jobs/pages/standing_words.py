"""What a run may never exceed, in the words of its page."""

from collections import Counter
from dataclasses import dataclass, replace
from typing import Final
from urllib.parse import urlencode

from sqlalchemy.orm import Session

from app.core.refusals import Refusal
from app.jobs.figures import describe_line
from app.jobs.pages.run_words import VerdictWords, word_line
from app.jobs.pages.words import Link, StateWords, word_verdict
from app.jobs.queries import SiteCard
from app.jobs.scale_words import spell_on_scale
from app.jobs.scales import Scale
from app.jobs.standing_verdicts import HeldLine, HeldVerdict, RunStanding, hold_run
from app.jobs.standing_views import spell_deciding, spell_stamp
from app.jobs.tables import JobStep, Run
from app.recipes.body.describe import spell_roles
from app.recipes.body.window import METRICS
from app.recipes.verdict import VerdictState
from app.recipes.windows.joints import list_adjacent_joint_windows
from app.traces.queries import RecordedTrace
from app.windows.built_in import PROCESSES
from app.windows.describe import WHOLE_SITE
from app.windows.holding import HeldWindow
from app.windows.standing import list_holdable

DIGEST_SHOWN: Final = 12
_QUIET: Final = StateWords("plain", "nobody measured it")


@dataclass(frozen=True)
class StandingRow:
    """A limit held against a channel, with where it is from and how sure that is.

    `where` names the limit's roles, for a row without a channel.
    """

    words: VerdictWords
    where: str
    window: str
    source: str
    status: str
    is_caution: bool
    note: str
    is_amiss: bool


@dataclass(frozen=True)
class SilentRow:
    """The limits of one window that no channel was there for."""

    window: str
    where: str
    limits: tuple[str, ...]


@dataclass(frozen=True)
class HeldWords:
    """A window that was held: which one, why, and what to be careful about."""

    name: str
    stamp: str
    why: str
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class StandingWords:
    """The section of a run's page; `alarm` stands at the top of the page where it is not empty.

    `rows` are the deciding line and every other that is outside or too close to call; `rest` the
    others, with those that nobody measured last.
    `asked` is the name of the window that was asked for, whose rows are `asked_rows`.
    """

    state: StateWords
    said: str
    alarm: str
    alarm_shape: str
    rows: tuple[StandingRow, ...]
    rest: tuple[StandingRow, ...]
    rest_said: str
    asked: str
    asked_state: StateWords | None
    asked_rows: tuple[StandingRow, ...]
    silent: tuple[SilentRow, ...]
    held: tuple[HeldWords, ...]
    not_known: tuple[str, ...]
    ways_out: tuple[Link, ...]
    choices: tuple[tuple[str, str], ...]
    chosen: str
    fault: str
    chain: str
    rule: str
    exports: tuple[Link, ...]


@dataclass(frozen=True)
class HeldRun:
    """What was held, and why not what was asked for; the fault is empty where it was."""

    standing: RunStanding
    fault: str


def hold_or_say(
    session: Session,
    run: Run,
    recorded: RecordedTrace,
    *,
    site: SiteCard,
    step: JobStep,
    key: str,
) -> HeldRun:
    """Hold a run against what stands; a window that cannot be held too is said, not refused."""
    try:
        held = hold_run(session, run, recorded, site=site, step=step, key=key or None)
    except Refusal as refusal:
        return HeldRun(hold_run(session, run, recorded, site=site, step=step), refusal.sentence)
    return HeldRun(held, "")


def word_standing(
    session: Session,
    run: Run,
    found: HeldRun,
    *,
    site: SiteCard,
    key: str,
    scale: Scale,
    with_expanded: bool,
) -> StandingWords:
    """Return the section in words."""
    standing = found.standing
    asked = standing.asked
    every = (*standing.windows, *filter(None, (asked,)))

    def word(held: list[tuple[HeldWindow, HeldLine]]) -> tuple[StandingRow, ...]:
        held.sort(key=lambda pair: pair[1].order)
        return tuple(
            _word_row(window, one, scale, with_expanded=with_expanded) for window, one in held
        )

    rows = word([(one.held, line) for one in standing.windows for line in one.measured])
    silent = word(
        [(one.held, line) for one in standing.windows for line in one.lines if not line.is_measured]
    )
    shown = [row for place, row in enumerate(rows) if place == 0 or row.is_amiss]
    rest = (*(row for row in rows if row not in shown), *silent)
    alarm, shape = _spell_alarm(standing, scale)
    query = f"?{urlencode({'window': key})}" if asked is not None else ""
    path = f"/api/v1/runs/{run.id}/standing-windows"
    return StandingWords(
        state=word_verdict(str(standing.state)) if standing.is_measured else _QUIET,
        said=spell_deciding(standing, scale) if standing.is_measured else "",
        alarm=alarm,
        alarm_shape=shape,
        rows=tuple(shown),
        rest=rest,
        rest_said=_spell_rest(rest),
        asked="" if asked is None else asked.held.name,
        asked_state=None if asked is None else _word_state(asked),
        asked_rows=() if asked is None else word([(asked.held, line) for line in asked.measured]),
        silent=tuple(row for one in every for row in _list_silent(one, scale)),
        held=tuple(
            HeldWords(
                one.held.name,
                _spell_stamp(one.held),
                spell_on_scale(one.held.why, scale),
                tuple(spell_on_scale(caution, scale) for caution in one.held.cautions),
            )
            for one in every
        ),
        not_known=tuple(spell_on_scale(one, scale) for one in standing.not_known),
        ways_out=tuple(_list_ways_out(standing, site)),
        choices=list_holdable(session),
        chosen=key,
        fault=found.fault,
        chain=spell_on_scale(standing.chain, scale),
        rule=str(standing.rule),
        exports=(Link(f"{path}.csv{query}", "CSV"), Link(f"{path}{query}", "JSON")),
    )


def _word_state(one: HeldVerdict) -> StateWords:
    return word_verdict(str(one.state)) if one.measured else _QUIET


def _spell_alarm(standing: RunStanding, scale: Scale) -> tuple[str, str]:
    """Return what has to be said beside the recipe's own verdict, and the shape of it."""
    deciding = standing.deciding
    if deciding is None:
        return "", ""
    held, line = deciding
    about = f"{spell_deciding(standing, scale)} {held.name}."
    if line.line.state is VerdictState.OUTSIDE:
        return f"Outside what is never to be exceeded. {about}", "stop"
    if any(
        one.line.state is VerdictState.TOO_CLOSE
        for each in standing.windows
        for one in each.measured
    ):
        return "A limit that is never to be exceeded is too close to call.", "caution"
    return "", ""


def _word_row(held: HeldWindow, one: HeldLine, scale: Scale, *, with_expanded: bool) -> StandingRow:
    status = one.row.status
    words = word_line(describe_line(one.line), scale, with_expanded=with_expanded)
    return StandingRow(
        words=words if one.is_measured else replace(words, state=_QUIET, reason=""),
        where=spell_roles(one.row.roles) or WHOLE_SITE,
        window=_spell_stamp(held),
        source=one.row.source,
        status=status.told,
        is_caution=bool(status.caution),
        note=spell_on_scale(one.row.note, scale),
        is_amiss=one.line.state in {VerdictState.OUTSIDE, VerdictState.TOO_CLOSE},
    )


def _spell_rest(rest: tuple[StandingRow, ...]) -> str:
    counts = Counter(row.words.state.word for row in rest)
    told = ", ".join(f"{count} {word}" for word, count in counts.items())
    return f"{len(rest)} more {'limit' if len(rest) == 1 else 'limits'}: {told}"


def _list_silent(one: HeldVerdict, scale: Scale) -> list[SilentRow]:
    by_place: dict[str, list[str]] = {}
    for line in one.lines:
        if not line.is_measured:
            where = spell_roles(line.row.roles) or WHOLE_SITE
            by_place.setdefault(where, []).append(
                spell_on_scale(METRICS[line.line.metric].label, scale)
            )
    return [
        SilentRow(_spell_stamp(one.held), where, tuple(limits))
        for where, limits in by_place.items()
    ]


def _list_ways_out(standing: RunStanding, site: SiteCard) -> list[Link]:
    """Return where what is not known can be added."""
    keys = {one.held.key for one in standing.windows}
    found = []
    if not keys & PROCESSES.keys():
        part, placement = standing.part, site.job_site.site.placement
        if part is None:
            found.append(
                Link(
                    f"/boards/assemblies/{placement.assembly_id}#designators",
                    f"Link {placement.designator} to a part of the materials",
                )
            )
        else:
            found.append(
                Link(
                    f"/materials/parts/{part.id}",
                    f"Add length, width and height to part {part.part_number}, or the "
                    "classification temperature that its maker states",
                )
            )
    if not keys & {one.key for one in list_adjacent_joint_windows()}:
        revision = site.job_site.revision
        found.append(Link(f"/recipes/revisions/{revision.id}", "See which alloy the recipe names"))
    return found


def _spell_stamp(held: HeldWindow) -> str:
    return spell_stamp(held, digits=DIGEST_SHOWN)
