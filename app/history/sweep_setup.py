"""Goes through accounts, tokens, parts and benches, piece by piece."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Select, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from app.accounts.tables import Account, ApiToken
from app.audit.tables import AuditEntry
from app.core.db import Sessions
from app.history.differences import Difference
from app.history.links import RecordKey
from app.history.queries import list_entries
from app.history.quick import take_json, take_moment, take_word
from app.history.selects import ENTRY_COLUMNS
from app.history.setup_records import (
    ACCOUNT_ACTIONS,
    BENCH_ACTIONS,
    PART_ACTIONS,
    TOKEN_ACTIONS,
    check_account,
    check_bench,
    check_part,
    check_token,
)
from app.history.snapshot import open_snapshot
from app.history.told import ToldEntry
from app.materials.schemas import PartFields
from app.materials.tables import Part
from app.plant.tables import Bench

PIECE: Final = 50

Told = dict[int, list[ToldEntry]]
Checker = Callable[[Any, Sequence[ToldEntry]], Iterator[Difference]]


@dataclass(frozen=True)
class _Kind:
    """One kind of record: how it is asked for, which entries tell of it, the first one first."""

    word: str
    key: InstrumentedAttribute[int]
    rows: Select[Any]
    actions: tuple[str, ...]
    check: Checker | None


_WORDS: Final = ("package_type", "moisture_level")
_ACCOUNTS: Final = _Kind(
    "account",
    Account.id,
    select(
        Account.id,
        Account.username,
        Account.commitment,
        take_word(Account.roles).label("roles"),
        take_moment(Account.created_at).label("created_at"),
        take_moment(Account.disabled_at).label("disabled_at"),
    ),
    ACCOUNT_ACTIONS,
    check_account,
)
_TOKENS: Final = _Kind(
    "token",
    ApiToken.id,
    select(
        ApiToken.id,
        ApiToken.account_id,
        ApiToken.name,
        take_word(ApiToken.roles).label("roles"),
        take_moment(ApiToken.created_at).label("created_at"),
        take_moment(ApiToken.expires_at).label("expires_at"),
        take_moment(ApiToken.revoked_at).label("revoked_at"),
    ),
    TOKEN_ACTIONS,
    None,
)
_PARTS: Final = _Kind(
    "part",
    Part.id,
    select(
        Part.id,
        *(getattr(Part, field) for field in PartFields.model_fields if field not in _WORDS),
        *(take_word(getattr(Part, field)).label(field) for field in _WORDS),
        take_moment(Part.created_at).label("created_at"),
    ),
    PART_ACTIONS,
    check_part,
)
_BENCHES: Final = _Kind(
    "bench",
    Bench.id,
    select(
        Bench.id,
        Bench.code,
        Bench.title,
        Bench.has_nitrogen,
        take_json(Bench.measuring_chain).label("measuring_chain"),
        take_moment(Bench.created_at).label("created_at"),
        take_moment(Bench.retired_at).label("retired_at"),
    ),
    BENCH_ACTIONS,
    check_bench,
)
SETUP_TABLES: Final = (Account, ApiToken, Part, Bench)


def sweep_setup(sessions: Sessions) -> Iterator[tuple[int, tuple[Difference, ...]]]:
    """Yield how many records were just looked at, and what differs; each piece sees one moment."""
    for kind in (_ACCOUNTS, _TOKENS, _PARTS, _BENCHES):
        after = 0
        while True:
            with open_snapshot(sessions) as session:
                ids = list(
                    session.scalars(
                        select(kind.key).where(kind.key > after).order_by(kind.key).limit(PIECE)
                    )
                )
                found = tuple(_check_piece(session, kind, ids))
            if not ids:
                break
            yield len(ids), found
            after = ids[-1]
        with open_snapshot(sessions) as session:
            gone = tuple(_list_gone(session, kind))
        yield 0, gone


def map_told(
    session: Session, word: str, ids: Sequence[int], *, actions: Sequence[str] = ()
) -> Told:
    """Return record → its entries, oldest first, of these actions or of all."""
    question = (
        select(*ENTRY_COLUMNS)
        .where(AuditEntry.subject_kind == word, AuditEntry.subject_id.in_(ids))
        .order_by(AuditEntry.seq)
    )
    if actions:
        question = question.where(AuditEntry.action.in_(actions))
    told: Told = defaultdict(list)
    for entry in list_entries(session, question):
        told[entry.subject_id].append(entry)
    return told


def _check_piece(session: Session, kind: _Kind, ids: list[int]) -> Iterator[Difference]:
    told = map_told(session, kind.word, ids, actions=kind.actions)
    rows = list(_read_rows(session, kind, ids))
    owners = [row.account_id for row in rows if kind is _TOKENS and not isinstance(row, Difference)]
    of_owner = map_told(session, "account", owners, actions=ACCOUNT_ACTIONS) if owners else {}
    for row in rows:
        if isinstance(row, Difference):
            yield row
        elif kind.check is not None:
            yield from kind.check(row, told.get(row.id, ()))
        else:
            yield from check_token(row, told.get(row.id, ()), of_owner.get(row.account_id, ()))


def _read_rows(session: Session, kind: _Kind, ids: Sequence[int]) -> Iterator[Any]:
    """Read records; a Difference stands for one whose moments or texts are none."""
    try:
        yield from session.execute(kind.rows.where(kind.key.in_(ids)).order_by(kind.key)).all()
    except ValueError:
        if len(ids) > 1:
            for one in ids:
                yield from _read_rows(session, kind, [one])
            return
        name = f"{kind.word} {ids[0]}"
        sentence = "what is stored of it cannot be read: it was changed"
        yield Difference(RecordKey(kind.word, ids[0]), name, sentence, None)


def _list_gone(session: Session, kind: _Kind) -> Iterator[Difference]:
    rows = session.execute(
        select(AuditEntry.seq, AuditEntry.subject_id)
        .where(
            AuditEntry.action == kind.actions[0],
            AuditEntry.subject_kind == kind.word,
            AuditEntry.subject_id.not_in(select(kind.key)),
        )
        .order_by(AuditEntry.seq)
    ).all()
    for row in rows:
        sentence = f"entry {row.seq} of the log tells of it, and its record is gone"
        key = RecordKey(kind.word, row.subject_id)
        yield Difference(key, f"{kind.word} {row.subject_id}", sentence, row.seq)
