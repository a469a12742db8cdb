"""Half a year of rework: which board comes to which bench when, and how it goes."""

import random
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from seed_demo import story_texts as texts
from seed_demo.plant import (
    BENCHES,
    REPLACED_LOGGER_BENCH,
    REPLACED_LOGGER_DIALECT,
    Bench,
    list_people,
)
from seed_demo.recipes import Recipe, list_recipes
from seed_demo.story_jobs import LONGEST_JOB, JobOrder, Twist, tell_job
from seed_demo.story_shapes import PlannedBoard, PlannedJob
from seed_demo.story_stock import (
    FAMOUS_SERIAL,
    get_revision_in_force,
    list_boards,
    list_lots,
    list_revisions,
)
from seed_demo.working_time import ZONE, at, list_working_days

JOB_COUNT: Final = 120
SPAN_DAYS: Final = 182

_FAMOUS_JOBS: Final = 8
# How many jobs each of the other boards gets: 39 boards, 112 jobs.
_JOBS_OF_OTHERS: Final = (6,) + (5,) * 4 + (4,) * 6 + (3,) * 10 + (2,) * 14 + (1,) * 4
_HALF_STARTS: Final = ((6, 15), (12, 10))
_TEAMS_A_HALF: Final = 2
_LOGGER_REPLACED_DAYS: Final = 75
_OPEN_STOPS: Final = ((0, False), (2, True), (0, True), (3, False), (5, False), (1, False))
_SCRAPPED: Final = 7
_REJECTED_AGAIN: Final = 8
_REJECTED_LAST: Final = 3
_CANCELLED: Final = 4
_REMOVED_ONLY: Final = 3
_TWISTS: Final = (
    [Twist.COOL_THEN_GOOD] * 6
    + [Twist.ABORTED_FIRST] * 4
    + [Twist.OPEN_SENSOR] * 5
    + [Twist.WARM_NEIGHBOUR] * 4
    + [Twist.WRONG_VALUE] * 6
    + [Twist.WRONG_LOT] * 4
    + [Twist.REFLOW_ONLY] * 6
    + [Twist.QUESTION_HOLD] * 5
    + [Twist.NO_CLEAN] * 4
)


@dataclass(frozen=True)
class _Fate:
    """How one job ends."""

    outcome: str | None
    twist: Twist = Twist.PLAIN
    stops_after: int = 0
    waits: bool = False


def plan_jobs(end: datetime) -> tuple[PlannedJob, ...]:
    """Plan 120 jobs over the 182 days before `end`, in the order of their opening.

    The same for the same `end`; nothing lies at or after it. ValueError if `end` has no zone.
    """
    if end.tzinfo is None:
        raise ValueError("end must carry its offset")
    queue = _queue_boards()
    fates = _cast_fates(queue)
    slots = _pick_slots(end)
    lots = list_lots(end)
    orders = _write_orders(queue, fates, slots, end=end)
    jobs = [tell_job(order, lots) for order in orders]
    return tuple(sorted(jobs, key=lambda job: job.opened_at))


def _queue_boards() -> list[PlannedBoard]:
    """Every board as often as it has jobs, each board's turns spread over the whole."""
    dice = _roll("queue")
    boards = list_boards()
    counts = list(_JOBS_OF_OTHERS)
    dice.shuffle(counts)
    turns: list[tuple[float, PlannedBoard]] = []
    for board in boards:
        count = _FAMOUS_JOBS if board.serial == FAMOUS_SERIAL else counts.pop()
        phase = dice.uniform(0.05, 0.95)
        turns += [((turn + phase) / count, board) for turn in range(count)]
    return [board for _, board in sorted(turns, key=lambda turn: (turn[0], turn[1].serial))]


def _cast_fates(queue: Sequence[PlannedBoard]) -> list[_Fate]:
    dice = _roll("fates")
    last_of = {board.serial: place for place, board in enumerate(queue)}
    lasts = sorted(last_of.values())
    others = [place for place in range(len(queue)) if place not in last_of.values()]
    fates = {
        place: _Fate(None, stops_after=stops, waits=waits)
        for place, (stops, waits) in zip(lasts[-len(_OPEN_STOPS) :], _OPEN_STOPS, strict=True)
    }
    lasts = [place for place in lasts if place not in fates]
    scrapped = dice.sample([n for n in lasts if queue[n].serial != FAMOUS_SERIAL], _SCRAPPED)
    for turn, place in enumerate(scrapped):
        fates[place] = _Fate("scrapped", (Twist.HOT, Twist.PADS_LOST)[turn % 2])
    lasts = [place for place in lasts if place not in fates]
    rejected = dice.sample(others, _REJECTED_AGAIN) + dice.sample(lasts, _REJECTED_LAST)
    for turn, place in enumerate(rejected):
        fates[place] = _Fate("rejected", (Twist.COOL, Twist.VOIDS)[turn % 2])
    for place in dice.sample([n for n in lasts if n not in fates], _REMOVED_ONLY):
        fates[place] = _Fate("accepted", Twist.REMOVE_ONLY)
    after_rejected = {_find_next(queue, place) for place in rejected}
    calm = [n for n in others if n not in fates and n not in after_rejected]
    for place in dice.sample(calm, _CANCELLED):
        fates[place] = _Fate("cancelled")
    twists = list(_TWISTS)
    rest = [place for place in range(len(queue)) if place not in fates]
    twists += [Twist.PLAIN] * (len(rest) - len(twists))
    dice.shuffle(twists)
    for place, twist in zip(rest, twists, strict=True):
        fates[place] = _Fate("accepted", twist)
    return [fates[place] for place in range(len(queue))]


def _find_next(queue: Sequence[PlannedBoard], place: int) -> int | None:
    return next((n for n in range(place + 1, len(queue)) if queue[n] == queue[place]), None)


def _pick_slots(end: datetime) -> list[tuple[date, int]]:
    """Halves of working days, at most two teams in each, all over well before `end`."""
    today = end.astimezone(ZONE).date()
    days = list_working_days(today - timedelta(days=SPAN_DAYS), today)
    free = [
        (day, half)
        for day in days
        for half, start in enumerate(_HALF_STARTS)
        if at(day, *start) + LONGEST_JOB < end
        for _ in range(_TEAMS_A_HALF)
    ]
    return sorted(_roll("slots").sample(free, JOB_COUNT))


def _write_orders(
    queue: Sequence[PlannedBoard],
    fates: Sequence[_Fate],
    slots: Sequence[tuple[date, int]],
    *,
    end: datetime,
) -> list[JobOrder]:
    dice = _roll("orders")
    recipes = list_recipes()
    revisions = list_revisions(end)
    engineers = [person.username for person in list_people("engineer")]
    operators = [person.username for person in list_people("operator")]
    before: dict[str, JobOrder] = {}
    busy: set[tuple[date, int, str]] = set()
    orders: list[JobOrder] = []
    for place, (board, fate, (day, half)) in enumerate(zip(queue, fates, slots, strict=True)):
        starts_at = at(day, *_HALF_STARTS[half])
        previous = before.get(board.serial)
        is_again = previous is not None and previous.outcome == "rejected"
        recipe = previous.recipe if previous and is_again else _pick_recipe(board, recipes, dice)
        bench = _pick_bench(recipe, {code for d, h, code in busy if (d, h) == (day, half)}, dice)
        busy.add((day, half, bench.code))
        team = day.toordinal() + BENCHES.index(bench)
        operator = operators[team % len(operators)]
        order = JobOrder(
            number=place + 1,
            board=board,
            designators=_pick_designators(recipe, previous if is_again else None, dice),
            recipe=recipe,
            revision=get_revision_in_force(
                revisions, recipe_code=recipe.code, moment=starts_at
            ).number,
            reason=texts.AGAIN_BECAUSE if is_again else dice.choice(texts.OPENED_BECAUSE),
            bench=bench,
            dialect=_pick_dialect(bench, day=day, end=end),
            operator=operator,
            engineer=dice.choice([name for name in engineers if name != operator]),
            starts_at=starts_at,
            outcome=fate.outcome,
            twist=fate.twist,
            stops_after=fate.stops_after,
            waits=fate.waits,
        )
        before[board.serial] = order
        orders.append(order)
    return orders


def _pick_recipe(board: PlannedBoard, recipes: Sequence[Recipe], dice: random.Random) -> Recipe:
    return dice.choice([r for r in recipes if r.assembly_part_number == board.assembly_part_number])


def _pick_bench(recipe: Recipe, taken: set[str], dice: random.Random) -> Bench:
    needs_nitrogen = recipe.assembly_part_number == "OSSAREL-310"
    return dice.choice(
        [
            bench
            for bench in BENCHES
            if bench.code not in taken and (bench.has_nitrogen or not needs_nitrogen)
        ]
    )


def _pick_designators(
    recipe: Recipe, previous: JobOrder | None, dice: random.Random
) -> tuple[str, ...]:
    if previous is not None:
        return previous.designators
    if len(recipe.designators) == 1:
        return recipe.designators
    # Where one fails its twin is often reworked with it.
    singles = [(name,) for name in recipe.designators]
    return dice.choice([recipe.designators, recipe.designators, *singles])


def _pick_dialect(bench: Bench, *, day: date, end: datetime) -> str:
    replaced_on = end.astimezone(ZONE).date() - timedelta(days=_LOGGER_REPLACED_DAYS)
    is_replaced = bench.code == REPLACED_LOGGER_BENCH and day >= replaced_on
    return REPLACED_LOGGER_DIALECT if is_replaced else bench.dialect


def _roll(purpose: str) -> random.Random:
    return random.Random(f"the half year: {purpose}")  # noqa: S311 (no secret)
