"""Two people do the same thing to a window at once: the second is told what the rule says."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.approval.queries import get_digest
from app.approval.rules import RevisionState
from app.core.db import Sessions
from app.windows import service
from app.windows.queries import get_version, get_window
from app.windows.tables import PlantWindow, WindowVersion
from tests.conftest import Look
from tests.jobs.test_at_the_same_moment import run_second
from tests.windows.conftest import Make, bring_to, narrower, new_window, text_fields


@dataclass
class Scene:
    """Who races, and the number of the version that is raced for."""

    ines: Person
    edda: Person
    now: datetime
    version_id: int = 0


Act = Callable[[Scene, Session], object]


def propose(scene: Scene, session: Session) -> None:
    version = get_version(session, scene.version_id)
    service.propose(session, version, person=scene.ines, now=scene.now)


def publish(scene: Scene, session: Session) -> None:
    version = get_version(session, scene.version_id)
    digest = get_digest(version)
    service.publish(session, version, seen_digest=digest, person=scene.edda, now=scene.now)


def withdraw(scene: Scene, session: Session) -> None:
    version = get_version(session, scene.version_id)
    service.withdraw(session, version, person=scene.ines, now=scene.now)


def send_back(scene: Scene, session: Session) -> None:
    version = get_version(session, scene.version_id)
    service.send_back(session, version, reason="Too wide", person=scene.edda, now=scene.now)


def discard(scene: Scene, session: Session) -> None:
    version = get_version(session, scene.version_id)
    service.discard_draft(session, version, person=scene.ines, now=scene.now)


def save(scene: Scene, session: Session) -> None:
    version = get_version(session, scene.version_id)
    service.save_draft(
        session, version, text_fields(narrower()),
        seen_version="1", person=scene.ines, now=scene.now,
    )  # fmt: skip


def retire(scene: Scene, session: Session) -> None:
    version = get_version(session, scene.version_id)
    service.retire(session, version, reason="Too wide", person=scene.edda, now=scene.now)


def copy(scene: Scene, session: Session) -> None:
    version = get_version(session, scene.version_id)
    window = get_window(session, version.window_id)
    service.copy_version(
        session, window, version, reason="Narrower", person=scene.ines, now=scene.now
    )


def create(scene: Scene, session: Session) -> None:
    service.create_window(session, new_window("OWN-NEW"), person=scene.ines, now=scene.now)


@dataclass(frozen=True)
class Race:
    """Where the version stands, what one does first, the other second, and what they are told."""

    state: RevisionState
    first: Act
    second: Act
    told: str


_DRAFT, _PROPOSED, _PUBLISHED = (
    RevisionState.DRAFT,
    RevisionState.PROPOSED,
    RevisionState.PUBLISHED,
)
RACES: Final = {
    "two propose a version": Race(_DRAFT, propose, propose, "windows.wrong_state"),
    "two publish a version": Race(_PROPOSED, publish, publish, "windows.wrong_state"),
    "one withdraws, one publishes": Race(_PROPOSED, withdraw, publish, "windows.wrong_state"),
    "one sends back, one withdraws": Race(_PROPOSED, send_back, withdraw, "windows.wrong_state"),
    "two discard a draft": Race(_DRAFT, discard, discard, "windows.version_unknown"),
    "one proposes, one saves": Race(_DRAFT, propose, save, "windows.version_frozen"),
    "two save a draft": Race(_DRAFT, save, save, "core.edited_meanwhile"),
    "two retire a version": Race(_PUBLISHED, retire, retire, "windows.wrong_state"),
    "two start a new version": Race(_PUBLISHED, copy, copy, "windows.version_open_already"),
    "two create a window": Race(_DRAFT, create, create, "windows.code_taken"),
}


@pytest.mark.parametrize("named", RACES)
def test_who_comes_second_is_told_by_the_rule_itself(
    sessions: Sessions, make: Make, ines: Person, edda: Person, now: datetime, named: str
) -> None:
    race = RACES[named]
    scene = Scene(ines, edda, now, make(race.state))
    assert run_second(sessions, scene, race.first, race.second) == race.told


def test_two_versions_are_never_published_at_once(
    sessions: Sessions, make: Make, ines: Person, edda: Person, now: datetime, look: Look
) -> None:
    first = make(RevisionState.PUBLISHED)
    with sessions.write.begin() as session:
        window = session.scalars(select(PlantWindow)).one()
        made = service.copy_version(
            session, window, get_version(session, first), reason="New", person=ines, now=now
        )
        bring_to(session, made.id, RevisionState.PROPOSED, ines, edda, now)
        scene = Scene(ines, edda, now, made.id)
    assert run_second(sessions, scene, publish, publish) == "windows.wrong_state"
    states = {one.number: one.state for one in look(select(WindowVersion))}
    assert states == {1: RevisionState.RETIRED, 2: RevisionState.PUBLISHED}
