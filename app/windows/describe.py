"""A window in words: the same spelling serves its page, its exports and the comparison."""

from collections.abc import Iterable
from dataclasses import dataclass

from app.core.numbers import spell_number
from app.recipes.body.describe import spell_limit, spell_roles
from app.recipes.body.window import METRICS, BareLimit, Metric
from app.recipes.side_by_side import PairRow, PairSection
from app.windows.body import NEEDED, EarlierLimit, OtherLimit, WindowLine, WindowText

NOT_GIVEN = "–"
WHOLE_SITE = "the whole site"


@dataclass(frozen=True)
class LineWords:
    """One row of a window, spelt."""

    label: str
    where: str
    limit: str
    lower: str
    upper: str
    unit: str
    source: str
    status: str
    caution: str
    note: str
    others: tuple[str, ...]
    was: str


def spell_line(row: WindowLine) -> LineWords:
    """Spell a row with its unit, source, status and caution."""
    return LineWords(
        label=METRICS[row.metric].label,
        where=spell_roles(row.roles) or WHOLE_SITE,
        limit=spell_limit(row),
        lower=spell_number(row.lower),
        upper=spell_number(row.upper),
        unit=row.unit,
        source=row.source,
        status=row.status.words,
        caution=row.status.caution,
        note=row.note,
        others=tuple(_spell_other(one, row.unit) for one in row.others),
        was=spell_was(row),
    )


def spell_was(row: WindowLine) -> str:
    """Spell what a changed limit was and where; empty for one that was not changed."""
    return "" if row.was is None else spell_earlier(row.was, row.metric)


def spell_earlier(was: EarlierLimit, metric: Metric) -> str:
    """Spell what a limit of a metric was, in which source, and how sure that was."""
    limit = BareLimit.model_construct(metric=metric, lower=was.lower, upper=was.upper)
    of = "" if was.source == was.of else f"; {was.of}"
    return f"was {spell_limit(limit)} in {was.source} ({was.status.told}{of})"


def list_temperatures(text: WindowText) -> tuple[tuple[str, str], ...]:
    """List what the rows are measured at: label and value, those that are given."""
    slopes = {
        Metric.MAX_RAMP_UP_K_PER_S,
        Metric.MAX_RAMP_DOWN_K_PER_S,
    }
    has_slopes = any(row.metric in slopes for row in text.rows)
    soak = ""
    if text.soak_min_c is not None and text.soak_max_c is not None:
        soak = f"{spell_number(text.soak_min_c)} to {spell_number(text.soak_max_c)} °C"
    told = (
        ("Alloy", text.alloy),
        ("Solidus", _spell_c(text.solidus_c)),
        ("Liquidus", _spell_c(text.liquidus_c)),
        ("Soak", soak),
        ("Classification temperature", _spell_c(text.classification_c)),
        ("Slopes taken over", f"{spell_number(text.ramp_window_s)} s" if has_slopes else ""),
    )
    return tuple((label, value) for label, value in told if value)


def compare_texts(old: WindowText, new: WindowText) -> tuple[PairSection, ...]:
    """Return two texts side by side, what differs marked; rows go by metric and roles."""
    before, after = _describe(old), _describe(new)
    return tuple(
        PairSection(
            title,
            tuple(
                PairRow(label, was.get(label), now.get(label), was.get(label) != now.get(label))
                for label in (*now, *(label for label in was if label not in now))
            ),
        )
        for (title, was), (_, now) in zip(before, after, strict=True)
    )


def list_dependent(text: WindowText, field: str) -> tuple[WindowLine, ...]:
    """List the rows that are measured at one of the temperatures."""
    return tuple(row for row in text.rows if row.metric in NEEDED[field])


def _describe(text: WindowText) -> tuple[tuple[str, dict[str, str]], ...]:
    window = {
        "Kind": "never exceed" if text.is_never_exceed else "aim",
        "Holds for parts": ", ".join(text.part_numbers) or NOT_GIVEN,
        "Alloy": text.alloy or NOT_GIVEN,
        "Solidus": _spell_c(text.solidus_c) or NOT_GIVEN,
        "Liquidus": _spell_c(text.liquidus_c) or NOT_GIVEN,
        "Soak from": _spell_c(text.soak_min_c) or NOT_GIVEN,
        "Soak to": _spell_c(text.soak_max_c) or NOT_GIVEN,
        "Classification temperature": _spell_c(text.classification_c) or NOT_GIVEN,
        "Slopes taken over": f"{spell_number(text.ramp_window_s)} s",
        "Note": text.note or NOT_GIVEN,
    }
    limits = dict(_describe_rows(text.rows))
    order = {"Order": "; ".join(_name(row) for row in text.rows)}
    return (("Window", window), ("Limits", limits), ("Order of the rows", order))


def _describe_rows(rows: Iterable[WindowLine]) -> Iterable[tuple[str, str]]:
    for row in rows:
        words, name = spell_line(row), _name(row)
        yield name, words.limit
        yield f"{name}: source", words.source or NOT_GIVEN
        yield f"{name}: status", row.status.told
        if words.was:
            yield f"{name}: changed", words.was
        if words.note:
            yield f"{name}: note", words.note
        if words.others:
            yield f"{name}: also printed", "\n".join(words.others)


def _name(row: WindowLine) -> str:
    return f"{METRICS[row.metric].label} ({spell_roles(row.roles) or WHOLE_SITE})"


def _spell_other(other: OtherLimit, unit: str) -> str:
    lower, upper = spell_number(other.lower), spell_number(other.upper)
    if lower and upper:
        value = f"{lower} to {upper} {unit}"
    elif upper or lower:
        value = f"at most {upper} {unit}" if upper else f"at least {lower} {unit}"
    else:
        value = "no limit"
    return f"{value}: {other.where}"


def _spell_c(value: float | None) -> str:
    return "" if value is None else f"{spell_number(value)} °C"
