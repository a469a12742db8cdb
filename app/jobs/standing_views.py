"""What a run may never exceed on its way out: as JSON, as a table, and in a few words."""

import csv
import io
from typing import Any, cast

from pydantic import BaseModel, ConfigDict, Field

from app.core.cells import guard_cell
from app.core.numbers import spell_number
from app.jobs.figure_views import LineFields
from app.jobs.figures import describe_line
from app.jobs.scales import Scale
from app.jobs.standing_verdicts import HeldLine, HeldVerdict, RunStanding
from app.jobs.verdict_words import find_expanded, spell_verdict
from app.recipes.body.describe import spell_roles
from app.recipes.body.window import METRICS
from app.recipes.verdict import VerdictState
from app.traces.rules import ChannelRole
from app.windows.describe import WHOLE_SITE
from app.windows.holding import HeldWindow

_COLUMNS = (
    "Window,Version,Digest,Limit,Roles,Channel,Value,Uncertainty (k = 2),Lower,Upper,Unit,"
    "Window use (%),Verdict,Reason,Status,Caution,Source,Note"
)


class HeldLineView(BaseModel):
    """A limit held against one channel, with where it is from and how sure that is.

    Not `is_measured`: no channel of its roles, so that it cannot be said.
    """

    model_config = ConfigDict(extra="forbid")

    is_measured: bool
    roles: list[ChannelRole]
    result: LineFields
    document: str
    clause: str
    seen_in: str
    status: str
    caution: str
    note: str


class HeldView(BaseModel):
    """What a window says of a run, the deciding line first; `why` says why it is held."""

    model_config = ConfigDict(extra="forbid")

    key: str
    version: int
    name: str
    is_built_in: bool
    digest: str
    why: str
    cautions: list[str]
    state: VerdictState
    is_measured: bool
    lines: list[HeldLineView]


class RunStandingView(BaseModel):
    """A run against all that stands for its part; `state` is the worst of what was measured."""

    model_config = ConfigDict(extra="forbid")

    run_id: int
    state: VerdictState
    is_measured: bool
    said: str = Field(description="What decides, in a sentence.")
    rule: str
    chain: str
    windows: list[HeldView]
    asked: HeldView | None = Field(description="The window that was asked for, kept nowhere.")
    not_known: list[str]


def view_standing(run_id: int, standing: RunStanding) -> RunStandingView:
    """Return it whole."""
    return RunStandingView(
        run_id=run_id,
        state=standing.state,
        is_measured=standing.is_measured,
        said=spell_deciding(standing),
        rule=str(standing.rule),
        chain=standing.chain,
        windows=[_view_held(one) for one in standing.windows],
        asked=None if standing.asked is None else _view_held(standing.asked),
        not_known=list(standing.not_known),
    )


def spell_stamp(held: HeldWindow, *, digits: int = 64) -> str:
    """Name a window with its version and so many digits of its digest."""
    return f"{held.key} version {held.version}, digest {held.digest[:digits]}"


def spell_deciding(standing: RunStanding, scale: Scale = Scale.CELSIUS) -> str:
    """Say what decides in a sentence; that nothing was measured where nothing was."""
    deciding = standing.deciding
    if deciding is None:
        return "Nothing of what stands could be held against this trace."
    return spell_verdict({"deciding": describe_line(deciding[1].line)}, scale)


def list_about(standing: RunStanding, scale: Scale, *, digits: int) -> list[tuple[str, str]]:
    """List what a chart's exports tell of it: state and sentence, windows, cautions, gaps."""
    if not standing.windows:
        return []
    held = (*standing.windows, *filter(None, (standing.asked,)))
    state = str(standing.state) if standing.is_measured else "nobody measured it"
    told = [("Never exceed", f"{state}. {spell_deciding(standing, scale)}")]
    if standing.asked is not None:
        told.append(("Also held against", f"{standing.asked.held.key}: {standing.asked.state}"))
    told.append(("Held by", "; ".join(spell_stamp(one.held, digits=digits) for one in held)))
    cautions = dict.fromkeys(
        line.row.status.caution for one in held for line in one.lines if line.row.status.caution
    )
    if cautions:
        told.append(("Cautions of these", "; ".join(cautions)))
    if standing.not_known:
        told.append(("Not known", " ".join(standing.not_known)))
    return told


def spell_standing_csv(standing: RunStanding) -> str:
    """Spell every line as a table: the deciding ones of each window first."""
    held = (*standing.windows, *filter(None, (standing.asked,)))
    rows: list[list[str]] = [
        ["Never exceed", str(standing.state) if standing.is_measured else "nobody measured it"],
        ["Deciding", spell_deciding(standing)],
        ["Decided by", str(standing.rule)],
        ["Measuring chain", standing.chain],
        *(["Not known", one] for one in standing.not_known),
        [],
        _COLUMNS.split(","),
    ]
    rows += [_spell_row(one.held, line) for one in held for line in one.lines]
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerows(
        [[guard_cell(cell) for cell in row] for row in rows]
    )
    # The mark tells spreadsheet programs that the text is UTF-8.
    return "\ufeff" + out.getvalue()


def _spell_row(held: HeldWindow, one: HeldLine) -> list[str]:
    line, row = one.line, one.row
    expanded = find_expanded(describe_line(line))
    return [
        held.key,
        str(held.version),
        held.digest,
        METRICS[line.metric].label,
        spell_roles(row.roles) or WHOLE_SITE,
        line.channel,
        "" if line.value is None else f"{line.value:.6g}",
        "" if expanded is None else f"{expanded:.4g}",
        spell_number(line.lower),
        spell_number(line.upper),
        line.unit,
        "" if line.window_use_pct is None else f"{line.window_use_pct:.1f}",
        str(line.state),
        line.reason,
        row.status.words,
        row.status.caution,
        row.source,
        row.note,
    ]


def _view_held(one: HeldVerdict) -> HeldView:
    held = one.held
    return HeldView(
        key=held.key,
        version=held.version,
        name=held.name,
        is_built_in=held.is_built_in,
        digest=held.digest,
        why=held.why,
        cautions=list(held.cautions),
        state=one.state,
        is_measured=bool(one.measured),
        lines=[_view_line(line) for line in one.lines],
    )


def _view_line(one: HeldLine) -> HeldLineView:
    row = one.row
    described: dict[str, Any] = describe_line(one.line)
    return HeldLineView(
        is_measured=one.is_measured,
        roles=list(row.roles),
        result=cast("LineFields", described),
        document=row.document,
        clause=row.clause,
        seen_in=row.seen_in,
        status=row.status.words,
        caution=row.status.caution,
        note=row.note,
    )
