"""Keeps a citation from standing beside a number that its source does not print.

A limit that was copied, from a built-in window or from an earlier version, and whose number was
changed since is the plant's own: it says what it was and where, unless another source is stated
for the new number. The same holds for whoever writes a built-in window's document beside a number
that the document does not print, by form, by JSON or by file.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Final

from app.recipes.body.window import Metric
from app.windows.body import EarlierLimit, LineStatus, WindowLine, WindowText
from app.windows.built_in import list_texts

# Says of nothing where it is printed: what is common cannot be held against it.
_NO_DOCUMENT: Final = frozenset({"commonpractice"})
_Numbers = tuple[float | None, float | None]


@dataclass(frozen=True)
class Copied:
    """What a draft was copied from: `words` names the window and its version."""

    words: str
    text: WindowText


def settle_citations(
    text: WindowText, *, copied: Copied | None = None, stored: WindowText | None = None
) -> WindowText:
    """Return the text with every limit of a changed number as the plant's own.

    `copied` is what the draft began as, `stored` the draft as it stands; a text without either is
    held against the built-in windows alone, and keeps what it says it was.
    """
    rows = tuple(_settle(row, copied, stored) for row in text.rows)
    return text if rows == text.rows else text.model_copy(update={"rows": rows})


def list_settled(before: WindowText, after: WindowText) -> tuple[int, ...]:
    """List the places of the rows that settle_citations made the plant's own."""
    pairs = zip(before.rows, after.rows, strict=True)
    return tuple(
        place
        for place, (old, new) in enumerate(pairs)
        if (old.status, old.document) != (new.status, new.document)
    )


def _settle(row: WindowLine, copied: Copied | None, stored: WindowText | None) -> WindowLine:
    base = None if copied is None else _find(copied.text.rows, row)
    cited = None if base is None or copied is None else _cite(base, copied.words)
    if cited is None and stored is not None:
        found = _find(stored.rows, row)
        kept = None if found is None else found.was
        row = row.model_copy(update={"was": kept if row.status is LineStatus.OWN else None})
    if cited is not None:
        row = _settle_copied(row, cited)
    return _settle_printed(row)


def _settle_copied(row: WindowLine, cited: EarlierLimit) -> WindowLine:
    """Hold a row against the limit that it was copied from."""
    if _get_numbers(row) == (cited.lower, cited.upper):
        is_put_back = row.was is not None and not row.document and row.status is LineStatus.OWN
        return _restore(row, cited) if is_put_back else row.model_copy(update={"was": None})
    is_stated_anew = bool(row.document) and not _is_same_place(row, cited)
    if not is_stated_anew:
        return _make_own(row, cited)
    is_own = row.status is LineStatus.OWN
    return row.model_copy(update={"was": cited if is_own else None})


def _settle_printed(row: WindowLine) -> WindowLine:
    """Hold a row against what the built-in windows say that its document prints."""
    printed = _map_printed().get((row.metric, _fold(row.document)), {})
    if not printed or _get_numbers(row) in printed:
        return row
    return _make_own(row, next(iter(printed.values())))


def _make_own(row: WindowLine, was: EarlierLimit) -> WindowLine:
    return row.model_copy(
        update={
            "status": LineStatus.OWN,
            "document": "",
            "clause": "",
            "seen_in": "",
            "was": was,
        }
    )


def _restore(row: WindowLine, cited: EarlierLimit) -> WindowLine:
    return row.model_copy(
        update={
            "status": cited.status,
            "document": cited.document,
            "clause": cited.clause,
            "seen_in": cited.seen_in,
            "was": None,
        }
    )


def _cite(base: WindowLine, words: str) -> EarlierLimit | None:
    """Return what a copied limit may be held against; None where it claims no source."""
    if base.status is LineStatus.OWN:
        return base.was
    return EarlierLimit(
        lower=base.lower,
        upper=base.upper,
        document=base.document,
        clause=base.clause,
        seen_in=base.seen_in,
        status=base.status,
        of=words,
    )


def _find(rows: Iterable[WindowLine], row: WindowLine) -> WindowLine | None:
    """Find the row that another one was copied from: by metric, and most channels in common."""
    same = [one for one in rows if one.metric is row.metric]
    return max(same, key=lambda one: len(set(one.roles) & set(row.roles)), default=None)


def _is_same_place(row: WindowLine, cited: EarlierLimit) -> bool:
    there = (_fold(cited.document), _fold(cited.clause))
    return (_fold(row.document), _fold(row.clause)) == there


def _get_numbers(row: WindowLine) -> _Numbers:
    return row.lower, row.upper


def _fold(text: str) -> str:
    """Return letters and digits alone: blanks, dashes and capitals make no other document."""
    return "".join(c for c in text.casefold() if c.isalnum())


@cache
def _map_printed() -> Mapping[tuple[Metric, str], Mapping[_Numbers, EarlierLimit]]:
    """Map metric and document to the numbers that some built-in window gives them."""
    printed: dict[tuple[Metric, str], dict[_Numbers, EarlierLimit]] = {}
    for window in list_texts():
        for row in window.text.rows:
            document = _fold(row.document)
            cited = _cite(row, f"built-in {window.key}, version {window.version}")
            if document not in _NO_DOCUMENT and cited is not None:
                here = printed.setdefault((row.metric, document), {})
                here.setdefault(_get_numbers(row), cited)
    return printed
