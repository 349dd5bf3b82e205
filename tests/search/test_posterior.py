"""What may be claimed: bounds that move the right way, and curves that agree with them."""

from __future__ import annotations

import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from how_many import examples
from surefoot.search import Evidence, Goal, certify, edge_posterior, next_step, strategies
from surefoot.search.posterior import posterior
from surefoot.units import Knob

KNOB = Knob("core", "cpu", "mV", "down", 5, 250)
GOAL = Goal()

pieces = st.builds(
    Evidence,
    depth=st.sampled_from([0.0, 20.0, 40.0, 60.0, 75.0, 80.0, 95.0, 100.0, 103.3, 120.0, 140.0]),
    minutes=st.sampled_from([0.0, 0.1, 1.0, 4.0, 30.0, 600.0]),
    failed=st.booleans(),
    timed=st.booleans(),
)
histories = st.lists(pieces, max_size=8)


def bound(history: list[Evidence], depth: float) -> float:
    return posterior(KNOB, history, GOAL).mttf_bound(depth, GOAL)


@settings(max_examples=examples(500), deadline=None)
@given(
    history=histories,
    depth=st.sampled_from([20.0, 80.0, 97.5, 120.0]),
    minutes=st.floats(0, 600),
    more=st.floats(0, 6000),
)
def test_holding_longer_never_lowers_the_claim(
    history: list[Evidence], depth: float, minutes: float, more: float
) -> None:
    shorter = bound([*history, Evidence(depth, minutes, False)], depth)
    longer = bound([*history, Evidence(depth, minutes + more, False)], depth)
    assert longer >= shorter * (1 - 1e-9)


@settings(max_examples=examples(500), deadline=None)
@given(
    history=histories,
    depth=st.sampled_from([20.0, 80.0, 97.5, 120.0]),
    minutes=st.floats(0.01, 600),
    share=st.floats(0, 1),
    timed=st.booleans(),
)
def test_a_failure_in_place_of_a_pass_never_raises_the_claim(
    history: list[Evidence], depth: float, minutes: float, share: float, timed: bool
) -> None:
    passed = bound([*history, Evidence(depth, minutes, False)], depth)
    failed = bound([*history, Evidence(depth, minutes * share, True, timed=timed)], depth)
    assert failed <= passed * (1 + 1e-9)


@settings(max_examples=examples(200), deadline=None)
@given(history=histories)
def test_what_is_certified_meets_the_goal_and_was_held(history: list[Evidence]) -> None:
    known = certify(KNOB, history, GOAL)
    if known is None:
        return
    assert known.mttf_hours >= GOAL.mttf_hours * 0.97  # the grid's cell is 1.25 mV
    assert known.depth <= max(piece.depth for piece in history if not piece.failed)
    assert known.depth % KNOB.step == 0
    assert known.hours >= 0 and known.failures >= 0


def test_nothing_is_certified_on_no_evidence() -> None:
    assert certify(KNOB, [], GOAL) is None


def test_a_long_soak_tells_what_soaking_can() -> None:
    # 230.26 h without a failure claim 100 h at 90 % by soaking alone (chi-square, 2 degrees; NIST/SEMATECH e-Handbook).
    # The prior knows that hazards of hundreds an hour are as possible as tiny ones, so it must claim no less.
    assert bound([Evidence(0, 2, False), Evidence(100, 230.26 * 60, False)], 100.0) >= 100.0


def test_curves_agree_with_each_other() -> None:
    history = [Evidence(0, 2, False), Evidence(80, 4, False), Evidence(100, 4, False), Evidence(110, 1, True)]
    curves = edge_posterior(KNOB, history, GOAL)
    assert curves.depths.shape == curves.mttf_low.shape == curves.edge_density.shape == curves.goal_density.shape
    assert np.all(curves.mttf_low <= curves.mttf_median) and np.all(curves.mttf_median <= curves.mttf_high)
    assert np.all(np.diff(curves.mttf_median) <= 1e-9)
    assert np.trapezoid(curves.edge_density, curves.depths) == pytest.approx(1.0, abs=0.03)
    assert curves.failure_chance(60, 5) < curves.failure_chance(100, 5) < curves.failure_chance(130, 5)
    assert curves.failure_chance(100, 5) < curves.failure_chance(100, 50)


def test_the_order_matters_to_the_rules_only() -> None:
    history = [Evidence(0, 2, False), Evidence(80, 4, False), Evidence(100, 1, True)]
    assert np.allclose(posterior(KNOB, history, GOAL).weight, posterior(KNOB, history[::-1], GOAL).weight)


def test_a_failure_within_a_heartbeat_speaks_for_a_higher_hazard() -> None:
    start = [Evidence(0, 2, False), Evidence(80, 4, False)]
    sooner = posterior(KNOB, [*start, Evidence(100, 0.0, True)], GOAL).goal_quantile(0.5)
    later = posterior(KNOB, [*start, Evidence(100, 30.0, True)], GOAL).goal_quantile(0.5)
    assert sooner < later


def test_all_product_strategies_are_in_the_registry() -> None:
    assert set(strategies()) >= {"posterior", "ladder", "bisection"}


def test_a_proposal_does_not_take_long_whatever_the_evidence() -> None:
    # Not a timed test of the machine: fifty times the 50 ms that the search is held to (tests/benchmarks).
    rng = np.random.default_rng(5)
    history = [Evidence(0, 2, False)]
    history += [Evidence(float(rng.integers(4, 20) * 5), float(rng.uniform(1, 60)), False) for _ in range(99)]
    started = time.perf_counter()
    next_step(KNOB, history, GOAL)
    assert time.perf_counter() - started < 2.5
