"""A worker that loses pace against its own and its fellows'."""

from __future__ import annotations

from collections.abc import Sequence

from surefoot.rig.loads.pace import PaceWatch


def played(rates: Sequence[Sequence[float]], phase: str = "dense") -> PaceWatch:
    """``rates``: of each look, of each worker, for half a second of its time."""
    watch = PaceWatch()
    done = [0.0] * len(rates[0])
    for number, row in enumerate(rates, 1):
        done = [so_far + rate * 0.5 for so_far, rate in zip(done, row, strict=True)]
        watch.look([{phase: {"matrix": [amount, 0.5 * number, number]}} for amount in done])
    return watch


def test_one_stretched_clock_is_told_with_its_worker_and_how_much():
    watch = played([[10, 10, 10]] * 6 + [[10, 5, 10]] * 2)
    assert watch.lost == {1: 0.5}
    # Within two looks, and not for one hiccup.
    assert played([[10, 10, 10]] * 6 + [[10, 5, 10]] + [[10, 10, 10]] * 3).lost == {}


def test_heat_that_lowers_the_pace_of_all_is_no_stretched_clock():
    assert played([[10, 10, 10]] * 6 + [[5, 5.2, 4.9]] * 6).lost == {}
    assert played([[10, 10, 10]] * 6 + [[7, 7, 3]] * 2).lost == {2: 0.3}


def test_a_lone_worker_is_held_to_its_own_pace():
    assert played([[10]] * 6 + [[6]] * 2).lost == {0: 0.6}
    assert played([[10]] * 6 + [[8]] * 9).lost == {}


def test_short_units_and_rests_are_not_judged():
    assert played([[10, 10]] * 6 + [[10, 1]] * 6, phase="burst").lost == {}
