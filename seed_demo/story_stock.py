"""The demo's boards, lots and recipe dates: what the jobs of the half year draw on."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Final

from seed_demo.plant import ARRAY_PARTS, SUPPLIES, list_people
from seed_demo.recipes import list_recipes
from seed_demo.story_shapes import PlannedBoard, PlannedLot, PlannedRevision
from seed_demo.working_time import ZONE, at, find_working_day

FAMOUS_SERIAL: Final = "BRL-0417"

_BOARDS_OF_ASSEMBLY: Final = (
    ("BRELNA-120", 16, "BRL-{:04d}", 402),
    ("TOVQUIN-075", 13, "TOV 118-{:02d}", 3),
    ("OSSAREL-310", 11, "OSS{:04d}K", 31),
)
_SERIAL_STEP: Final = 3
_LOTS_PER_ITEM: Final = 5
_LOT_AGE_DAYS: Final = 262
_LOT_EVERY_DAYS: Final = 52
_PARTS_KEEP_DAYS: Final = 720
# Days before the end on which revision 1, 2, 3 … were published; only the
# first lies before every job.
_PUBLISHED_DAYS: Final = (236, 148, 96, 52, 26)
_DRAFT_DAYS: Final = 9


def list_boards() -> tuple[PlannedBoard, ...]:
    """List the forty boards."""
    return tuple(
        PlannedBoard(spelling.format(first + _SERIAL_STEP * n), assembly)
        for assembly, count, spelling, first in _BOARDS_OF_ASSEMBLY
        for n in range(count)
    )


def list_lots(end: datetime) -> tuple[PlannedLot, ...]:
    """List every lot that came in before `end`, five for each supply and array part."""
    keep_days = {supply.code: supply.shelf_life_days for supply in SUPPLIES}
    items = [*keep_days, *(part.part_number for part in ARRAY_PARTS)]
    return tuple(
        _build_lot(item, place=place, turn=turn, end=end, keep_days=keep_days.get(item))
        for place, item in enumerate(items)
        for turn in range(_LOTS_PER_ITEM)
    )


def get_lot(lots: Sequence[PlannedLot], *, item: str, on: date) -> PlannedLot:
    """Return the youngest lot of an item that was in the house on a day; ValueError if none."""
    return max(
        (lot for lot in lots if lot.item == item and lot.received_on < on),
        key=lambda lot: lot.received_on,
    )


def list_revisions(end: datetime) -> tuple[PlannedRevision, ...]:
    """List the life of every recipe revision, oldest first; author and approver are never one."""
    engineers = [person.username for person in list_people("engineer")]
    planned: list[PlannedRevision] = []
    for place, recipe in enumerate(list_recipes()):
        numbers = [revision.number for revision in recipe.revisions]
        for number in numbers:
            is_draft = recipe.ends_in_draft and number == numbers[-1]
            day = end.astimezone(ZONE).date() - timedelta(days=_count_days_back(place, number))
            following = number + 1
            is_followed = following in numbers and not (
                recipe.ends_in_draft and following == numbers[-1]
            )
            next_day = end.astimezone(ZONE).date() - timedelta(
                days=_count_days_back(place, following)
            )
            drafted_on = find_working_day(
                end.astimezone(ZONE).date() - timedelta(days=_DRAFT_DAYS)
                if is_draft
                else day - timedelta(days=6)
            )
            planned.append(
                PlannedRevision(
                    recipe_code=recipe.code,
                    number=number,
                    author=engineers[(place + number) % len(engineers)],
                    approver=engineers[(place + number + 1) % len(engineers)],
                    drafted_at=at(drafted_on, 9, 5 + 3 * place),
                    proposed_at=None if is_draft else _publish_at(day, place, hours_before=4),
                    published_at=None if is_draft else _publish_at(day, place),
                    retired_at=_publish_at(next_day, place) if is_followed else None,
                )
            )
    return tuple(sorted(planned, key=lambda revision: revision.drafted_at))


def get_revision_in_force(
    revisions: Sequence[PlannedRevision], *, recipe_code: str, moment: datetime
) -> PlannedRevision:
    """Return the revision that was published and not retired; StopIteration if there was none."""
    return next(
        revision
        for revision in revisions
        if revision.recipe_code == recipe_code
        and revision.published_at is not None
        and revision.published_at < moment
        and (revision.retired_at is None or moment < revision.retired_at)
    )


def _count_days_back(place: int, number: int) -> int:
    if number > len(_PUBLISHED_DAYS):
        return 0
    return _PUBLISHED_DAYS[number - 1] - place


def _publish_at(day: date, place: int, *, hours_before: int = 0) -> datetime:
    return at(find_working_day(day), 14 - hours_before, 2 + 4 * place)


def _build_lot(
    item: str, *, place: int, turn: int, end: datetime, keep_days: int | None
) -> PlannedLot:
    age_days = _LOT_AGE_DAYS - turn * _LOT_EVERY_DAYS - place
    received_on = find_working_day(end.astimezone(ZONE).date() - timedelta(days=age_days))
    return PlannedLot(
        code=f"{item[:4]}-{3101 + 17 * place + 211 * turn}",
        item=item,
        received_on=received_on,
        expires_on=received_on + timedelta(days=keep_days or _PARTS_KEEP_DAYS),
    )
