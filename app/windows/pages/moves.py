"""What can be done with a version from its page: propose, decide, retire, discard."""

from collections.abc import Callable
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.refusals import Unreadable
from app.core.request import HouseSettings, Now, PathId, RequestSession
from app.recipes.schemas import ApprovalFields, ReasonFields
from app.web.forms import PostedForm
from app.web.shell import add_notices, go_to
from app.windows import service
from app.windows.pages.version import show_whole
from app.windows.queries import get_version

router = APIRouter()

Writer = Annotated[Person, Depends(needs(Action.RECIPES_WRITE))]
Approver = Annotated[Person, Depends(needs(Action.RECIPES_APPROVE))]
Retirer = Annotated[Person, Depends(needs(Action.RECIPES_RETIRE))]

add_notices(
    {
        "window-proposed": "The version is proposed; its text is frozen until it is decided.",
        "window-withdrawn": "The version is a draft again.",
        "window-sent-back": "The version was sent back to its writers.",
        "window-published": "The version is published: it can be put into recipes.",
        "window-retired": "The version is retired: it goes into no recipe any more.",
        "window-discarded": "The draft was discarded.",
    }
)


@router.post("/windows/versions/{version_id}/proposal")
def propose(version_id: PathId, session: RequestSession, now: Now, person: Writer) -> Response:
    """Propose a draft."""
    service.propose(session, get_version(session, version_id), person=person, now=now)
    return go_to(f"/windows/versions/{version_id}", said="window-proposed")


@router.post("/windows/versions/{version_id}/withdrawal")
def withdraw(version_id: PathId, session: RequestSession, now: Now, person: Writer) -> Response:
    """Make a proposed version a draft again."""
    service.withdraw(session, get_version(session, version_id), person=person, now=now)
    return go_to(f"/windows/versions/{version_id}", said="window-withdrawn")


@router.post("/windows/versions/{version_id}/discard")
def discard(version_id: PathId, session: RequestSession, now: Now, person: Writer) -> Response:
    """Discard a draft."""
    service.discard_draft(session, get_version(session, version_id), person=person, now=now)
    return go_to("/windows", said="window-discarded")


@router.post("/windows/versions/{version_id}/publication")
def publish(
    version_id: PathId, session: RequestSession, now: Now, person: Approver, form: PostedForm
) -> Response:
    """Approve the text whose digest was on the page, which publishes it."""
    version = get_version(session, version_id)
    seen = form.parse(ApprovalFields)
    service.publish(session, version, seen_digest=seen.digest, person=person, now=now)
    return go_to(f"/windows/versions/{version_id}", said="window-published")


@router.post("/windows/versions/{version_id}/return")
def send_back(
    version_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Approver,
    form: PostedForm,
) -> Response:
    """Send a proposed version back, or show it again when no reason was given."""
    version = get_version(session, version_id)

    def act(reason: str) -> None:
        service.send_back(session, version, reason=reason, person=person, now=now)

    refusal = _try_with_reason(form, act)
    if refusal is not None:
        return show_whole(
            request, session, settings.zone, person, version, refusal=refusal, fault_of="return"
        )
    return go_to(f"/windows/versions/{version_id}", said="window-sent-back")


@router.post("/windows/versions/{version_id}/retirement")
def retire(
    version_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Retirer,
    form: PostedForm,
) -> Response:
    """Retire a published version, or show it again when no reason was given."""
    version = get_version(session, version_id)

    def act(reason: str) -> None:
        service.retire(session, version, reason=reason, person=person, now=now)

    refusal = _try_with_reason(form, act)
    if refusal is not None:
        return show_whole(
            request, session, settings.zone, person, version, refusal=refusal, fault_of="retirement"
        )
    return go_to(f"/windows/versions/{version_id}", said="window-retired")


def _try_with_reason(form: PostedForm, act: Callable[[str], object]) -> Unreadable | None:
    try:
        reason = form.parse(ReasonFields).reason
    except Unreadable as refusal:
        return refusal
    act(reason)
    return None
