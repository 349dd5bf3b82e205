"""The safety rules: no proposal breaks one, whatever the history and whatever the strategy."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from how_many import examples
from surefoot.search import Evidence, Goal, Proposal, next_step
from surefoot.search.rules import allowed, enforce
from surefoot.units import Knob

KNOB = Knob("core", "cpu", "mV", "down", 5, 250)
CLOCK = Knob("core", "gpu", "MHz", "up", 15, 200)
ODD = Knob("core", "cpu", "mV", "down", 3, 100)

depths = st.one_of(
    st.sampled_from([0.0, 5.0, 20.0, 40.0, 60.0, 80.0, 100.0, 120.0]),
    st.floats(0, 260, allow_nan=False).map(lambda depth: round(depth, 1)),
)
pieces = st.builds(
    Evidence,
    depth=depths,
    minutes=st.sampled_from([0.0, 0.3, 1.0, 4.0, 30.0, 600.0]),
    failed=st.booleans(),
    timed=st.booleans(),
    soft=st.booleans(),
)
histories = st.lists(pieces, max_size=14)
sane = st.lists(pieces, max_size=10).map(lambda runs: [Evidence(0.0, 2.0, False), *[r for r in runs if r.depth > 0]])
goals = st.builds(
    Goal,
    mttf_hours=st.sampled_from([1.0, 100.0, 5000.0]),
    max_stride=st.sampled_from([4.0, 20.0, 33.0]),
    max_failures=st.sampled_from([1, 4, 20]),
)


def check(step: Proposal, knob: Knob, history: Sequence[Evidence], goal: Goal) -> None:
    """The rules in the words of the design, written a second time and differently."""
    failures = [piece for piece in history if piece.failed]
    if any(piece.depth == 0 for piece in failures):
        assert step.stop and step.why_stop == "faulty"
    elif len(failures) >= goal.max_failures:
        assert step.stop
    if step.stop:
        assert step.depth == 0 and step.minutes == 0 and step.why_stop
        return
    assert 0 <= step.depth <= knob.limit
    assert math.isclose(step.depth / knob.step, round(step.depth / knob.step), abs_tol=1e-6)
    assert step.minutes > 0 and 0 <= step.failure_chance <= 1
    held = [(at, piece.depth) for at, piece in enumerate(history) if not piece.failed]
    if not any(depth == 0 for _, depth in held):
        assert step.depth == 0
        return
    deepest = max(depth for _, depth in held)
    assert step.depth <= deepest + goal.max_stride + 1e-6
    for at, piece in enumerate(history):
        if piece.failed and not any(since > at and depth < piece.depth for since, depth in held):
            assert step.depth <= deepest + 1e-6


@pytest.mark.parametrize("strategy", ["ladder", "bisection"])
@settings(max_examples=examples(800), deadline=None)
@given(history=st.one_of(histories, sane), goal=goals, knob=st.sampled_from([KNOB, CLOCK, ODD]))
def test_no_product_strategy_breaks_a_rule(strategy: str, history: list[Evidence], goal: Goal, knob: Knob) -> None:
    check(next_step(knob, history, goal, strategy=strategy), knob, history, goal)


@settings(max_examples=examples(600), deadline=None)
@given(history=st.one_of(histories, sane), goal=goals, knob=st.sampled_from([KNOB, CLOCK, ODD]))
def test_the_posterior_search_breaks_no_rule(history: list[Evidence], goal: Goal, knob: Knob) -> None:
    step = next_step(knob, history, goal)
    check(step, knob, history, goal)
    assert step.reason and step.claim


@settings(max_examples=examples(3000), deadline=None)
@given(history=st.one_of(histories, sane), goal=goals, depth=st.floats(0, 1000))
def test_a_reckless_strategy_is_cut_back(history: list[Evidence], goal: Goal, depth: float) -> None:
    check(enforce(Proposal(False, depth, 5.0, 0.5, "Deeper!"), KNOB, history, goal), KNOB, history, goal)


def held(depth: float, minutes: float = 5.0) -> Evidence:
    return Evidence(depth, minutes, False)


def failed(depth: float) -> Evidence:
    return Evidence(depth, 1.0, True)


def test_the_first_run_is_at_stock() -> None:
    assert next_step(KNOB, [], Goal()).depth == 0
    assert next_step(KNOB, [held(50)], Goal()).depth == 0


def test_failing_at_stock_is_a_fault() -> None:
    step = next_step(KNOB, [failed(0)], Goal())
    assert (step.stop, step.why_stop) == (True, "faulty")


def test_a_failure_must_be_answered_by_something_shallower() -> None:
    goal = Goal()
    assert allowed(KNOB, [held(0), held(20), held(40)], goal).ceiling == 60
    assert allowed(KNOB, [held(0), held(20), held(40), failed(60)], goal).ceiling == 40
    assert allowed(KNOB, [held(0), held(20), held(40), failed(60), held(40)], goal).ceiling == 60
    # Held since, but not shallower than the second, shallower failure.
    assert allowed(KNOB, [held(0), held(40), failed(60), failed(30), held(40)], goal).ceiling == 40


def test_a_moment_under_load_is_no_hold() -> None:
    assert allowed(KNOB, [held(0), held(100, minutes=0.5)], Goal()).ceiling == 20


def test_the_last_failure_allowed_stops() -> None:
    step = next_step(KNOB, [held(0), failed(20), held(5), failed(20)], Goal(max_failures=2))
    assert (step.stop, step.why_stop) == (True, "failures")
