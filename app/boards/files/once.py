"""Reads a layout's file once for the same content and choices, whoever asks, and remembers it.

A file is read before a request's transaction begins, again within it, and for the page after it;
only the first of these takes the time. Readings are frozen, and few are remembered.
"""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from hashlib import sha256
from threading import Lock
from typing import Final, TypeVar, cast

from app.boards.files.bills import BillReading
from app.boards.files.bills import read_bill_file as read_bill
from app.boards.files.choices import BillChoices, PlacementChoices
from app.boards.files.placements import PlacementReading
from app.boards.files.placements import read_placement_file as read_placement

Reading = TypeVar("Reading")

REMEMBERED: Final = 4

_guard: Final = Lock()
_readings: Final[OrderedDict[Hashable, object]] = OrderedDict()


def read_placement_file(
    content: bytes, *, choices: PlacementChoices | None = None
) -> PlacementReading:
    """Return what placements.read_placement_file does, and raise what it raises."""
    chosen = choices or PlacementChoices()
    key = ("placement", sha256(content).digest(), chosen.model_dump_json())
    return _recall(key, lambda: read_placement(content, choices=chosen))


def read_bill_file(content: bytes, *, choices: BillChoices | None = None) -> BillReading:
    """Return what bills.read_bill_file does, and raise what it raises."""
    chosen = choices or BillChoices()
    key = ("bill", sha256(content).digest(), chosen.model_dump_json())
    return _recall(key, lambda: read_bill(content, choices=chosen))


def _recall(key: Hashable, read: Callable[[], Reading]) -> Reading:
    with _guard:
        if key in _readings:
            _readings.move_to_end(key)
            return cast("Reading", _readings[key])
    reading = read()
    with _guard:
        _readings[key] = reading
        while len(_readings) > REMEMBERED:
            _readings.popitem(last=False)
    return reading
