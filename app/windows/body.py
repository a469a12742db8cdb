"""What a window says: its limits row by row with their sources, and the temperatures they need."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Annotated, Any, Final, Literal, Self

from pydantic import Field, model_validator

from app.core.canonical_json import spell_canonical_json
from app.core.text import Line, Note, OptionalLine
from app.recipes.body.alloys import Status
from app.recipes.body.fields import (
    AsNumber,
    Codes,
    Flag,
    Number,
    Part,
    Temperature,
    at_least,
    refuse_at,
)
from app.recipes.body.window import METRICS, BareLimit, Metric
from app.recipes.windows.rows import CAUTIONS
from app.traces.rules import ChannelRole

MOST_ROWS: Final = 40
RAMP_WINDOW_S: Final = 5.0

_OF_LIQUIDUS: Final = frozenset(Metric) - {
    Metric.PEAK_C,
    Metric.MAX_RAMP_UP_K_PER_S,
    Metric.MAX_RAMP_DOWN_K_PER_S,
    Metric.SOAK_TIME_S,
    Metric.TIME_25_TO_PEAK_S,
    Metric.TIME_WITHIN_5_OF_CLASSIFICATION_S,
}
# What a metric cannot be measured without.
NEEDED: Final[Mapping[str, frozenset[Metric]]] = {
    "liquidus_c": _OF_LIQUIDUS,
    "soak_min_c": frozenset({Metric.SOAK_TIME_S}),
    "soak_max_c": frozenset({Metric.SOAK_TIME_S}),
    "classification_c": frozenset({Metric.TIME_WITHIN_5_OF_CLASSIFICATION_S}),
}


class LineStatus(StrEnum):
    """How sure a row is of its limits."""

    SEEN = "seen"
    MEMORY = "from_memory"
    CONFLICT = "sources_differ"
    OWN = "plants_own"

    @property
    def words(self) -> str:
        """The status as it is printed beside a limit."""
        return _WORDS[self]

    @property
    def caution(self) -> str:
        """What to tell whoever uses the limit; empty when nothing is in doubt."""
        of_source = {one: status for status, one in STATUS_OF_SOURCE.items()}.get(self)
        return "" if of_source is None else CAUTIONS[of_source]

    @property
    def told(self) -> str:
        """The caution, which says the status too; the status alone where nothing is in doubt."""
        return self.caution or self.words


_WORDS: Final[Mapping[LineStatus, str]] = {
    LineStatus.SEEN: "seen",
    LineStatus.MEMORY: "from memory",
    LineStatus.CONFLICT: "sources differ",
    LineStatus.OWN: "the plant's own",
}
STATUS_OF_SOURCE: Final[Mapping[Status, LineStatus]] = {
    Status.SEEN: LineStatus.SEEN,
    Status.MEMORY: LineStatus.MEMORY,
    Status.CONFLICT: LineStatus.CONFLICT,
}


class OtherLimit(Part):
    """What another source prints for the same limit, in the metric's unit."""

    lower: Number | None = None
    upper: Number | None = None
    where: Line


def spell_source(document: str, clause: str, seen_in: str) -> str:
    """Spell a source as it is printed beside a limit; empty where none is named."""
    place = ", ".join(part for part in (document, clause) if part)
    seen = f"({seen_in})" if seen_in else ""
    return " ".join(part for part in (place, seen) if part)


def _is_not_given(value: object) -> bool:
    return value is None


class EarlierLimit(Part):
    """What a changed limit was in the source that it no longer has; `of` names that window."""

    lower: Number | None = None
    upper: Number | None = None
    document: OptionalLine = ""
    clause: OptionalLine = ""
    seen_in: OptionalLine = ""
    status: LineStatus
    of: Line

    @property
    def source(self) -> str:
        """The source as it is printed beside a limit; the window's name where none is named."""
        return spell_source(self.document, self.clause, self.seen_in) or self.of


class WindowLine(BareLimit):
    """One limit with where it was found, how sure it is, and what else is printed.

    `was` is what a source prints whose number was changed here: the changed limit is the plant's
    own. A file may name `unit` and `caution` beside it: the unit must be the metric's own, and the
    caution follows from the status.
    """

    document: OptionalLine = ""
    clause: OptionalLine = ""
    seen_in: OptionalLine = ""
    status: LineStatus
    note: Note = ""
    others: Annotated[tuple[OtherLimit, ...], Field(max_length=10)] = ()
    was: Annotated[EarlierLimit | None, Field(exclude_if=_is_not_given)] = None

    @model_validator(mode="before")
    @classmethod
    def _take_what_follows(cls, given: Any) -> Any:
        if not isinstance(given, Mapping):
            return given
        rest = {name: value for name, value in given.items() if name not in {"unit", "caution"}}
        told, metric = given.get("unit"), given.get("metric")
        known = {one.value: facts.unit for one, facts in METRICS.items()}
        unit = known.get(metric) if isinstance(metric, str) else None
        if told is not None and unit is not None and told != unit:
            refuse_at("unit", sentence=f"must be {unit}, the unit of {metric}")
        return rest

    @model_validator(mode="after")
    def _check_source(self) -> Self:
        if self.status in {LineStatus.SEEN, LineStatus.CONFLICT} and not self.document:
            refuse_at("document", sentence=f"must be named where the status is {self.status.words}")
        if self.was is not None and self.status is not LineStatus.OWN:
            sentence = f"may be told only of {LineStatus.OWN.words} limit, whose number was changed"
            refuse_at("was", sentence=sentence)
        return self

    @property
    def source(self) -> str:
        """The source as it is printed beside the limit; empty where none is named."""
        return spell_source(self.document, self.clause, self.seen_in)


class WindowText(Part):
    """A window's text; `format` names the form it is stored in.

    Temperatures are given where a row needs them: °C, solidus and liquidus 50 to 450, soak 0 to
    450 and both its ends, classification 150 to 300; slopes are taken over `ramp_window_s`, 0.5
    to 60 s. A window that is never to be exceeded may name the parts that it holds for by itself.
    """

    format: Literal[1]
    is_never_exceed: Flag
    part_numbers: Codes = ()
    alloy: OptionalLine = ""
    solidus_c: Annotated[float, Field(ge=50, le=450), AsNumber] | None = None
    liquidus_c: Annotated[float, Field(ge=50, le=450), AsNumber] | None = None
    ramp_window_s: Annotated[float, Field(ge=0.5, le=60), AsNumber] = RAMP_WINDOW_S
    soak_min_c: Temperature | None = None
    soak_max_c: Temperature | None = None
    classification_c: Annotated[float, Field(ge=150, le=300), AsNumber] | None = None
    note: Note = ""
    rows: Annotated[
        tuple[WindowLine, ...],
        Field(max_length=MOST_ROWS, json_schema_extra={"minItems": 1}),
        at_least(1),
    ]

    @model_validator(mode="after")
    def _check_temperatures(self) -> Self:
        solidus, liquidus = self.solidus_c, self.liquidus_c
        if solidus is not None and liquidus is None:
            refuse_at("liquidus_c", sentence="must be given where the solidus is")
        if solidus is not None and liquidus is not None and solidus > liquidus:
            refuse_at("solidus_c", sentence=f"must be at most liquidus_c, {liquidus:g}")
        low, high = self.soak_min_c, self.soak_max_c
        if (low is None) != (high is None):
            field = "soak_min_c" if low is None else "soak_max_c"
            refuse_at(field, sentence="must be given where the soak's other end is")
        if low is not None and high is not None and low >= high:
            refuse_at("soak_min_c", sentence=f"must be less than soak_max_c, {high:g}")
        for field, metrics in NEEDED.items():
            limited = next((one.metric for one in self.rows if one.metric in metrics), None)
            if limited is not None and getattr(self, field) is None:
                refuse_at(field, sentence=f"must be given where {limited} is limited")
        return self

    @model_validator(mode="after")
    def _check_rows(self) -> Self:
        seen: set[tuple[Metric, ChannelRole | None]] = set()
        for place, row in enumerate(self.rows):
            for role in row.roles or (None,):
                if (row.metric, role) in seen:
                    of_role = f" of {role.words}" if role else ""
                    refuse_at("rows", place, sentence=f"{row.metric}{of_role} is limited twice")
                seen.add((row.metric, role))
        if self.part_numbers and not self.is_never_exceed:
            refuse_at(
                "part_numbers",
                sentence="may be named only of a window never to be exceeded",
            )
        return self

    @property
    def cautions(self) -> tuple[str, ...]:
        """Every caution of its rows, once each, in their order."""
        return tuple(dict.fromkeys(row.status.caution for row in self.rows if row.status.caution))


def spell_text(text: WindowText) -> bytes:
    """Return the text's canonical JSON (RFC 8785): what is stored, and what the digest is of."""
    return spell_canonical_json(text.model_dump(mode="json"))
