"""What the loading of the demo is made of: acts in time order, and what earlier acts left."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import TypeAlias

from sqlalchemy.orm import Session

from app.accounts.rules import Person
from app.core.settings import Settings

Do: TypeAlias = Callable[[Session, datetime], None]


@dataclass(frozen=True)
class Act:
    """One thing that somebody does at a moment of the story, in a transaction of its own."""

    at: datetime
    do: Do


@dataclass(frozen=True)
class DemoAccount:
    """An account with the password that was made for it at this loading."""

    username: str
    name: str
    roles: tuple[str, ...]
    password: str


@dataclass(frozen=True)
class Stage:
    """What the acts share: the settings, and the numbers of the rows that earlier acts wrote."""

    settings: Settings
    people: dict[str, Person] = field(default_factory=dict)
    accounts: list[DemoAccount] = field(default_factory=list)
    bench_ids: dict[str, int] = field(default_factory=dict)
    assembly_ids: dict[str, int] = field(default_factory=dict)
    board_ids: dict[str, int] = field(default_factory=dict)
    revision_ids: dict[tuple[str, int], int] = field(default_factory=dict)
    # Benches and the loggers whose files they know how to read.
    taught: set[tuple[str, str]] = field(default_factory=set)


def sort_acts(acts: Iterable[Act]) -> list[Act]:
    """Sort acts by their moments; acts of one moment keep their order."""
    return sorted(acts, key=lambda act: act.at)


def spread(moments: Iterator[datetime], doings: Iterable[Do]) -> Iterator[Act]:
    """Give one doing after the other the next moment."""
    for do in doings:
        yield Act(next(moments), do)
