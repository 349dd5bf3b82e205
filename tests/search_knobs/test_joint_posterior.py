"""The exact sharing of joint runs, against a plain sum over every combination of grid points."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from knobs_bench import PlainReckoning, Shared, run_of, runs_from, unit_of

from how_many import examples
from surefoot.runs import Outcome
from surefoot.search import Evidence, Goal, run_evidence
from surefoot.search.joint import MOST_TERMS, JointPosterior
from surefoot.search.posterior import posterior
from surefoot.search.run_evidence import read_runs
from surefoot.units import Knob

GOAL = Goal()
# Small limits keep the sum over all combinations small; nothing else is special about them.
A = Knob("a", "cpu", "mV", "down", 5, 40)
B = Knob("b", "gpu", "mV", "down", 5, 30)
TINY = tuple(Knob(name, name, "mV", "down", 5, 10) for name in "pqr")

HISTORIES = {
    "passes only": [({}, 2, "held"), ({"a": 20}, 5, "held"), ({"a": 20, "b": 15}, 60, "held")],
    "one shared failure": [({}, 2, "held"), ({"a": 20, "b": 15}, 3, "failed")],
    "shared, then one knob cleared": [
        ({}, 2, "held"),
        ({"a": 20, "b": 15}, 3, "failed"),
        ({"a": 20}, 120, "held"),
    ],
    "found late": [({}, 2, "held"), ({"a": 25, "b": 10}, 30, "found"), ({"a": 15, "b": 10}, 30, "held")],
    "several, mixed": [
        ({}, 2, "held"),
        ({"a": 30}, 1, "failed"),
        ({"a": 20, "b": 20}, 4, "failed"),
        ({"a": 20, "b": 10}, 15, "held"),
        ({"a": 15, "b": 25}, 0, "failed"),
        ({"a": 15, "b": 20}, 45, "found"),
        ({"a": 25, "b": 15}, 12, "failed"),
        ({"a": 10, "b": 15}, 30, "held"),
    ],
}


@pytest.mark.parametrize("history", HISTORIES.values(), ids=HISTORIES.keys())
def test_agrees_with_summing_over_all_combinations(history):
    # Source: competing risks, Cox and Oakes, Analysis of Survival Data (1984), ch. 9, written out in PlainReckoning.
    unit = unit_of(A, B)
    plain = PlainReckoning((A, B), history, GOAL)
    joint = JointPosterior(unit.leaders(), read_runs(unit, runs_from(unit, history)).counted, GOAL)
    assert joint.exact
    for name in "ab":
        assert np.allclose(joint.marginal(name).weight.ravel(), plain.marginal(name), rtol=1e-8, atol=1e-14)
    for depths in ({"a": 10.0}, {"a": 10.0, "b": 5.0}, {"a": 20.0, "b": 15.0}):
        assert joint.failure_chance(depths, 30) == pytest.approx(plain.failure_chance(depths, 30), rel=1e-8)
        # Never too hopeful, and within what one bin of the hazard can move.
        exact = plain.chance_meets(depths)
        assert exact - 0.02 <= joint.chance_meets(depths) <= exact + 1e-9


def test_agrees_for_three_knobs():
    history: list[Shared] = [
        ({}, 2, "held"),
        ({"p": 10, "q": 5, "r": 5}, 2, "failed"),
        ({"p": 5, "q": 5}, 20, "held"),
        ({"p": 5, "q": 10, "r": 10}, 6, "failed"),
        ({"q": 10, "r": 5}, 25, "found"),
    ]
    unit = unit_of(*TINY)
    plain = PlainReckoning(TINY, history, GOAL)
    joint = JointPosterior(unit.leaders(), read_runs(unit, runs_from(unit, history)).counted, GOAL)
    for knob in TINY:
        assert np.allclose(joint.marginal(knob.name).weight.ravel(), plain.marginal(knob.name), rtol=1e-8, atol=1e-14)
    depths = {"p": 5.0, "q": 5.0, "r": 5.0}
    assert joint.failure_chance(depths, 10) == pytest.approx(plain.failure_chance(depths, 10), rel=1e-8)
    exact = plain.chance_meets(depths)
    assert exact - 0.03 <= joint.chance_meets(depths) <= exact + 1e-9


endings = st.sampled_from(["held", "failed", "found"])
pieces = st.tuples(
    st.fixed_dictionaries(
        {"a": st.integers(0, 8).map(lambda n: 5.0 * n), "b": st.integers(0, 6).map(lambda n: 5.0 * n)}
    ),
    st.floats(0.5, 90),
    endings,
)


@settings(max_examples=40, deadline=None)
@given(st.lists(pieces, max_size=6))
def test_agrees_for_any_history(history):
    history = [piece for piece in history if any(piece[0].values()) or piece[2] == "held"]
    unit = unit_of(A, B)
    plain = PlainReckoning((A, B), history, GOAL)
    joint = JointPosterior(unit.leaders(), read_runs(unit, runs_from(unit, history)).counted, GOAL)
    for name in "ab":
        assert np.allclose(joint.marginal(name).weight.ravel(), plain.marginal(name), rtol=1e-6, atol=1e-12)


@settings(max_examples=examples(100), deadline=None)
@given(st.lists(st.tuples(st.integers(0, 8), st.floats(0.5, 200), endings), max_size=8))
def test_with_the_others_at_stock_it_is_the_single_knob_posterior(history):
    unit = unit_of(A, B)
    history = [({"a": 5.0 * n}, minutes, ending) for n, minutes, ending in history if n or ending == "held"]
    runs = runs_from(unit, history)
    evidence = [
        Evidence(depths["a"], minutes, ending != "held", ending != "found") for depths, minutes, ending in history
    ]
    joint = JointPosterior(unit.leaders(), read_runs(unit, runs).counted, GOAL)
    assert np.allclose(joint.marginal("a").weight, posterior(A, evidence, GOAL).weight, rtol=1e-9, atol=1e-300)
    assert [(e.depth, e.minutes, e.failed, e.timed) for e in run_evidence(unit, runs, A)] == [
        (e.depth, e.minutes, e.failed, e.timed) for e in evidence
    ]


def test_a_failure_is_blamed_on_the_knob_that_was_deep():
    unit = unit_of(A, B)
    history: list[Shared] = [
        ({}, 2, "held"),
        ({"a": 10}, 240, "held"),
        ({"a": 10, "b": 25}, 1, "failed"),
        ({"a": 10, "b": 20}, 30, "held"),
    ]
    runs = runs_from(unit, history)
    joint = JointPosterior(unit.leaders(), read_runs(unit, runs).counted, GOAL)
    shares = joint.blame[3]
    assert sum(shares.values()) == pytest.approx(1)
    assert shares["b"] > 0.5
    assert shares["a"] < 0.03
    assert [piece.failed for piece in run_evidence(unit, runs, A)] == [False, False, False]
    assert [piece.failed for piece in run_evidence(unit, runs, "b")] == [False, False, True, False]


def test_slow_is_never_blamed_on_a_voltage():
    volts = Knob("volts", "gpu", "mV", "down", 5, 100)
    clock = Knob("clock", "gpu", "MHz", "up", 50, 1000)
    unit = unit_of(volts, clock)
    runs = [
        run_of(1, {}, 2),
        run_of(2, {"volts": -80, "clock": 50}, 10, Outcome.SLOW),
        run_of(3, {"volts": -80}, 10, Outcome.SLOW),
        run_of(4, {}, 10, Outcome.SLOW),
    ]
    read = read_runs(unit, runs)
    joint = JointPosterior(unit.leaders(), read.counted, GOAL)
    assert joint.blame == {}
    assert run_evidence(unit, runs, volts) == (Evidence(0, 2, False),)
    assert run_evidence(unit, runs, clock) == (Evidence(0, 2, False), Evidence(50, 10, True, True, True))
    assert read.left_out == {"slow with no clock knob off stock, which says nothing": 2}


def test_a_joint_pass_counts_for_every_knob():
    unit = unit_of(A, B)
    before = runs_from(unit, [({}, 2, "held"), ({"a": 10}, 5, "held"), ({"b": 10}, 5, "held")])
    after = [*before, run_of(4, {"a": -10, "b": -10}, 600)]
    low, high = (JointPosterior(unit.leaders(), read_runs(unit, runs).counted, GOAL) for runs in (before, after))
    for name in "ab":
        assert high.marginal(name).chance_meets(10) > low.marginal(name).chance_meets(10)


def test_many_shared_failures_are_shared_out_in_bounded_time_and_said_so():
    unit = unit_of(*TINY, Knob("s", "s", "mV", "down", 5, 10))
    runs = [run_of(1, {}, 2)] + [
        run_of(n, {"p": -10, "q": -5, "r": -5, "s": -5}, 1 + n, Outcome.RESET) for n in range(2, 14)
    ]
    joint = JointPosterior(unit.leaders(), read_runs(unit, runs).counted, GOAL)
    assert joint.terms <= MOST_TERMS
    assert not joint.exact
    assert all(sum(shares.values()) == pytest.approx(1) for shares in joint.blame.values())
    assert all(np.isfinite(joint.marginal(knob.name).weight).all() for knob in unit.leaders())


@settings(max_examples=examples(60), deadline=None)
@given(st.lists(pieces, max_size=6), st.floats(1, 300))
def test_holding_a_joint_setting_never_lowers_what_is_claimed_for_it(history, minutes):
    history = [piece for piece in history if any(piece[0].values()) or piece[2] == "held"]
    unit = unit_of(A, B)
    runs = runs_from(unit, history)
    more = [*runs, run_of(50, {"a": -15, "b": -10}, minutes)]
    before, after = (JointPosterior(unit.leaders(), read_runs(unit, some).counted, GOAL) for some in (runs, more))
    depths = {"a": 15.0, "b": 10.0}
    assert after.chance_meets(depths) >= before.chance_meets(depths) - 2e-3


@settings(max_examples=examples(60), deadline=None)
@given(
    st.lists(pieces.filter(lambda piece: piece[2] == "held" or 0.0 in piece[0].values()), max_size=6),
    st.integers(0, 8),
    st.integers(0, 6),
    st.floats(1, 300),
)
def test_a_joint_pass_never_lowers_any_knob_where_each_failure_had_one_cause(history, a, b, minutes):
    history = [piece for piece in history if any(piece[0].values()) or piece[2] == "held"]
    unit = unit_of(A, B)
    runs = runs_from(unit, history)
    more = [*runs, run_of(50, {"a": -5.0 * a, "b": -5.0 * b}, minutes)]
    before, after = (JointPosterior(unit.leaders(), read_runs(unit, some).counted, GOAL) for some in (runs, more))
    # At the depth it held, that is: a pass deeper than an earlier failure may tell of a softer edge, and so of less
    # room far behind it.
    for name, depth in (("a", 5.0 * a), ("b", 5.0 * b)):
        assert after.marginal(name).chance_meets(depth) >= before.marginal(name).chance_meets(depth) - 1e-12


def test_clearing_one_knob_of_a_shared_failure_turns_the_blame_on_the_other():
    """Where a failure was shared, a pass of one knob alone may rightly lower what is claimed of the other."""
    unit = unit_of(A, B)
    shared: list[Shared] = [({}, 2, "held"), ({"a": 20, "b": 20}, 3, "failed")]
    cleared = [*shared, ({"b": 20}, 600, "held")]
    before, after = (
        JointPosterior(unit.leaders(), read_runs(unit, runs_from(unit, some)).counted, GOAL)
        for some in (shared, cleared)
    )
    assert after.blame[2]["a"] > before.blame[2]["a"]
    assert after.marginal("a").chance_meets(10) < before.marginal("a").chance_meets(10)
    assert after.marginal("b").chance_meets(10) > before.marginal("b").chance_meets(10)
