"""Compares pieces of work fairly: in turns, so that a slow moment of the machine meets them all."""

from collections.abc import Callable, Mapping
from statistics import median
from time import perf_counter


def time_in_turns(
    works: Mapping[str, Callable[[], object]], *, rounds: int, repeats: int
) -> dict[str, float]:
    """Return the median time in s of one repeat of each work.

    Each round runs every work `repeats` times in a row; the order turns from round to round. One
    round ahead of them warms up and is not counted.
    """
    names = list(works)
    times: dict[str, list[float]] = {name: [] for name in names}
    for number in range(rounds + 1):
        for name in names if number % 2 else reversed(names):
            began = perf_counter()
            for _ in range(repeats):
                works[name]()
            if number:
                times[name].append((perf_counter() - began) / repeats)
    return {name: median(found) for name, found in times.items()}
