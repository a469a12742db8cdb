"""Windows at hand for the tests of writing and using them."""

from collections.abc import Callable
from datetime import datetime
from typing import Any, Final

import pytest
from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.approval.queries import get_digest
from app.approval.rules import RevisionState
from app.core.db import Sessions
from app.windows import service
from app.windows.body import WindowText
from app.windows.queries import get_version
from app.windows.schemas import NewWindow, TextFields

JOINTS: Final = ["joint_centre", "joint_corner"]
RAW: Final[dict[str, Any]] = {
    "format": 1,
    "is_never_exceed": False,
    "alloy": "Sn96.5Ag3.0Cu0.5 (SAC305)",
    "solidus_c": 217,
    "liquidus_c": 220,
    "rows": [
        {
            "metric": "peak_c",
            "roles": JOINTS,
            "lower": 232,
            "upper": 243,
            "status": "plants_own",
            "document": "Work instruction 12",
        },
        {
            "metric": "time_above_liquidus_s",
            "roles": JOINTS,
            "lower": 55,
            "upper": 90,
            "status": "from_memory",
            "document": "common practice",
            "others": [{"lower": 30, "upper": 90, "where": "a maker's sheet"}],
        },
    ],
}
TEXT: Final = WindowText.model_validate(RAW)

Make = Callable[..., int]


def spell_raw(text: WindowText = TEXT) -> dict[str, Any]:
    told: dict[str, Any] = text.model_dump(mode="json")
    return told


def narrower(text: WindowText = TEXT, *, upper_c: float = 240) -> WindowText:
    """Return a text whose joints may not get as hot."""
    changed = spell_raw(text)
    changed["rows"][0]["upper"] = upper_c
    return WindowText.model_validate(changed)


def new_window(code: str = "OWN-SAC", text: WindowText = TEXT) -> NewWindow:
    return NewWindow(code=code, title="Joints, our boards", reason="Our trials.", text=text)


def text_fields(text: WindowText, *, title: str = "Joints, our boards") -> TextFields:
    return TextFields(title=title, reason="Our trials.", text=text)


@pytest.fixture
def make(sessions: Sessions, ines: Person, edda: Person, now: datetime) -> Make:
    """Return a function that commits Ines's window in a state and returns the version's id."""

    def make_window(
        state: RevisionState = RevisionState.DRAFT,
        *,
        code: str = "OWN-SAC",
        text: WindowText = TEXT,
    ) -> int:
        with sessions.write.begin() as db:
            version = service.create_window(db, new_window(code, text), person=ines, now=now)
            bring_to(db, version.id, state, ines, edda, now)
            return version.id

    return make_window


def bring_to(
    db: Session,
    version_id: int,
    state: RevisionState,
    writer: Person,
    approver: Person,
    now: datetime,
) -> None:
    """Move a draft on to a state, proposed by its writer and approved by somebody else."""
    version = get_version(db, version_id)
    if state is not RevisionState.DRAFT:
        service.propose(db, version, person=writer, now=now)
    if state in {RevisionState.PUBLISHED, RevisionState.RETIRED}:
        service.publish(db, version, seen_digest=get_digest(version), person=approver, now=now)
    if state is RevisionState.RETIRED:
        service.retire(db, version, reason="Too wide.", person=approver, now=now)
