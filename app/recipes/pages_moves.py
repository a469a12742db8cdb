"""What can be done with a revision from its page: propose, decide, retire, discard."""

from collections.abc import Callable
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from app.accounts.access import needs
from app.accounts.permissions import Action
from app.accounts.rules import Person
from app.core.refusals import Unreadable
from app.core.request import HouseSettings, Now, PathId, RequestSession
from app.recipes import service
from app.recipes.pages_revision import show_whole
from app.recipes.queries import get_revision
from app.recipes.schemas import ApprovalFields, ReasonFields
from app.web.forms import PostedForm
from app.web.shell import add_notices, go_to

router = APIRouter()

Writer = Annotated[Person, Depends(needs(Action.RECIPES_WRITE))]
Approver = Annotated[Person, Depends(needs(Action.RECIPES_APPROVE))]
Retirer = Annotated[Person, Depends(needs(Action.RECIPES_RETIRE))]

add_notices(
    {
        "revision-proposed": "The revision is proposed; its text is frozen until it is decided.",
        "revision-withdrawn": "The revision is a draft again.",
        "revision-sent-back": "The revision was sent back to its writers.",
        "revision-published": "The revision is published: new jobs can take it.",
        "revision-retired": "The revision is retired: no new job can take it.",
        "draft-discarded": "The draft was discarded.",
    }
)


@router.post("/recipes/revisions/{revision_id}/proposal")
def propose(
    revision_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Writer,
) -> Response:
    """Propose a draft, or show it again with what is still to be chosen."""
    revision = get_revision(session, revision_id)
    try:
        service.propose(session, revision, person=person, now=now)
    except Unreadable as refusal:
        return show_whole(
            request, session, settings.zone, person, revision, refusal=refusal, fault_of="proposal"
        )
    return go_to(f"/recipes/revisions/{revision_id}", said="revision-proposed")


@router.post("/recipes/revisions/{revision_id}/withdrawal")
def withdraw(revision_id: PathId, session: RequestSession, now: Now, person: Writer) -> Response:
    """Make a proposed revision a draft again."""
    service.withdraw(session, get_revision(session, revision_id), person=person, now=now)
    return go_to(f"/recipes/revisions/{revision_id}", said="revision-withdrawn")


@router.post("/recipes/revisions/{revision_id}/discard")
def discard(revision_id: PathId, session: RequestSession, now: Now, person: Writer) -> Response:
    """Discard a draft."""
    revision = get_revision(session, revision_id)
    service.discard_draft(session, revision, person=person, now=now)
    return go_to("/recipes", said="draft-discarded")


@router.post("/recipes/revisions/{revision_id}/publication")
def publish(
    revision_id: PathId, session: RequestSession, now: Now, person: Approver, form: PostedForm
) -> Response:
    """Approve the text whose digest was on the page, which publishes it."""
    revision = get_revision(session, revision_id)
    seen = form.parse(ApprovalFields)
    service.publish(session, revision, seen_digest=seen.digest, person=person, now=now)
    return go_to(f"/recipes/revisions/{revision_id}", said="revision-published")


@router.post("/recipes/revisions/{revision_id}/return")
def send_back(
    revision_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Approver,
    form: PostedForm,
) -> Response:
    """Send a proposed revision back, or show it again when no reason was given."""
    revision = get_revision(session, revision_id)

    def act(reason: str) -> None:
        service.send_back(session, revision, reason=reason, person=person, now=now)

    refusal = _try_with_reason(form, act)
    if refusal is not None:
        return show_whole(
            request, session, settings.zone, person, revision, refusal=refusal, fault_of="return"
        )
    return go_to(f"/recipes/revisions/{revision_id}", said="revision-sent-back")


@router.post("/recipes/revisions/{revision_id}/retirement")
def retire(
    revision_id: PathId,
    request: Request,
    session: RequestSession,
    settings: HouseSettings,
    now: Now,
    person: Retirer,
    form: PostedForm,
) -> Response:
    """Retire a published revision, or show it again when no reason was given."""
    revision = get_revision(session, revision_id)

    def act(reason: str) -> None:
        service.retire(session, revision, reason=reason, person=person, now=now)

    refusal = _try_with_reason(form, act)
    if refusal is not None:
        return show_whole(
            request,
            session,
            settings.zone,
            person,
            revision,
            refusal=refusal,
            fault_of="retirement",
        )
    return go_to(f"/recipes/revisions/{revision_id}", said="revision-retired")


def _try_with_reason(form: PostedForm, act: Callable[[str], object]) -> Unreadable | None:
    try:
        reason = form.parse(ReasonFields).reason
    except Unreadable as refusal:
        return refusal
    act(reason)
    return None
