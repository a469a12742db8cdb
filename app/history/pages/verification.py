"""Verifying the whole log: what the last check found, how far a running one is."""

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, Response

from app.accounts.access import make_shell, needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.clock import spell_moment
from app.core.request import HouseSettings
from app.core.settings import Settings
from app.history.log_state import Progress, WholeCheck
from app.history.pages.parts import LogLine, find_place, spell_log
from app.history.rules import NoVerificationRunning, VerificationRunning
from app.history.watch import HouseLog
from app.web.shell import Shell, add_notices, go_to
from app.web.templates import render

router = APIRouter()

Auditor = Annotated[Person, Depends(needs(Action.AUDIT_READ))]
Verifier = Annotated[Person, Depends(needs(Action.AUDIT_VERIFY))]

add_notices(
    {
        "verification-begun": "The verification has begun.",
        "verification-stopped": "The verification was asked to stop.",
        "verification-at-work": "The log is being verified already.",
        "verification-over": "The verification was over before it could be stopped.",
    }
)


@dataclass(frozen=True)
class DifferenceItem:
    """A record that differs from the log."""

    name: str
    sentence: str
    href: str
    entry: str
    entry_href: str


@dataclass(frozen=True)
class CheckItem:
    """What the last whole check found."""

    shape: str
    word: str
    size: str
    root: str
    began: str
    took: str
    wrong: str
    wrong_href: str
    records: str
    differences: tuple[DifferenceItem, ...]
    more_differences: int
    locks: str
    open_locks: tuple[str, ...]


@dataclass(frozen=True)
class RunningItem:
    """How far a running check has come."""

    text: str
    done: int
    total: int
    began: str


@dataclass(frozen=True)
class VerificationPage:
    """All that verification.html can see."""

    shell: Shell
    log: LogLine
    running: RunningItem | None
    check: CheckItem | None
    failure: str
    can_verify: bool


@router.get("/audit/verification")
def show_verification(
    request: Request, settings: HouseSettings, house_log: HouseLog, person: Auditor
) -> HTMLResponse:
    """Show the last whole check, and a running one's progress."""
    standing = house_log.look()
    page = VerificationPage(
        shell=make_shell(request, person, title="Is the log whole?", scripts=("verification.js",)),
        log=replace(spell_log(standing, person=person, zone=settings.zone), href=""),
        running=_spell_progress(standing.running, settings) if standing.running else None,
        check=_spell_check(standing.last_check, settings, person=person)
        if standing.last_check
        else None,
        failure=standing.failure or "",
        can_verify=person.may(Action.AUDIT_VERIFY),
    )
    return render("history/verification.html", page)


@router.post("/audit/verification")
def begin(house_log: HouseLog, _: Verifier) -> Response:
    """Begin a whole check in the background."""
    try:
        house_log.start_check()
    except VerificationRunning:
        return go_to("/audit/verification", said="verification-at-work")
    return go_to("/audit/verification", said="verification-begun")


@router.post("/audit/verification/stop")
def stop(house_log: HouseLog, _: Verifier) -> Response:
    """Ask a running check to stop."""
    try:
        house_log.stop_check()
    except NoVerificationRunning:
        return go_to("/audit/verification", said="verification-over")
    return go_to("/audit/verification", said="verification-stopped")


def _spell_progress(running: Progress, settings: Settings) -> RunningItem:
    return RunningItem(
        text=f"{running.done:,} of {running.total:,} {running.phase.words}",
        done=running.done,
        total=max(running.total, 1),
        began=spell_moment(running.began_at, settings.zone),
    )


def _spell_check(check: WholeCheck, settings: Settings, *, person: Person) -> CheckItem:
    differ = "records differ" if check.difference_count else "locks are open"
    word = "whole" if check.is_whole else differ
    return CheckItem(
        shape="go" if check.is_whole else "stop",
        word="not whole" if check.wrong else word,
        size=f"{check.size:,}",
        root=check.root.hex(),
        began=_spell(check.began_at, settings),
        took=f"{check.duration_s:.1f} s",
        wrong=f"Entry {check.wrong.seq:,}: {check.wrong.reason}." if check.wrong else "",
        wrong_href=f"/audit/{check.wrong.seq}" if check.wrong else "",
        records=f"{check.records:,}",
        differences=tuple(
            DifferenceItem(
                name=one.name,
                sentence=one.sentence,
                href=find_place(one.record.kind.replace(" ", "_"), one.record.id, person=person),
                entry=f"entry {one.seq:,}" if one.seq else "",
                entry_href=f"/audit/{one.seq}" if one.seq else "",
            )
            for one in check.differences
        ),
        more_differences=check.difference_count - len(check.differences),
        locks=f"{check.locks:,}",
        open_locks=tuple(f"{lock}." for lock in check.open_locks),
    )


def _spell(moment: datetime, settings: Settings) -> str:
    return spell_moment(moment, settings.zone)
