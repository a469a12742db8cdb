"""A record that is not as the log tells, and how it is found and named."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from hashlib import sha256
from typing import Final

from app.core.clock import spell_utc
from app.history.links import RecordKey
from app.history.told import ToldEntry

SHOWN_LENGTH: Final = 80

Fact = tuple[str, object, object]


@dataclass(frozen=True)
class Difference:
    """A record that is not as the log tells: which, how, and the entry that tells otherwise."""

    record: RecordKey
    name: str
    sentence: str
    seq: int | None

    def __str__(self) -> str:
        """Spell it whole, for a terminal."""
        return f"{self.name}: {self.sentence}"


def compare(
    record: RecordKey, name: str, entry: ToldEntry, facts: Iterable[Fact]
) -> Iterator[Difference]:
    """Yield one difference for each fact (what, stored, told) that is stored otherwise."""
    for what, stored, told in facts:
        if stored != told:
            sentence = (
                f"its {what} is {_show(stored)}, and entry {entry.seq} of the log tells "
                f"{_show(told)}"
            )
            yield Difference(record, name, sentence, entry.seq)


def check_text(
    record: RecordKey, name: str, *, body: bytes, digest: str | None, entry: ToldEntry
) -> Iterator[Difference]:
    """Hold a recipe revision's text against its digest and the digest that an entry tells."""
    found = sha256(body).hexdigest()
    told = entry.details.get("digest")
    if found != told:
        sentence = (
            f"its text has the digest {found[:12]}…, and entry {entry.seq} of the log tells "
            f"{_show(told)[:12]}…: the text was changed"
        )
        yield Difference(record, name, sentence, entry.seq)
    elif digest is not None and digest != told:
        yield from compare(record, name, entry, [("digest", digest, told)])


def tell_untold(record: RecordKey, name: str) -> Difference:
    """Return the difference of a record that no entry tells of."""
    return Difference(record, name, "no entry of the log tells of it", None)


def _show(value: object) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, datetime):
        return spell_utc(value)
    text = str(value) if isinstance(value, StrEnum | str | int | float) else repr(value)
    return text if len(text) <= SHOWN_LENGTH else text[:SHOWN_LENGTH] + "…"
