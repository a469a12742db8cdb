"""Holds records against the entries that tell of them, and names each one that differs."""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import Any, Final

from app.core.canonical_json import compute_digest
from app.history.differences import Difference, Fact, check_text, compare, tell_untold
from app.history.links import Links, RecordKey
from app.history.queries import BoardRecords
from app.history.told import ToldEntry
from app.jobs.rules import EntryKind, JobState, Outcome, RunState, spell_job

_KIND_OF_ACTION: Final[Mapping[str, EntryKind]] = {
    "jobs.sign_step": EntryKind.DONE,
    "jobs.skip_step": EntryKind.SKIPPED,
    "jobs.correct_entry": EntryKind.CORRECTION,
}
_STATE_AFTER: Final[Mapping[str, JobState]] = {
    "jobs.open": JobState.OPEN,
    "jobs.clear": JobState.CLEARED,
    "jobs.sign_step": JobState.IN_WORK,
    "jobs.skip_step": JobState.IN_WORK,
    "jobs.start_run": JobState.IN_WORK,
    "jobs.close": JobState.CLOSED,
}

_STEP_FACTS: Final = (
    "kind",
    "number",
    "line",
    "site",
    "list of values",
    "list of lots",
    "remark",
    "corrected entry",
    "signing person",
    "moment",
)


def check_board(records: BoardRecords, links: Links) -> tuple[Difference, ...]:
    """Return everything about a board that differs from what its entries tell.

    A run's figures are held against their digest where they were loaded.
    """
    checker = _BoardChecker(records, links)
    return (
        *checker.check_board(),
        *checker.check_revisions(),
        *checker.check_jobs(),
        *checker.check_holds(),
        *checker.check_steps(),
        *checker.check_runs(),
        *checker.check_figures(),
        *checker.list_gone(),
    )


def check_figures(records: BoardRecords, links: Links) -> tuple[Difference, ...]:
    """Return the runs whose loaded figures or clearance differ from what their entries tell."""
    return tuple(_BoardChecker(records, links).check_figures())


class _BoardChecker:
    def __init__(self, records: BoardRecords, links: Links) -> None:
        self.records = records
        self.links = links
        self.sites = {row.id: row for row in records.sites}
        self.revisions = {row.id: row for row in records.revisions}
        self.told_sites: dict[int, list[dict[str, object]]] = defaultdict(list)
        for site in records.sites:
            self.told_sites[site.job_id].append(self._describe_site(site))

    def check_board(self) -> Iterator[Difference]:
        """Check serial, note, who registered it and when, and whether it is scrapped."""
        row = self.records.board
        key, name = RecordKey("board", row.id), f"board {row.serial}"
        entry = self.links.find(key, "boards.register")
        if entry is None:
            yield tell_untold(key, name)
            return
        told = entry.details
        edit = self.links.find(key, "boards.edit_board")
        note = _get(edit.details, "after").get("note") if edit else told.get("note")
        facts: list[Fact] = [
            ("serial", row.serial, told.get("serial")),
            ("assembly", row.assembly_id, told.get("assembly_id")),
            ("moment of registering", row.registered_at, entry.at),
            ("registering person", row.registered_by_id, entry.actor_id),
        ]
        yield from compare(key, name, entry, facts)
        yield from compare(key, name, edit or entry, [("note", row.note, note)])
        scrapped = next(
            (
                one
                for one in self.records.closings
                if one.details.get("outcome") == Outcome.SCRAPPED
            ),
            None,
        )
        at = scrapped.at if scrapped else None
        yield from compare(key, name, scrapped or entry, [("scrapping", row.scrapped_at, at)])

    def check_revisions(self) -> Iterator[Difference]:
        """Check the text of every recipe revision that the board's jobs follow."""
        published = {entry.subject_id: entry for entry in self.records.published}
        for row in self.records.revisions:
            key = RecordKey("recipe revision", row.id)
            name = f"recipe {row.code} revision {row.number}"
            entry = published.get(row.id)
            if entry is None:
                yield tell_untold(key, name)
                continue
            yield from check_text(key, name, body=row.body, digest=row.digest, entry=entry)
            told = entry.details
            facts: list[Fact] = [
                ("code", row.code, told.get("recipe")),
                ("number", row.number, told.get("number")),
                ("title", row.title, told.get("title")),
                ("approver", row.approved_by_id, entry.actor_id),
            ]
            yield from compare(key, name, entry, facts)

    def check_jobs(self) -> Iterator[Difference]:
        """Check what was asked, cleared and decided about each job."""
        after = {
            entry.job_id: (_STATE_AFTER[entry.action], entry)
            for entry in self.records.entries
            if entry.action in _STATE_AFTER
        }
        for row in self.records.jobs:
            key, name = RecordKey("job", row.id), f"job {spell_job(row.id)}"
            opened = self.links.find(key, "jobs.open")
            if opened is None:
                yield tell_untold(key, name)
                continue
            told = opened.details
            facts: list[Fact] = [
                ("reason", row.reason, told.get("reason")),
                ("reference", row.reference, told.get("reference")),
                ("opening person", row.opened_by_id, opened.actor_id),
                ("moment of opening", row.opened_at, opened.at),
                ("list of sites and recipes", self.told_sites[row.id], told.get("sites")),
            ]
            yield from compare(key, name, opened, facts)
            state, newest = after.get(row.id, (JobState.OPEN, opened))
            yield from compare(key, name, newest, [("state", row.state, state)])
            yield from self._check_clearance(row, key, name, opened)
            yield from self._check_closing(row, key, name, opened)

    def _check_clearance(
        self, row: Any, key: RecordKey, name: str, opened: ToldEntry
    ) -> Iterator[Difference]:
        entry = self.links.find(key, "jobs.clear")
        told = None
        if entry is not None:
            said = entry.details
            told = {
                "at": entry.moment,
                "by_id": entry.actor_id,
                "bench": said.get("bench"),
                "rules": said.get("rules"),
                "findings": said.get("findings"),
            }
        yield from compare(key, name, entry or opened, [("clearance", row.clearance, told)])

    def _check_closing(
        self, row: Any, key: RecordKey, name: str, opened: ToldEntry
    ) -> Iterator[Difference]:
        entry = self.links.find(key, "jobs.close")
        told = entry.details if entry is not None else {}
        facts: list[Fact] = [
            ("outcome", row.outcome, told.get("outcome")),
            ("closing remark", row.closing_remark, told.get("remark")),
            ("closing person", row.closed_by_id, entry.actor_id if entry else None),
            ("moment of closing", row.closed_at, entry.at if entry else None),
        ]
        yield from compare(key, name, entry or opened, facts)

    def check_holds(self) -> Iterator[Difference]:
        """Check why each hold was placed and lifted, by whom and when."""
        for row in self.records.holds:
            key, name = RecordKey("hold", row.id), f"hold on {spell_job(row.job_id)}"
            placed = self.links.find(key, "jobs.hold")
            if placed is None:
                yield tell_untold(key, name)
                continue
            lifted = self.links.find(key, "jobs.lift_hold")
            facts: list[Fact] = [
                ("reason", row.reason, placed.details.get("reason")),
                ("placing person", row.placed_by_id, placed.actor_id),
                ("moment of placing", row.placed_at, placed.at),
            ]
            yield from compare(key, name, placed, facts)
            told = lifted.details if lifted else {}
            facts = [
                ("reason for lifting", row.lift_reason, told.get("reason")),
                ("lifting person", row.lifted_by_id, lifted.actor_id if lifted else None),
                ("moment of lifting", row.lifted_at, lifted.at if lifted else None),
            ]
            yield from compare(key, name, lifted or placed, facts)

    def check_steps(self) -> Iterator[Difference]:
        """Check what was written on the work cards, by whom and when."""
        for row in self.records.steps:
            site = self.sites[row.job_site_id]
            key = RecordKey("step entry", row.id)
            entry = self.links.find(key)
            if entry is None:
                yield tell_untold(key, _spell_step(row, site))
                continue
            tell = entry.details.get
            stored = (
                row.kind,
                row.id,
                row.step,
                site.designator,
                row.used,
                row.lots,
                row.remark,
                row.corrects_id,
                row.by_id,
                row.at,
            )
            told = (
                _KIND_OF_ACTION.get(entry.action),
                tell("entry"),
                tell("step"),
                tell("designator"),
                tell("values"),
                tell("lots"),
                tell("remark"),
                tell("corrects"),
                entry.actor_id,
                entry.at,
            )
            # Thousands of lines are as they were told: only one that is not is looked at closely.
            if stored != told:
                facts = zip(_STEP_FACTS, stored, told, strict=True)
                yield from compare(key, _spell_step(row, site), entry, facts)

    def check_runs(self) -> Iterator[Difference]:
        """Check what each run was made with, and what it found."""
        for row in self.records.runs:
            site = self.sites[row.job_site_id]
            key, name = RecordKey("run", row.id), self._spell_run(row)
            started = self.links.find(key, "jobs.start_run")
            if started is None:
                yield tell_untold(key, name)
                continue
            told = started.details
            facts: list[Fact] = [
                ("bench", row.bench, told.get("bench")),
                ("site", site.designator, told.get("designator")),
                ("line", row.step, told.get("step")),
                ("logger file", row.file_sha256, told.get("file_sha256")),
                ("starting person", row.by_id, started.actor_id),
                ("moment of starting", row.started_at, started.at),
                ("recipe revision", row.recipe_revision_id, site.recipe_revision_id),
            ]
            yield from compare(key, name, started, facts)
            yield from self._check_run_end(row, key, name, started)
            yield from self._check_setting_aside(row, key, name, started)

    def _check_run_end(
        self, row: Any, key: RecordKey, name: str, started: ToldEntry
    ) -> Iterator[Difference]:
        ended = self.links.find(key, "jobs.complete_run", "jobs.abort_run")
        entry = ended or started
        told = ended.details if ended else {}
        is_complete = entry.action == "jobs.complete_run"
        is_aborted = entry.action == "jobs.abort_run"
        state = RunState.COMPLETE if is_complete else RunState.RECORDING
        facts: list[Fact] = [
            ("state", row.state, RunState.ABORTED if is_aborted else state),
            ("moment of ending", row.ended_at, ended.at if ended else None),
            ("verdict", row.verdict, told.get("verdict")),
            ("trace", row.trace_id, told.get("trace")),
            ("samples' digest", row.samples_sha256, told.get("samples_sha256")),
            ("reason for aborting", row.abort_reason, told.get("reason")),
            ("remark", row.remark, told.get("remark", "")),
        ]
        if is_complete:
            facts += [
                ("trace's file", row.trace_file_sha256, told.get("file_sha256")),
                ("list of channels", row.channels, told.get("channels")),
            ]
        yield from compare(key, name, entry, facts)

    def _check_setting_aside(
        self, row: Any, key: RecordKey, name: str, started: ToldEntry
    ) -> Iterator[Difference]:
        entry = self.links.find(key, "jobs.set_aside_run")
        facts: list[Fact] = [
            ("moment of setting aside", row.set_aside_at, entry.at if entry else None),
            ("person setting it aside", row.set_aside_by_id, entry.actor_id if entry else None),
            (
                "reason for setting aside",
                row.set_aside_reason,
                entry.details.get("reason") if entry else None,
            ),
        ]
        yield from compare(key, name, entry or started, facts)

    def check_figures(self) -> Iterator[Difference]:
        """Check the figures of the runs for which they were loaded, by their digest."""
        for row in self.records.runs:
            loaded = self.records.figures.get(row.id)
            started = self.links.find(RecordKey("run", row.id), "jobs.start_run")
            if loaded is not None and started is not None:
                yield from self._check_figures_of(row, loaded, started)

    def _check_figures_of(self, row: Any, loaded: Any, started: ToldEntry) -> Iterator[Difference]:
        key, name = RecordKey("run", row.id), self._spell_run(row)
        clearance = started.details.get("clearance")
        yield from compare(key, name, started, [("clearance", loaded.clearance, clearance)])
        entry = self.links.find(key, "jobs.complete_run")
        if entry is None:
            return
        told = entry.details.get("figures_sha256")
        digest = compute_digest(loaded.figures) if isinstance(loaded.figures, dict) else None
        yield from compare(key, name, entry, [("figures' digest", digest, told)])
        if digest == told:
            kept = _get(loaded.figures, "verdict").get("window_use_pct")
            yield from compare(key, name, entry, [("window use", row.window_use_pct, kept)])

    def list_gone(self) -> Iterator[Difference]:
        """List the entries whose record is no longer there."""
        for entry in self.links.gone:
            name = f"{entry.subject_kind} {entry.subject_id}"
            sentence = f"entry {entry.seq} of the log tells of it, and its record is gone"
            yield Difference(
                RecordKey(entry.subject_kind, entry.subject_id), name, sentence, entry.seq
            )

    def _spell_run(self, row: Any) -> str:
        site = self.sites[row.job_site_id]
        return f"run {row.id} of {site.designator} in {spell_job(site.job_id)}"

    def _describe_site(self, site: Any) -> dict[str, object]:
        revision = self.revisions[site.recipe_revision_id]
        return {
            "designator": site.designator,
            "recipe": revision.code,
            "revision": revision.number,
            "digest": revision.digest,
        }


def _spell_step(row: Any, site: Any) -> str:
    return f"entry {row.id} on {row.step} of {site.designator} in {spell_job(site.job_id)}"


def _get(said: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    found = said.get(name)
    return found if isinstance(found, dict) else {}
