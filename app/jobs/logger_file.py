"""A logger's file in hand: read, packed and worked out once, whenever that is first asked for.

What is asked before a request's transaction begins costs nothing within it.
"""

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from functools import cached_property
from hashlib import sha256
from typing import Final, TypeVar, cast

from app.core.canonical_json import compute_digest
from app.core.refusals import Refusal
from app.core.settings import Settings
from app.files.service import PackedFile, pack_file
from app.jobs import rules
from app.jobs.figures import RunFigures, analyse_run
from app.jobs.rules import StepKind
from app.jobs.schemas import TraceChosen
from app.numerics.errors import NumericsError
from app.plant.measuring import MeasuringChain
from app.recipes.queries import get_body
from app.recipes.tables import RecipeRevision
from app.traces.files import LoggerReading, ReadingLimits, read_logger_file
from app.traces.queries import unpack_trace
from app.traces.rules import ReadingChoices
from app.traces.service import compose_trace
from app.traces.tables import Trace

Found = TypeVar("Found")

# What a reader refuses because of what it guessed: a person's choices can put it right.
PUT_RIGHT_BY_CHOICES: Final = frozenset(
    {
        "traces.no_time_column",
        "traces.no_temperature_column",
        "traces.too_many_temperature_columns",
        "traces.row_too_wide",
        "traces.decimal_marks_mixed",
        "traces.units_mixed",
        "traces.time_unreadable",
        "traces.time_impossible",
        "traces.emf_outside_range",
        "traces.time_not_increasing",
    }
)


@dataclass(frozen=True)
class WorkedOut:
    """A file as the trace it will be kept as, with its figures; no database knows it yet."""

    reading: LoggerReading
    trace: Trace
    figures: RunFigures


class LoggerFile:
    """A logger's file and all that was found in it so far, refusals too."""

    def __init__(self, content: bytes, *, settings: Settings) -> None:
        self.content = content
        self.sha256 = sha256(content).hexdigest()
        self._settings = settings
        self._found: dict[Hashable, object] = {}

    @cached_property
    def packed(self) -> PackedFile:
        """The file made ready to be kept."""
        return pack_file(self.content)

    @property
    def is_worked_out(self) -> bool:
        """Say whether figures of the file were computed already."""
        return any(isinstance(found, WorkedOut) for found in self._found.values())

    def read(self, choices: ReadingChoices) -> LoggerReading:
        """Read the file within the plant's limit of rows; refuses as its reader does."""
        limits = ReadingLimits(
            max_bytes=self._settings.upload_limit_mb * 1024 * 1024,
            max_rows=self._settings.trace_row_limit,
        )
        return self._recall(
            ("reading", compute_digest(choices.model_dump(mode="json"))),
            lambda: read_logger_file(self.content, choices=choices, limits=limits),
        )

    def check(self) -> None:
        """Refuse a file that no choice could make readable, with what its reader says."""
        try:
            self.read(ReadingChoices())
        except Refusal as refusal:
            if refusal.code not in PUT_RIGHT_BY_CHOICES:
                raise

    def work_out(
        self,
        said: TraceChosen,
        *,
        revision: RecipeRevision,
        step: StepKind,
        chain: MeasuringChain | None,
    ) -> WorkedOut:
        """Compose the trace and compute its figures by a recipe's revision and a bench's chain.

        Refuses as the reader and compose_trace do; TraceUnusable when nothing can be computed.
        """
        chosen = compute_digest(
            said.model_dump(mode="json", include={"choices", "channel_map", "lifted_at_s"})
        )
        return self._recall(
            ("figures", chosen, revision.body, step, chain),
            lambda: self._work_out(said, revision, step, chain),
        )

    def _work_out(
        self,
        said: TraceChosen,
        revision: RecipeRevision,
        step: StepKind,
        chain: MeasuringChain | None,
    ) -> WorkedOut:
        reading = self.read(said.choices)
        try:
            trace = compose_trace(
                reading,
                choices=said.choices,
                channel_map=said.channel_map,
                zone=self._settings.zone,
            )
            figures = analyse_run(
                get_body(revision),
                unpack_trace(trace, trace.samples),
                findings=trace.reading["findings"],
                step=step,
                chain=chain,
                lifted_at_s=said.lifted_at_s,
            )
        except NumericsError as error:
            raise rules.TraceUnusable(f"Nothing can be computed from this file: {error}") from None
        return WorkedOut(reading, trace, figures)

    def _recall(self, key: Hashable, find: Callable[[], Found]) -> Found:
        if key not in self._found:
            try:
                self._found[key] = find()
            except Refusal as refusal:
                self._found[key] = refusal
        found = self._found[key]
        if isinstance(found, Refusal):
            raise found
        return cast("Found", found)
