"""Checks every record of the house against the log, piece by piece."""

from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, Final

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.accounts.tables import Account
from app.approval.rules import RevisionState
from app.audit.rules import compute_commitment
from app.audit.tables import NameCard
from app.boards.tables import Board
from app.core.db import Sessions
from app.files.queries import FileDamaged, unpack_content
from app.files.tables import StoredFile
from app.history.differences import Difference, check_text, compare, tell_untold
from app.history.links import RecordKey
from app.history.snapshot import open_snapshot
from app.history.story import RecordsUnreadable, load_story
from app.history.sweep_setup import SETUP_TABLES, map_told, sweep_setup
from app.history.told import ToldEntry
from app.recipes.tables import Recipe, RecipeRevision
from app.traces.tables import Trace
from app.windows.tables import PlantWindow, WindowVersion

PIECE: Final = 50

# What an entry about a recipe's revision or a window's version leaves it in; a draft otherwise.
_STATE_AFTER: Final = {
    "propose": RevisionState.PROPOSED,
    "publish": RevisionState.PUBLISHED,
    "put": RevisionState.PUBLISHED,
    "retire": RevisionState.RETIRED,
    "supersede": RevisionState.RETIRED,
}


@dataclass(frozen=True)
class Swept:
    """How many records of one kind were just looked at, and what was found wrong."""

    count: int
    differences: tuple[Difference, ...]


def count_records(session: Session) -> int:
    """Return how many things a sweep looks at: boards, revisions, traces, files and the setup."""
    return sum(
        session.scalar(select(func.count()).select_from(table)) or 0
        for table in (Board, RecipeRevision, WindowVersion, Trace, StoredFile, *SETUP_TABLES)
    )


def sweep(sessions: Sessions) -> Iterator[Swept]:
    """Check everything, in pieces that each see one moment; the caller may stop between them.

    Each board with its jobs, lines, holds and runs; each recipe revision's text; each trace's
    samples; each kept file; the names beside the log; accounts, tokens, parts and benches. Memory
    does not grow with the house.
    """
    for look in (
        _sweep_boards,
        _sweep_revisions,
        _sweep_windows,
        _sweep_traces,
        _sweep_files,
        _sweep_names,
    ):
        yield from look(sessions)
    for count, found in sweep_setup(sessions):
        yield Swept(count, found)


def _sweep_boards(sessions: Sessions) -> Iterator[Swept]:
    for ids in _iterate_pieces(sessions, Board.id):
        for board_id in ids:
            with open_snapshot(sessions) as session:
                yield Swept(1, check_one_board(session, board_id))


def check_one_board(session: Session, board_id: int) -> tuple[Difference, ...]:
    """Return what differs about one board, its runs' figures too."""
    try:
        story = load_story(session, board_id, with_all_figures=True)
    except RecordsUnreadable as refusal:
        key = RecordKey("board", board_id)
        return (Difference(key, f"board number {board_id}", refusal.sentence, None),)
    name = f"board {story.board.serial}"
    chain: tuple[Difference, ...] = ()
    if story.chain_fault is not None:
        fault = story.chain_fault
        sentence = f"its entry {fault.seq} of the log is wrong: {fault.reason}"
        chain = (Difference(RecordKey("board", board_id), name, sentence, fault.seq),)
    # Recipes have their own place in the sweep.
    own = (d for d in story.differences if d.record.kind != "recipe revision")
    return (*chain, *own)


def _sweep_revisions(sessions: Sessions) -> Iterator[Swept]:
    for ids in _iterate_pieces(sessions, RecipeRevision.id):
        with open_snapshot(sessions) as session:
            told = map_told(session, "recipe_revision", ids)
            rows = session.execute(
                select(
                    RecipeRevision.id,
                    RecipeRevision.number,
                    RecipeRevision.state,
                    RecipeRevision.title,
                    RecipeRevision.reason,
                    RecipeRevision.body,
                    RecipeRevision.digest,
                    RecipeRevision.author_id,
                    RecipeRevision.approved_by_id,
                    Recipe.code,
                )
                .join(Recipe, Recipe.id == RecipeRevision.recipe_id)
                .where(RecipeRevision.id.in_(ids))
                .order_by(RecipeRevision.id)
            ).all()
            found = tuple(d for row in rows for d in check_revision(row, told[row.id]))
        yield Swept(len(ids), found)


def _sweep_windows(sessions: Sessions) -> Iterator[Swept]:
    for ids in _iterate_pieces(sessions, WindowVersion.id):
        with open_snapshot(sessions) as session:
            told = map_told(session, "window_version", ids)
            rows = session.execute(
                select(
                    WindowVersion.id,
                    WindowVersion.number,
                    WindowVersion.state,
                    WindowVersion.title,
                    WindowVersion.reason,
                    WindowVersion.body,
                    WindowVersion.digest,
                    WindowVersion.author_id,
                    WindowVersion.approved_by_id,
                    PlantWindow.code,
                )
                .join(PlantWindow, PlantWindow.id == WindowVersion.window_id)
                .where(WindowVersion.id.in_(ids))
                .order_by(WindowVersion.id)
            ).all()
            found = tuple(d for row in rows for d in check_version(row, told[row.id]))
        yield Swept(len(ids), found)


def check_revision(row: Any, told: list[ToldEntry]) -> Iterator[Difference]:
    """Hold one recipe revision against the entries about it, oldest first."""
    key = RecordKey("recipe revision", row.id)
    yield from _check_text_and_state(key, f"recipe {row.code} revision {row.number}", row, told)


def check_version(row: Any, told: list[ToldEntry]) -> Iterator[Difference]:
    """Hold one window version against the entries about it, oldest first."""
    key = RecordKey("window version", row.id)
    yield from _check_text_and_state(key, f"window {row.code} version {row.number}", row, told)


def _check_text_and_state(
    key: RecordKey, name: str, row: Any, told: list[ToldEntry]
) -> Iterator[Difference]:
    if not told:
        yield tell_untold(key, name)
        return
    newest = told[-1]
    yield from check_text(key, name, body=row.body, digest=row.digest, entry=newest)
    state = _STATE_AFTER.get(newest.action.partition(".")[2], RevisionState.DRAFT)
    published = next((e for e in reversed(told) if e.action.endswith(".publish")), None)
    texts = [entry for entry in told if "title" in entry.details]
    yield from compare(key, name, newest, [("state", row.state, state)])
    if texts:
        said = texts[-1].details
        facts = [
            ("title", row.title, said.get("title")),
            ("reason", row.reason, said.get("reason")),
        ]
        yield from compare(key, name, texts[-1], facts)
    first = told[0]
    yield from compare(key, name, first, [("author", row.author_id, first.actor_id)])
    approver = published.actor_id if published else None
    yield from compare(key, name, published or newest, [("approver", row.approved_by_id, approver)])


def _sweep_traces(sessions: Sessions) -> Iterator[Swept]:
    for ids in _iterate_pieces(sessions, Trace.id):
        with open_snapshot(sessions) as session:
            rows = session.execute(
                select(Trace.id, Trace.samples, Trace.samples_sha256).where(Trace.id.in_(ids))
            ).all()
            found = tuple(
                Difference(
                    RecordKey("trace", row.id),
                    f"trace {row.id}",
                    f"its samples do not have the digest {row.samples_sha256[:12]}… that was "
                    "recorded: they were changed",
                    None,
                )
                for row in rows
                if sha256(row.samples).hexdigest() != row.samples_sha256
            )
        yield Swept(len(ids), found)


def _sweep_files(sessions: Sessions) -> Iterator[Swept]:
    after = ""
    while True:
        with open_snapshot(sessions) as session:
            digests = session.scalars(
                select(StoredFile.sha256)
                .where(StoredFile.sha256 > after)
                .order_by(StoredFile.sha256)
                .limit(PIECE)
            ).all()
            found = [d for digest in digests for d in _check_file(session, digest)]
        if not digests:
            return
        after = digests[-1]
        yield Swept(len(digests), tuple(found))


def _check_file(session: Session, digest: str) -> Iterator[Difference]:
    row = session.get_one(StoredFile, digest)
    try:
        unpack_content(row)
    except FileDamaged as refusal:
        yield Difference(RecordKey("file", 0), f"file {digest[:12]}…", refusal.sentence, None)
    session.expunge(row)


def _sweep_names(sessions: Sessions) -> Iterator[Swept]:
    """Check that every name is the one its commitment was made of, and that accounts agree."""
    with open_snapshot(sessions) as session:
        cards = session.scalars(select(NameCard).order_by(NameCard.at)).all()
        accounts = session.execute(
            select(Account.id, Account.username, Account.name, Account.commitment)
        ).all()
    by_commitment = {card.commitment: card for card in cards}
    found = [
        Difference(
            RecordKey("name", card.account_id),
            f"the name {card.name}",
            "it is not the one that the log commits to: it was changed",
            None,
        )
        for card in cards
        if compute_commitment(salt=card.salt, username=card.username, name=card.name)
        != card.commitment
    ]
    for row in accounts:
        card = by_commitment.get(row.commitment)
        if card is None or (card.name, card.username) != (row.name, row.username):
            key = RecordKey("account", row.id)
            sentence = "its name is not the one that the log commits to: it was changed"
            found.append(Difference(key, f"account {row.username}", sentence, None))
    # The accounts themselves are counted where their roles are looked at.
    yield Swept(0, tuple(found))


def _iterate_pieces(sessions: Sessions, key: Any) -> Iterator[list[int]]:
    after = 0
    while True:
        with open_snapshot(sessions) as session:
            ids = list(
                session.scalars(select(key).where(key > after).order_by(key).limit(PIECE)).all()
            )
        if not ids:
            return
        yield ids
        after = ids[-1]
