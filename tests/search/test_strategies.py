"""The product's strategies played on noise-free edges, and what the search says of itself."""

from __future__ import annotations

import math

import pytest

from surefoot.errors import BadInput
from surefoot.search import Evidence, Goal, certify, next_step
from surefoot.search.planner import soft_share
from surefoot.search.strategy import strategy_named
from surefoot.units import Knob

# The stride rule would bring a bisection up; here the machine is a step function and the rule is given room.
NO_STRIDE = Goal(max_stride=1e6, max_failures=99)


def play(knob: Knob, goal: Goal, edge: float, strategy: str, most: int = 200) -> list[Evidence]:
    """Runs on a step: holds at the edge and shallower, fails at once deeper."""
    made: list[Evidence] = []
    for _ in range(most):
        step = next_step(knob, made, goal, strategy=strategy)
        if step.stop:
            return made
        failed = step.depth > edge
        made.append(Evidence(step.depth, 0.5 if failed else step.minutes, failed))
    raise AssertionError("it never stopped")


@pytest.mark.parametrize("steps", [7, 8, 31, 50, 64])
def test_bisection_needs_log2_of_the_range_over_the_step(steps: int) -> None:
    # Binary search over the `steps` whole steps past stock, each of which may be the first to fail, or none: with
    # n = steps + 1 answers ceil(log2 n) runs after the one at stock.
    knob = Knob("core", "cpu", "mV", "down", 5, 5.0 * steps)
    propose = strategy_named("bisection").propose
    for at in range(steps + 1):
        made: list[Evidence] = [Evidence(0, 15, False)]
        while not (step := propose(knob, made, NO_STRIDE)).stop:
            failed = step.depth > at * 5
            made.append(Evidence(step.depth, 1.0 if failed else 15.0, failed))
        known = certify(knob, made, NO_STRIDE, strategy="bisection")
        assert known is not None and known.depth == at * 5
        assert len(made) - 1 <= math.ceil(math.log2(steps + 1))
    assert len(made) - 1 in (math.floor(math.log2(steps + 1)), math.ceil(math.log2(steps + 1)))


def test_bisection_keeps_to_the_stride_when_there_is_one() -> None:
    knob = Knob("core", "cpu", "mV", "down", 5, 250)
    made = play(knob, Goal(max_failures=99), 110, "bisection")
    assert [piece.depth for piece in made[:4]] == [0, 20, 40, 60]
    assert certify(knob, made, Goal(), strategy="bisection").depth == 110  # type: ignore[union-attr]


def test_the_ladder_climbs_backs_off_and_soaks() -> None:
    # Common practice, no source: 10 mV steps of 15 min until a failure, back off 10 mV, soak for two hours.
    knob = Knob("core", "cpu", "mV", "down", 5, 250)
    made = play(knob, Goal(), 47, "ladder")
    assert [piece.depth for piece in made] == [0, 10, 20, 30, 40, 50, 40]
    assert [piece.minutes for piece in made] == [15, 15, 15, 15, 15, 0.5, 120]
    known = certify(knob, made, Goal(), strategy="ladder")
    assert known is not None and known.depth == 40
    # The rung and the soak, 2.25 h at -40 mV, bear out 0.98 h at 90 % by soaking alone: it says so and not 100 h.
    assert known.mttf_hours == pytest.approx(2.25 / math.log(10), rel=1e-9)


@pytest.mark.parametrize("edge", [22.0, 62.0, 118.0, 171.0])
def test_the_search_stops_and_claims_no_more_than_held(edge: float) -> None:
    knob = Knob("core", "cpu", "mV", "down", 5, 250)
    made = play(knob, Goal(), edge, "posterior")
    known = certify(knob, made, Goal())
    assert sum(piece.failed for piece in made) <= 3
    assert known is None or edge - 45 <= known.depth <= edge


def test_the_limit_without_a_failure_is_a_stop_of_its_own() -> None:
    knob = Knob("core", "cpu", "mV", "down", 5, 60)
    made = play(knob, Goal(), 1000, "posterior")
    step = next_step(knob, made, Goal())
    assert (step.stop, step.why_stop) == (True, "limit")
    assert not any(piece.failed for piece in made)


def test_a_user_threshold_is_named_as_the_reason() -> None:
    knob = Knob("core", "cpu", "mV", "down", 5, 250)
    goal = Goal(worth_per_hour=40.0)
    made = play(knob, goal, 100, "posterior")
    assert next_step(knob, made, goal).why_stop == "worth"
    assert len(play(knob, Goal(worth_per_hour=1.0), 100, "posterior")) > len(made)


def test_a_proposal_says_why_with_its_numbers() -> None:
    knob = Knob("core", "cpu", "mV", "down", 5, 250)
    made = [Evidence(0, 2, False), *(Evidence(20.0 * at, 1, False) for at in range(1, 6)), Evidence(120, 0.4, True)]
    step = next_step(knob, made, Goal())
    assert not step.stop and f"{step.minutes:g} min at {knob.describe(step.depth)}" in step.reason
    assert step.settles and step.claim
    assert step.depth in {one.depth for one in step.alternatives}
    assert all(one.price_minutes > 3 and one.worth >= -1e-9 for one in step.alternatives)


def test_soft_failures_are_learned_from_the_unit() -> None:
    soft = [Evidence(100, 1, True, soft=True)] * 4
    assert soft_share([], Goal()) == pytest.approx(0.2)
    assert soft_share(soft, Goal()) > 0.7 > 0.2 > soft_share([Evidence(100, 1, True)] * 4, Goal())


def test_a_cheap_failure_is_risked_sooner() -> None:
    knob = Knob("core", "cpu", "mV", "down", 5, 250)
    made = [Evidence(0, 2, False), *(Evidence(20.0 * at, 1, False) for at in range(1, 6))]
    hard = next_step(knob, [*made, Evidence(120, 0.4, True), Evidence(100, 4, False)], Goal(soft_share=0.0))
    soft = next_step(knob, [*made, Evidence(120, 0.4, True, soft=True), Evidence(100, 4, False)], Goal(soft_share=1.0))
    assert soft.failure_chance > hard.failure_chance


def test_an_unknown_strategy_is_refused_by_name() -> None:
    with pytest.raises(BadInput, match="posterior, ladder, bisection"):
        next_step(Knob("core", "cpu", "mV", "down", 5, 250), [], Goal(), strategy="guess")
