"""Tells one job from its order: steps, runs, holds and corrections, minute by minute."""

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Final, cast

from seed_demo import story_texts as texts
from seed_demo.plant import ARRAY_PARTS, Bench
from seed_demo.recipes import Body, Recipe, get_value
from seed_demo.story_shapes import (
    PlannedBoard,
    PlannedCorrection,
    PlannedHold,
    PlannedInspection,
    PlannedJob,
    PlannedLot,
    PlannedRun,
    PlannedStep,
    Values,
)
from seed_demo.story_stock import get_lot
from seed_demo.thermal_model import Variant

STEP_KINDS: Final = ("remove", "dress", "deposit", "place", "reflow", "clean", "inspect")
LONGEST_JOB: Final = timedelta(hours=5, minutes=45)

_MINUTES: Final = {
    "remove": 22, "dress": 14, "deposit": 7, "place": 6, "reflow": 18, "clean": 12, "inspect": 24,
}  # fmt: skip
_HOLD_MINUTES: Final = 34
_RUN_SIGNED_AFTER: Final = timedelta(minutes=9)
_SCRAPPED: Final = "scrapped"


class Twist(StrEnum):
    """What is particular about a job."""

    PLAIN = "plain"
    COOL_THEN_GOOD = "cool, then good"
    ABORTED_FIRST = "aborted first"
    OPEN_SENSOR = "open sensor"
    WARM_NEIGHBOUR = "warm neighbour"
    WRONG_VALUE = "wrong value"
    WRONG_LOT = "wrong lot"
    REFLOW_ONLY = "reflow only"
    REMOVE_ONLY = "remove only"
    QUESTION_HOLD = "question"
    NO_CLEAN = "no cleaning"
    COOL = "cool"
    VOIDS = "voids"
    HOT = "hot"
    PADS_LOST = "pads lost"


@dataclass(frozen=True)
class JobOrder:
    """What is known of a job before it is told; `stops_after` steps where it is still open."""

    number: int
    board: PlannedBoard
    designators: tuple[str, ...]
    recipe: Recipe
    revision: int
    reason: str
    bench: Bench
    dialect: str
    operator: str
    engineer: str
    starts_at: datetime
    outcome: str | None
    twist: Twist
    stops_after: int = 0
    waits: bool = False


_REFLOW_VARIANTS: Final = {
    Twist.COOL_THEN_GOOD: (Variant.COOL, Variant.NORMAL),
    Twist.OPEN_SENSOR: (Variant.OPEN_SENSOR,),
    Twist.WARM_NEIGHBOUR: (Variant.WARM_NEIGHBOUR,),
    Twist.COOL: (Variant.COOL,),
    Twist.HOT: (Variant.HOT,),
}
_HOLD_ON_REFLOW: Final = {
    Twist.COOL_THEN_GOOD: (texts.HOLD_COOL, texts.LIFT_COOL),
    Twist.WARM_NEIGHBOUR: (texts.HOLD_WARM, texts.LIFT_WARM),
    Twist.HOT: (texts.HOLD_HOT, texts.LIFT_HOT),
}
_SKIPS: Final = {
    Twist.REFLOW_ONLY: (("remove", "dress", "place"), texts.REFLOW_ONLY),
    Twist.REMOVE_ONLY: (("deposit", "place", "reflow"), texts.REMOVE_ONLY),
    Twist.NO_CLEAN: (("clean",), texts.NO_CLEAN_NEEDED),
    Twist.PADS_LOST: (("deposit", "place", "reflow", "clean"), texts.PADS_LOST),
    Twist.HOT: (("clean",), texts.LIFT_HOT),
}
# Why a job is accepted although its last reflow was not inside its window.
_ACCEPTED_ALTHOUGH: Final = {
    Twist.OPEN_SENSOR: texts.ACCEPTED_OPEN,
    Twist.WARM_NEIGHBOUR: texts.ACCEPTED_WARM,
    Twist.REMOVE_ONLY: texts.ACCEPTED_EMPTY,
}


def tell_job(order: JobOrder, lots: Sequence[PlannedLot]) -> PlannedJob:
    """Tell a job from opening to closing; the same for the same order."""
    return _Teller(order, lots).tell()


class _Teller:
    """Holds the clock of one job while it is told."""

    def __init__(self, order: JobOrder, lots: Sequence[PlannedLot]) -> None:
        self.order = order
        self.lots = lots
        self.dice = random.Random(f"job {order.number}")  # noqa: S311 (no secret)
        self.now = order.starts_at
        self.body: Body = order.recipe.revisions[order.revision - 1].body
        self.steps: list[PlannedStep] = []
        self.holds: list[PlannedHold] = []
        self.corrections: list[PlannedCorrection] = []
        self.run_count = 0

    def tell(self) -> PlannedJob:
        order = self.order
        self._pass_minutes(self.dice.randint(0, 15))
        opened_at = self.now
        is_untouched = order.outcome is None and order.stops_after == 0 and not order.waits
        cleared_at = None if is_untouched or order.outcome == "cancelled" else self._clear()
        if order.outcome != "cancelled":
            self._work()
        closed_at = None
        if order.outcome is not None:
            self._pass_minutes(4)
            closed_at = self.now
        is_engineers = order.outcome in {"rejected", _SCRAPPED}
        return PlannedJob(
            number=order.number,
            serial=order.board.serial,
            assembly_part_number=order.board.assembly_part_number,
            designators=order.designators,
            recipe_code=order.recipe.code,
            recipe_revision=order.revision,
            reason=order.reason,
            reference=f"RW {order.starts_at:%y}/{1000 + order.number}",
            bench=order.bench.code,
            operator=order.operator,
            opened_at=opened_at,
            cleared_at=cleared_at,
            steps=tuple(self.steps),
            holds=tuple(self.holds),
            corrections=tuple(self.corrections),
            outcome=order.outcome,
            closed_at=closed_at,
            closed_by=None
            if closed_at is None
            else (order.engineer if is_engineers else order.operator),
            closing_remark=self._spell_closing(),
        )

    def _clear(self) -> datetime:
        self._pass_minutes(5)
        return self.now

    def _work(self) -> None:
        if self.order.twist is Twist.QUESTION_HOLD:
            self._hold(texts.HOLD_QUESTION, texts.LIFT_QUESTION)
        lines = [(site, kind) for site in self.order.designators for kind in STEP_KINDS]
        if self.order.outcome is None:
            lines = lines[: self.order.stops_after]
        for designator, kind in lines:
            self._do_step(designator, kind)
        if self.order.waits:
            self._pass_minutes(2)
            self.holds.append(PlannedHold(self.now, self.order.operator, texts.HOLD_WAITING))
        if self.order.twist in {Twist.WRONG_VALUE, Twist.WRONG_LOT}:
            self._write_wrong_and_correct()

    def _do_step(self, designator: str, kind: str) -> None:
        kinds, reason = _SKIPS.get(self.order.twist, ((), ""))
        if kind in kinds:
            self._pass_minutes(1)
            self.steps.append(PlannedStep(designator, kind, self.now, skipped_because=reason))
            return
        begun_at = self.now
        runs = self._heat(kind) if kind in {"remove", "reflow"} else ()
        self._pass_minutes(_MINUTES[kind] + self.dice.randint(-2, 2), since=begun_at)
        inspection = self._inspect() if kind == "inspect" else None
        self.steps.append(
            PlannedStep(
                designator,
                kind,
                self.now,
                values=self._list_values(kind),
                lots=self._list_lots(kind),
                remark=self._spell_remark(kind),
                runs=runs,
                inspection=inspection,
            )
        )

    def _heat(self, kind: str) -> tuple[PlannedRun, ...]:
        variants: tuple[Variant, ...] = (Variant.NORMAL,)
        if kind == "remove" and self.order.twist is Twist.ABORTED_FIRST:
            variants = (Variant.ABORTED, Variant.NORMAL)
        if kind == "reflow":
            variants = _REFLOW_VARIANTS.get(self.order.twist, variants)
        runs: list[PlannedRun] = []
        for variant in variants:
            self._pass_minutes(3)
            self.run_count += 1
            seconds = self.dice.randint(0, 59)
            runs.append(
                PlannedRun(
                    started_at=self.now + timedelta(seconds=seconds),
                    variant=variant,
                    seed=self.order.number * 100 + self.run_count,
                    dialect=self.order.dialect,
                    sample_rate_hz=self.order.bench.sample_rate_hz,
                )
            )
            self.now += _RUN_SIGNED_AFTER
            if variant is not Variant.NORMAL and self.order.twist in _HOLD_ON_REFLOW:
                self._hold(*_HOLD_ON_REFLOW[self.order.twist])
        return tuple(runs)

    def _hold(self, reason: str, lift_reason: str) -> None:
        self._pass_minutes(1)
        placed_at = self.now
        self._pass_minutes(_HOLD_MINUTES)
        self.holds.append(
            PlannedHold(
                placed_at, self.order.operator, reason, self.now, self.order.engineer, lift_reason
            )
        )
        self._pass_minutes(2)

    def _inspect(self) -> PlannedInspection:
        if self.order.twist in {Twist.PADS_LOST, Twist.HOT, Twist.REMOVE_ONLY}:
            is_scrap = self.order.outcome == _SCRAPPED
            return PlannedInspection(not is_scrap, None, electrical_passed=not is_scrap)
        if self.order.twist is Twist.VOIDS:
            void_pct = round(self.dice.uniform(33, 44), 1)
            return PlannedInspection(visual_passed=True, void_pct=void_pct, electrical_passed=True)
        void_pct = round(self.dice.uniform(5, 21), 1)
        is_good = self.order.twist is not Twist.COOL
        return PlannedInspection(is_good, void_pct, electrical_passed=is_good)

    def _list_values(self, kind: str) -> Values:
        return {
            name: _spell(get_value(self.body, path))
            for name, path in _VALUES_OF_STEP.get(kind, {}).items()
            if _is_given(self.body, path)
        }

    def _list_lots(self, kind: str) -> tuple[str, ...]:
        deposit = get_value(self.body, "deposit.kind")
        items = {
            "dress": ("TARNBRAID", "MIRECLAR"),
            "deposit": ("STRANDOLIN-4",) if deposit == "paste" else ("HALVQUILL-T",),
            "place": (self.order.recipe.part_number,),
            "clean": ("MIRECLAR",),
        }.get(kind, ())
        return tuple(get_lot(self.lots, item=item, on=self.now.date()).code for item in items)

    def _spell_remark(self, kind: str) -> str:
        if kind == "remove" and self.order.twist is Twist.ABORTED_FIRST:
            return texts.ABORTED_REMARK
        if kind == "reflow" and self.order.twist is Twist.OPEN_SENSOR:
            return texts.OPEN_REMARK
        if kind == "dress" and self.order.twist is Twist.PADS_LOST:
            return texts.PADS_LOST
        return ""

    def _write_wrong_and_correct(self) -> None:
        kind = "dress" if self.order.twist is Twist.WRONG_VALUE else "place"
        place = next(n for n, step in enumerate(self.steps) if step.kind == kind)
        right = self.steps[place]
        if kind == "dress":
            tip_c = cast("float", right.values["tip_temperature_c"])
            wrong_values = {**right.values, "tip_temperature_c": tip_c - 27}
            wrong = replace(right, values=wrong_values)
            reason = texts.TYPED_WRONG
        else:
            other = next(p for p in ARRAY_PARTS if p.part_number != self.order.recipe.part_number)
            lot = get_lot(self.lots, item=other.part_number, on=right.signed_at.date())
            wrong = replace(right, lots=(lot.code,))
            reason = texts.SCANNED_WRONG
        self.steps[place] = wrong
        self._pass_minutes(3)
        self.corrections.append(
            PlannedCorrection(
                place, self.now, self.order.operator, right.values, right.lots, reason
            )
        )

    def _spell_closing(self) -> str:
        if self.order.outcome is None:
            return ""
        if self.order.outcome == "cancelled":
            return self.dice.choice(texts.CANCELLED_BECAUSE)
        if self.order.outcome == "accepted" and self.order.twist in _ACCEPTED_ALTHOUGH:
            return _ACCEPTED_ALTHOUGH[self.order.twist]
        return texts.CLOSED_AS[self.order.outcome]

    def _pass_minutes(self, minutes: int, *, since: datetime | None = None) -> None:
        then = (since or self.now) + timedelta(minutes=minutes)
        self.now = max(then, self.now + timedelta(minutes=1))


_VALUES_OF_STEP: Final = {
    "remove": {
        "nozzle": "tooling.nozzle",
        "vacuum_cup": "tooling.vacuum_cup",
        "head_height": "head_heights.removal",
    },
    "dress": {"tip": "site_dressing.tip", "tip_temperature_c": "site_dressing.tip_temperature_c"},
    "deposit": {
        "depth": "deposit.depth",
        "dwell_s": "deposit.dwell_s",
        "foil_thickness": "deposit.foil_thickness",
    },
    "place": {"vacuum_cup": "tooling.vacuum_cup", "force_n": "placement.force_n"},
    "reflow": {"nozzle": "tooling.nozzle", "head_height": "head_heights.reflow"},
    "clean": {"method": "cleaning.method"},
}


def _is_given(body: Body, path: str) -> bool:
    try:
        return get_value(body, path) is not None
    except KeyError:
        return False


def _spell(value: object) -> str | float:
    if isinstance(value, dict):
        return f"{value['value']} {value['unit']}"
    return value if isinstance(value, int | float) else str(value)
