"""What one line of a board's story says, from its record where there is one."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import msgspec

from app.history.links import RecordKey
from app.history.queries import AnyRow, BoardRecords
from app.history.rules import EventKind
from app.history.told import ToldEntry
from app.history.words import get_kind, spell_action
from app.jobs.rules import Outcome
from app.recipes.verdict import VerdictState

LONGEST_VALUE: Final = 300

Details = tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Sign:
    """A verdict as shape and word."""

    shape: str
    word: str


@dataclass(frozen=True)
class RecipeUsed:
    """A recipe revision that a line is about, and for which site."""

    id: int
    recipe_id: int
    designator: str
    code: str
    number: int
    digest: str | None


class Written(msgspec.Struct, frozen=True, gc=False):
    """The contents of a line."""

    kind: EventKind
    what: str
    details: Details = ()
    designators: tuple[str, ...] = ()
    recipes: tuple[RecipeUsed, ...] = ()
    lots: tuple[str, ...] = ()
    sign: Sign | None = None
    window_use_pct: float | None = None
    run_id: int | None = None
    has_picture: bool = False


_VERDICTS: Final[Mapping[str, Sign]] = {
    VerdictState.INSIDE: Sign("go", "inside"),
    VerdictState.OUTSIDE: Sign("stop", "outside"),
    VerdictState.TOO_CLOSE: Sign("caution", "too close to call"),
    VerdictState.CANNOT_SAY: Sign("caution", "cannot say"),
}
_OUTCOMES: Final[Mapping[str, Sign]] = {
    Outcome.ACCEPTED: Sign("go", "accepted"),
    Outcome.REJECTED: Sign("caution", "rejected"),
    Outcome.SCRAPPED: Sign("stop", "scrapped"),
    Outcome.CANCELLED: Sign("plain", "cancelled"),
}


@dataclass
class _Index:
    jobs: dict[int, AnyRow] = field(default_factory=dict)
    steps: dict[int, AnyRow] = field(default_factory=dict)
    runs: dict[int, AnyRow] = field(default_factory=dict)
    holds: dict[int, AnyRow] = field(default_factory=dict)


class LineWriter:
    """Writes the lines of one board."""

    def __init__(self, records: BoardRecords) -> None:
        self.board = records.board
        self.index = _Index(
            jobs={row.id: row for row in records.jobs},
            steps={row.id: row for row in records.steps},
            runs={row.id: row for row in records.runs},
            holds={row.id: row for row in records.holds},
        )
        revisions = {row.id: row for row in records.revisions}
        self.recipe_of_site: dict[int, RecipeUsed] = {}
        self.recipes_of_job: dict[int, tuple[RecipeUsed, ...]] = {}
        for site in records.sites:
            revision = revisions[site.recipe_revision_id]
            used = RecipeUsed(
                revision.id,
                revision.recipe_id,
                site.designator,
                revision.code,
                revision.number,
                revision.digest,
            )
            self.recipe_of_site[site.id] = used
            before = self.recipes_of_job.get(site.job_id, ())
            self.recipes_of_job[site.job_id] = (*before, used)
        self.writers: Mapping[str, Callable[[ToldEntry, AnyRow], Written]] = {
            "jobs.open": self._write_opening,
            "jobs.clear": self._write_clearance,
            "jobs.close": self._write_closing,
            "jobs.hold": self._write_hold,
            "jobs.lift_hold": self._write_lifting,
            "jobs.sign_step": self._write_step,
            "jobs.skip_step": self._write_step,
            "jobs.correct_entry": self._write_step,
            "jobs.start_run": self._write_run,
            "jobs.complete_run": self._write_run,
            "jobs.abort_run": self._write_run,
            "jobs.set_aside_run": self._write_setting_aside,
            "boards.register": self._write_registering,
        }

    def write(self, entry: ToldEntry, key: RecordKey | None) -> Written:
        """Write the line of an entry; one that is not known here tells its details as they are."""
        record = self._find(key)
        writer = self.writers.get(entry.action)
        if writer is not None and record is not None:
            return writer(entry, record)
        kind, what = get_kind(entry.action), spell_action(entry.action)
        return Written(kind, what, tuple(_list_told(entry.details)))

    def _find(self, key: RecordKey | None) -> AnyRow | None:
        match key:
            case RecordKey("board", _):
                return self.board
            case RecordKey("job", number):
                return self.index.jobs.get(number)
            case RecordKey("step entry", number):
                return self.index.steps.get(number)
            case RecordKey("run", number):
                return self.index.runs.get(number)
            case RecordKey("hold", number):
                return self.index.holds.get(number)
        return None

    def _write_registering(self, entry: ToldEntry, row: AnyRow) -> Written:
        details = [("Serial", row.serial), ("Assembly", f"{row.part_number} rev {row.revision}")]
        note = entry.details.get("note")
        if note:
            details.append(("Note", str(note)))
        return Written(EventKind.BOARD, "Board registered", tuple(details))

    def _write_opening(self, _entry: ToldEntry, row: AnyRow) -> Written:
        used = self.recipes_of_job.get(row.id, ())
        details = [("Reason", row.reason)]
        if row.reference:
            details.append(("Reference", row.reference))
        sites = ", ".join(one.designator for one in used)
        return self._write_about_job(
            row, EventKind.JOB, f"opened for {sites}", details, recipes=used
        )

    def _write_clearance(self, entry: ToldEntry, row: AnyRow) -> Written:
        said = entry.details
        findings = [one for one in _list(said.get("findings")) if isinstance(one, dict)]
        counts = {
            signal: sum(one.get("signal") == signal for one in findings)
            for signal in ("go", "caution", "stop")
        }
        told = ", ".join(f"{count} {signal}" for signal, count in counts.items() if count)
        details = [("Bench", str(said.get("bench", ""))), ("Findings", told or "none")]
        details += [
            ("Caution", str(one.get("sentence")))
            for one in findings
            if one.get("signal") == "caution"
        ]
        return self._write_about_job(row, EventKind.CLEARANCE, "cleared for heat", details)

    def _write_closing(self, _entry: ToldEntry, row: AnyRow) -> Written:
        details = [("Remark", row.closing_remark)] if row.closing_remark else []
        sign = _OUTCOMES.get(row.outcome or "")
        return self._write_about_job(row, EventKind.JOB, "closed", details, sign=sign)

    def _write_hold(self, _entry: ToldEntry, row: AnyRow) -> Written:
        job = self.index.jobs[row.job_id]
        return self._write_about_job(job, EventKind.HOLD, "put on hold", [("Reason", row.reason)])

    def _write_lifting(self, _entry: ToldEntry, row: AnyRow) -> Written:
        job = self.index.jobs[row.job_id]
        details = [("Reason", row.lift_reason or ""), ("Was held for", row.reason)]
        return self._write_about_job(job, EventKind.HOLD, "free again, hold lifted", details)

    def _write_about_job(
        self,
        row: AnyRow,
        kind: EventKind,
        what: str,
        details: list[tuple[str, str]],
        *,
        sign: Sign | None = None,
        recipes: tuple[RecipeUsed, ...] = (),
    ) -> Written:
        used = self.recipes_of_job.get(row.id, ())
        return Written(
            kind,
            f"Job {what}",
            tuple(details),
            designators=tuple(one.designator for one in used),
            recipes=recipes,
            sign=sign,
        )

    def _write_step(self, entry: ToldEntry, row: AnyRow) -> Written:
        used = self.recipe_of_site[row.job_site_id]
        place = f"{row.step} of {used.designator}"
        values = row.used if isinstance(row.used, dict) else {}
        details: list[tuple[str, str]] = []
        if row.corrects_id is not None:
            old = self.index.steps.get(row.corrects_id)
            details += [
                ("Reason", str(values.get("reason", ""))),
                ("Corrects", f"entry {row.corrects_id}"),
            ]
            details += [(f"Before: {label}", value) for label, value in list_values(old)]
        details += list_values(row)
        if row.remark:
            label = "Reason" if entry.action == "jobs.skip_step" else "Remark"
            details.append((label, row.remark))
        kind = get_kind(entry.action)
        words = {
            EventKind.STEP: f"{place} signed",
            EventKind.SKIP: f"{place} skipped",
            EventKind.CORRECTION: f"{place}: entry {row.corrects_id} corrected",
        }
        return Written(
            kind,
            spell_first(words.get(kind, place)),
            tuple(details),
            designators=(used.designator,),
            recipes=(used,),
            lots=tuple(_list_lots(row.lots)),
            sign=_find_inspection_sign(values),
        )

    def _write_run(self, entry: ToldEntry, row: AnyRow) -> Written:
        used = self.recipe_of_site[row.job_site_id]
        details = [("Bench", row.bench)]
        if row.file_name:
            details.append(("Logger file", row.file_name))
        if row.duration_s is not None:
            channels = len(row.channels) if isinstance(row.channels, list) else 0
            details.append(
                ("Trace", f"{channels} channels, {row.rows:,} samples, {row.duration_s:.0f} s")
            )
        if row.abort_reason:
            details.append(("Aborted because", row.abort_reason))
        if row.set_aside_reason:
            details.append(("Does not count, set aside because", row.set_aside_reason))
        if row.remark:
            details.append(("Remark", row.remark))
        ends = {"jobs.complete_run": "complete", "jobs.abort_run": "aborted"}
        sign = _VERDICTS.get(row.verdict or "")
        if row.verdict is not None and sign is None:
            sign = Sign("plain", str(row.verdict))
        if entry.action == "jobs.abort_run":
            sign = Sign("plain", "aborted")
        if row.set_aside_at is not None:
            sign = Sign("plain", f"does not count ({sign.word})" if sign else "does not count")
        return Written(
            EventKind.RUN,
            f"Run {row.id}, {row.step} of {used.designator}: {ends.get(entry.action, 'started')}",
            tuple(details),
            designators=(used.designator,),
            recipes=(used,),
            sign=sign,
            window_use_pct=row.window_use_pct,
            run_id=row.id,
            has_picture=row.trace_id is not None,
        )

    def _write_setting_aside(self, _entry: ToldEntry, row: AnyRow) -> Written:
        used = self.recipe_of_site[row.job_site_id]
        return Written(
            EventKind.RUN,
            f"Run {row.id}, {row.step} of {used.designator}: set aside, does not count",
            (("Reason", row.set_aside_reason or ""),),
            designators=(used.designator,),
            recipes=(used,),
            sign=Sign("plain", "does not count"),
            run_id=row.id,
        )


def spell_first(text: str) -> str:
    """Begin a text with a capital and leave the rest: designators keep their spelling."""
    return text[:1].upper() + text[1:]


def list_values(row: Any) -> list[tuple[str, str]]:
    """Return the values of a step's entry as label and text, inspection results with them."""
    values = row.used if row is not None and isinstance(row.used, dict) else {}
    found = [
        (str(one.get("label", "")), str(one.get("value", "")))
        for one in _list(values.get("used"))
        if isinstance(one, dict)
    ]
    inspection = values.get("inspection")
    if isinstance(inspection, dict):
        for name, label in _INSPECTED.items():
            if inspection.get(name) not in (None, "not done"):
                unit = " %" if name == "largest_void_pct" else ""
                found.append((label, f"{inspection[name]}{unit}"))
    if isinstance(values.get("run"), int):
        found.append(("Run that counts", str(values["run"])))
    return found


_INSPECTED: Final[Mapping[str, str]] = {
    "visual": "Visual",
    "xray": "X-ray",
    "largest_void_pct": "Largest void",
    "electrical": "Electrical",
}


def _find_inspection_sign(values: Mapping[str, Any]) -> Sign | None:
    inspection = values.get("inspection")
    if not isinstance(inspection, dict):
        return None
    results = {str(value) for value in inspection.values()}
    if "fail" in results:
        return Sign("stop", "fail")
    return Sign("go", "pass") if "pass" in results else Sign("plain", "not done")


def _list_lots(lots: Any) -> list[str]:
    return [
        f"{one.get('what')}: {one.get('lot')}" if one.get("what") else str(one.get("lot"))
        for one in _list(lots)
        if isinstance(one, dict)
    ]


def _list_told(details: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Spell details as they stand in an entry, one level deep."""
    found: list[tuple[str, str]] = []
    for name, value in details.items():
        label = str(name).replace("_", " ").capitalize()
        if isinstance(value, dict):
            text = ", ".join(f"{key}: {one}" for key, one in value.items())
        elif isinstance(value, list):
            text = f"{len(value)} listed"
        else:
            text = "nothing" if value is None else str(value)
        found.append((label, text[:LONGEST_VALUE]))
    return found


def _list(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []
