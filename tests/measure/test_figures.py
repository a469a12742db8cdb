"""Figures are held against their targets, and spelt for people and for programs."""

import json
from io import StringIO

import pytest
from rich.console import Console

from app.measure.figure import Bound, Figure
from app.measure.report import make_table, spell_json
from app.measure.rounds import time_in_turns

FAST = Figure("writes", "rate against a bare service", 0.62, "of its rate", Bound.AT_LEAST, 0.5)
LARGE = Figure("scripts", "all scripts", 41.0, "KB", Bound.AT_MOST, 30.0)
SHOWN = Figure("writes", "one write", 2.5, "ms")


@pytest.mark.parametrize(
    ("value", "bound", "is_met"),
    [
        (0.5, Bound.AT_LEAST, True),
        (0.49, Bound.AT_LEAST, False),
        (0.5, Bound.AT_MOST, True),
        (0.51, Bound.AT_MOST, False),
    ],
)
def test_a_figure_at_its_target_meets_it(value: float, bound: Bound, *, is_met: bool) -> None:
    assert Figure("m", "w", value, "u", bound, 0.5).is_met is is_met


def test_a_figure_without_a_target_is_neither_met_nor_missed() -> None:
    assert SHOWN.is_met is None


def test_the_table_says_of_every_figure_what_it_is_and_whether_it_is_met() -> None:
    out = StringIO()
    Console(file=out, width=140).print(make_table([FAST, LARGE, SHOWN]))
    lines = [line for line in out.getvalue().splitlines() if "│" in line]
    assert [("● met" in line, "■ not met" in line) for line in lines] == [
        (True, False),
        (False, True),
        (False, False),
    ]
    assert "0.62" in lines[0]
    assert "at least 0.5" in lines[0]


def test_json_carries_the_same_figures() -> None:
    said = json.loads(spell_json([FAST, SHOWN]))
    assert [(f["value"], f["bound"], f["is_met"]) for f in said["figures"]] == [
        (0.62, "at least", True),
        (2.5, None, None),
    ]


def test_works_are_timed_in_turns_and_the_first_round_only_warms_up() -> None:
    calls: list[str] = []
    times = time_in_turns(
        {"a": lambda: calls.append("a"), "b": lambda: calls.append("b")}, rounds=2, repeats=2
    )
    assert "".join(calls) == "bbaa" + "aabb" + "bbaa"
    assert times.keys() == {"a", "b"}
