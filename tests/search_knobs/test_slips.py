"""No slip is dangerous to the search itself, every run taken as it was told.

Counted are claims deeper than the true edge (one failure an hour), at most 1 in 1,000 histories. The doors before it,
more kinds of slips, and the same history without its slip: tests/guide/test_slips_are_harmless.py.
"""

from __future__ import annotations

import pytest
from slips import SLIPS, UNIT, history

from surefoot.search import Goal, assess, refusal
from surefoot.units import Setting

GOAL = Goal()


def deeper_than_the_edge(name: str, seeds: range) -> list[int]:
    found = []
    for seed in seeds:
        edge, runs = history(seed, name)
        known = assess(UNIT, runs, GOAL).known
        if known is not None and -known.setting.value("core") > edge:
            found.append(seed)
    return found


@pytest.mark.parametrize("name", sorted(SLIPS))
def test_a_slip_gets_nothing_dangerous_certified(name: str) -> None:
    assert not deeper_than_the_edge(name, range(40))


@pytest.mark.long
def test_a_slip_gets_nothing_dangerous_certified_in_thousands_of_histories() -> None:
    found = {name: deeper_than_the_edge(name, range(1000, 1600)) for name in SLIPS}
    assert sum(map(len, found.values())) <= 3, found


def test_the_guard_does_not_follow_a_slip_either() -> None:
    """A hold typed ten times too deep, contradicted by failures, is no foothold for the next setting."""
    for seed in range(40):
        edge, runs = history(seed, "contradicted")
        failed = [-run.setting.value("core") for run in runs if run.outcome != "held"]
        if failed and edge < 150:
            assert refusal(UNIT, runs, Setting(values={"core": -240}), GOAL) is not None
