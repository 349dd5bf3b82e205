"""Claims on thin ice: what a unit's own runs must bear out before anything is claimed, whatever the model."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from how_many import examples
from surefoot.search import Evidence, Goal, certify, next_step
from surefoot.search.edge import estimated_edge
from surefoot.search.own_evidence import SENSIBLE_MINUTES, believed, claim_ceiling, doubts, likely_ceiling
from surefoot.units import Knob

KNOB = Knob("core", "cpu", "mV", "down", 5, 250)
GOAL = Goal()


def held(depth: float, minutes: float = 4.0) -> Evidence:
    return Evidence(depth, minutes, False)


def failed(depth: float, minutes: float = 0.5) -> Evidence:
    return Evidence(depth, minutes, True)


@pytest.mark.parametrize("depth", [300.0, 250.0, 200.0])
@pytest.mark.parametrize("first", [True, False])
@pytest.mark.parametrize("times", [1, 2, 3])
def test_a_hold_far_past_three_failures_is_not_believed(depth: float, first: bool, times: int) -> None:
    resets = [failed(60.0, 2.0)] * 3
    slip = [held(depth, 5.0)] * times
    history = [*slip, *resets] if first else [*resets, *slip]
    for start in ([], [held(0, 2)], [held(0, 2), held(20), held(40), held(50, 8)]):
        known = certify(KNOB, [*start, *history], GOAL)
        assert known is None or known.depth < 60
        step = next_step(KNOB, [*start, *history], GOAL)
        assert step.stop or step.depth <= 60
    doubted = [doubt for doubt in doubts(KNOB, history, GOAL) if not history[doubt.at].failed]
    assert {doubt.why for doubt in doubted} <= {"failure", "limit"}
    assert len(doubted) == times


def test_a_lone_hold_far_past_everything_else_waits_for_another_to_agree() -> None:
    climb = [held(0, 2), held(20), held(40)]
    known = certify(KNOB, [*climb, held(200, 5)], GOAL)
    assert known is not None and known.depth <= 40
    (doubt,) = doubts(KNOB, [*climb, held(200, 5)], GOAL)
    assert (doubt.at, doubt.why, doubt.against) == (3, "leap", 40)
    # Not a foothold for the next stride either.
    assert next_step(KNOB, [*climb, held(200, 5)], GOAL).depth <= 60
    assert not doubts(KNOB, [*climb, held(200, 5), held(190, 5)], GOAL)
    # A failure tried just past it, or hours that bear the goal out alone, agree as well.
    assert not doubts(KNOB, [held(0, 2), held(80, 600), failed(100)], GOAL)
    assert not doubts(KNOB, [held(0, 2), held(100, 230.26 * 60)], GOAL)


def test_below_a_stated_amount_of_own_evidence_nothing_is_certified() -> None:
    assert certify(KNOB, [held(0, 1)], GOAL) is None
    assert certify(KNOB, [held(0, 2), held(20, 1)], GOAL) is None
    known = certify(KNOB, [held(0, 2), held(20, 1), held(20, 4)], GOAL)
    assert known is not None and known.hours * 60 >= SENSIBLE_MINUTES
    # Minutes of a failed run are no minutes held.
    known = certify(KNOB, [held(0, 20), held(40), held(40), failed(60, 30)], GOAL)
    assert known is not None and known.hours * 60 == pytest.approx(28 if known.depth == 0 else 8)


def test_what_the_model_would_certify_is_held_before_the_search_stops() -> None:
    history = [held(0, 2)]
    for _ in range(40):
        step = next_step(KNOB, history, GOAL)
        if step.stop:
            break
        fails = step.depth > 62
        history.append(Evidence(step.depth, 0.5 if fails else step.minutes, fails))
    known = certify(KNOB, history, GOAL)
    assert step.stop and known is not None and known.depth > 0
    assert sum(piece.minutes for piece in history if piece.depth >= known.depth and not piece.failed) >= 5


def test_a_failure_is_outweighed_by_hours_alone_and_by_no_model() -> None:
    history = [held(0, 2), held(40), held(60), failed(60), held(60), held(70)]
    known = certify(KNOB, [*history, held(60, 300 * 60)], GOAL)
    assert known is not None and known.depth < 60
    # One failure: chi-square with 4 degrees of freedom at 0.90 is 7.779, so 389 h bear 100 h out (CHECKS: NIST).
    known = certify(KNOB, [*history, held(60, 390 * 60)], GOAL)
    assert known is not None and known.depth >= 60


def test_the_edge_is_one_number_whatever_the_goal_and_never_past_a_failure_at_once() -> None:
    history = [held(0, 2), held(20), held(40), held(60), failed(80, 0.1), held(70, 4)]
    edges = set()
    for hours in (0.5, 1, 10, 100, 1000):
        known = certify(KNOB, history, Goal(mttf_hours=hours))
        assert known is not None
        edges.add(known.edge_depth)
    assert len(edges) == 1
    assert edges.pop() <= 80
    assert estimated_edge(KNOB, [held(0, 2), held(200, 600), held(200, 600), failed(60, 0.1)]) <= 60


pieces = st.builds(
    Evidence,
    depth=st.sampled_from([0.0, 5.0, 20.0, 40.0, 60.0, 80.0, 103.3, 200.0, 251.0, 600.0]),
    minutes=st.sampled_from([0.0, 0.5, 1.0, 4.0, 60.0, 24000.0]),
    failed=st.booleans(),
    timed=st.booleans(),
)


@settings(max_examples=examples(400), deadline=None)
@given(st.lists(pieces, max_size=10), st.sampled_from([0.5, 100.0]))
def test_no_claim_breaks_the_rules_of_own_evidence(history: list[Evidence], hours: float) -> None:
    """The rules a second time, plainly: shallower than every failure that hours do not outweigh, held, and for long."""
    goal = Goal(mttf_hours=hours)
    known = certify(KNOB, history, goal)
    if known is None:
        return
    there = [piece.minutes for piece in history if not piece.failed and piece.depth >= known.depth]
    assert sum(there) >= SENSIBLE_MINUTES and len(there) >= 2
    if any(piece.failed and piece.depth <= known.depth for piece in history):
        assert sum(there) / 60 >= 2.3 * hours
    ceiling = claim_ceiling(KNOB, history, goal)
    assert ceiling is not None and known.depth <= ceiling
    assert believed(KNOB, believed(KNOB, history, goal), goal) == believed(KNOB, history, goal)


def told(depth: float, minutes: float = 15.0) -> Evidence:
    return Evidence(depth, minutes, False, told=True)


def test_where_no_failure_was_told_the_claim_keeps_clear_of_the_deepest_that_was() -> None:
    """Its line may have been forgotten, left out, or written down as held; seen runs have no such lines."""
    ladder = [told(10.0 * rung) for rung in range(11)]
    seen = [held(piece.depth, piece.minutes) for piece in ladder]
    assert claim_ceiling(KNOB, seen, GOAL) == 90, "two runs"
    assert claim_ceiling(KNOB, ladder, GOAL) == 80
    wide = [told(20.0 * rung) for rung in range(6)]
    assert claim_ceiling(KNOB, wide, GOAL) == 70, "the deepest may be the failure itself"
    assert claim_ceiling(KNOB, [*ladder, Evidence(110, 5, True, told=True)], GOAL) == 90, (
        "a failure says where it ended"
    )
    assert claim_ceiling(KNOB, [*ladder, Evidence(1100, 5, True, told=True)], GOAL) == 80, "that one says nothing of it"
    assert claim_ceiling(KNOB, [*ladder, held(100), held(100)], GOAL) == 100, "seen since"
    assert claim_ceiling(KNOB, [*ladder, told(100, 231 * 60)], GOAL) == 100, "hours that bear the goal out"


def test_a_told_hold_deeper_than_a_failure_bears_nothing_out() -> None:
    history = [told(0), told(50), told(60), Evidence(60, 1, True, told=True), told(65), told(65)]
    assert claim_ceiling(KNOB, history, GOAL) == 50
    with_it, without = certify(KNOB, history, GOAL), certify(KNOB, history[:-2], GOAL)
    assert with_it is not None and without is not None and with_it.depth <= without.depth


@pytest.mark.parametrize(("at", "minutes", "failures"), [(20.0, 600.0, 1), (10.0, 600.0, 1), (30.0, 600.0, 2)])
def test_a_stop_with_nothing_off_stock_says_one_thing(at: float, minutes: float, failures: int) -> None:
    """A certificate of stock itself is not called one in the reason and none in the claim."""
    history = [held(0, 5), held(0, minutes), *[failed(at, 0.1)] * failures]
    known, step = certify(KNOB, history, GOAL), next_step(KNOB, history, GOAL)
    assert known is not None and known.depth == 0 and step.stop
    assert step.claim == "Nothing off stock is known to hold for 100 h of load at 90% yet."
    assert step.why_stop == "worth" and "nothing off stock is certified" in step.reason


def test_nothing_is_called_likely_where_nothing_held() -> None:
    assert likely_ceiling(KNOB, [held(0, 2), held(20, 1)], GOAL) == 20
    assert likely_ceiling(KNOB, [held(0, 2), held(20, 0.5)], GOAL) == 0
    assert likely_ceiling(KNOB, [held(0, 2), held(20), held(40), failed(40)], GOAL) == 35
    # Told by hand without a failure: as far as a claim would trust it.
    told = [Evidence(depth, 10.0, False, told=True) for depth in (0.0, 20.0, 40.0, 60.0)]
    assert likely_ceiling(KNOB, told, GOAL) == 30
    assert likely_ceiling(KNOB, [*told, held(50, 5)], GOAL) == 50
