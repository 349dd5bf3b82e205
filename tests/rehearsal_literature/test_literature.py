"""The procedures from the literature: their own published arithmetic, and that each is a fair strategy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surefoot.rehearsal.literature import NAMES, register_literature
from surefoot.rehearsal.literature_bisection import ProbabilisticBisection, quantile
from surefoot.rehearsal.literature_claims import certificate, decades_to_goal
from surefoot.rehearsal.literature_quest import QuestPlusStrategy
from surefoot.rehearsal.literature_updown import UpAndDown, dixon_mood
from surefoot.search import Evidence, Goal, certify, next_step
from surefoot.search.strategy import Strategy, strategy_named
from surefoot.units import Knob

KNOB = Knob("core", "cpu", "mV", "down", 5, 250)
GOAL = Goal()
ALL = (UpAndDown(), ProbabilisticBisection(), QuestPlusStrategy())


def play(strategy, fails, most=60):
    """Evidence of a whole search on a unit of which ``fails(depth)`` tells, and the stop."""
    evidence: list[Evidence] = []
    register_literature()
    for _ in range(most):
        step = next_step(KNOB, evidence, GOAL, strategy=strategy)
        if step.stop:
            return evidence, step
        evidence.append(Evidence(step.depth, step.minutes, fails(step.depth)))
    raise AssertionError("it never stopped")


@pytest.mark.parametrize("strategy", ALL, ids=lambda strategy: strategy.name)
def test_each_is_a_strategy_for_the_benchmark_only(strategy):
    assert isinstance(strategy, Strategy)
    assert register_literature() == NAMES
    assert strategy_named(strategy.name).name == strategy.name


def test_the_product_does_not_offer_them():
    import subprocess
    import sys

    asked = "from surefoot.search import strategies; import surefoot.rehearsal.literature, sys; print(strategies()); "
    asked += "print('questplus' in sys.modules, 'xarray' in sys.modules)"
    said = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True).stdout
    assert "posterior" in said
    assert not any(name in said for name in NAMES)
    assert "False False" in said


def test_dixon_and_mood_by_hand():
    # Source: Dixon and Mood 1948, section 4, formulas for the mean (median) and the standard deviation, worked by
    # hand on made-up trials: failures at levels 0, 1, 1, 2 of spacing 10 from 100; N = 4, A = 4, B = 6.
    trail = [
        (90, False), (100, False), (110, True), (100, True), (90, False), (100, False), (110, True),
        (100, False), (110, False), (120, True), (110, False),
    ]  # fmt: skip
    evidence = [Evidence(depth, 5, failed) for depth, failed in trail]
    found = dixon_mood(evidence, 10)
    assert found.events == 4
    assert found.median == pytest.approx(100 + 10 * (4 / 4 - 0.5))
    assert found.spread == pytest.approx(1.620 * 10 * ((4 * 6 - 4**2) / 4**2 + 0.029))


def test_dixon_and_mood_find_a_normal_median_and_spread():
    # Against a known tolerance distribution: normal(100, 8), spacing 8, many trials.
    rng = np.random.default_rng(5)
    depth, evidence = 100.0, []
    for _ in range(4000):
        failed = bool(rng.normal(100, 8) < depth)
        evidence.append(Evidence(depth, 5, failed))
        depth += -8 if failed else 8
    found = dixon_mood(evidence, 8)
    assert found.median == pytest.approx(100, abs=1)
    assert found.spread == pytest.approx(8, rel=0.1)


def test_dixon_and_mood_need_a_failure():
    with pytest.raises(ValueError, match="no failure"):
        dixon_mood([Evidence(0, 5, False)], 10)


def test_up_and_down_goes_up_and_down():
    strategy = UpAndDown()
    assert strategy.propose(KNOB, [], GOAL).depth == 0
    held = [Evidence(0, 5, False), Evidence(10, 5, False)]
    assert strategy.propose(KNOB, held, GOAL).depth == 20
    assert strategy.propose(KNOB, [*held, Evidence(20, 5, True)], GOAL).depth == 10


def test_probabilistic_bisection_follows_bayes_by_hand():
    # Horstein 1963: after one answer trusted at p, the side it points to holds p times its share, over the sum.
    strategy = ProbabilisticBisection(trust=0.9)
    edges, belief = strategy.belief(KNOB, [Evidence(100, 5, True)])
    inside = float(belief[edges <= 100].sum())
    share = np.count_nonzero(edges <= 100) / edges.size
    assert inside == pytest.approx(0.9 * share / (0.9 * share + 0.1 * (1 - share)))
    assert quantile(edges, belief, 0.5) < 100


def test_probabilistic_bisection_with_full_trust_is_bisection():
    # On a noise-free step each run halves the belief's width, so it ends within a step of the edge.
    strategy = ProbabilisticBisection(trust=1 - 1e-9, steps=1.0)
    evidence = [Evidence(0, 5, False)]
    for _ in range(20):
        step = strategy.propose(KNOB, evidence, GOAL)
        if step.stop:
            break
        evidence.append(Evidence(step.depth, 5, step.depth > 132))
    assert step.stop
    assert len(evidence) - 1 <= math.ceil(math.log2(250 / 5)) + 2
    edges, belief = strategy.belief(KNOB, evidence)
    assert abs(quantile(edges, belief, 0.5) - 132) <= 5


def test_quest_plus_is_the_published_posterior():
    # Source: Watson 2017, eq. for the posterior: prior times product of psi; psi as in the package's own Weibull.
    strategy = QuestPlusStrategy()
    evidence = [Evidence(60, 5, False), Evidence(120, 5, True)]
    quest = strategy._quest(KNOB, evidence)
    threshold = quest.param_domain["threshold"][:, None]
    slope = quest.param_domain["slope"][None, :]
    weight = np.asarray(quest.prior.squeeze().transpose("threshold", "slope").values).copy()
    for piece in evidence:
        fails = (1 - 0.02) * (1 - np.exp(-(10 ** (slope * (piece.depth - threshold)))))
        weight = weight * (fails if piece.failed else 1 - fails)
    found = np.asarray(quest.posterior.squeeze().transpose("threshold", "slope").values)
    assert np.allclose(found, weight / weight.sum(), atol=1e-12)


def test_decades_to_the_goal():
    # Half of 15 min runs fail at a hazard of ln 2 / 0.25 h = 2.77 an hour; 100 h is 0.01: 2.44 decades apart.
    assert decades_to_goal(GOAL, 15) == pytest.approx(2.443, abs=1e-3)


@pytest.mark.parametrize("name", NAMES)
def test_each_ends_and_claims_short_of_a_sharp_edge(name):
    evidence, stop = play(name, lambda depth: depth > 112)
    assert stop.why_stop in ("certified", "limit", "failures")
    known = certify(KNOB, evidence, GOAL, strategy=name)
    assert known is not None
    assert 60 <= known.depth <= 112


@pytest.mark.parametrize("name", NAMES)
def test_each_ends_where_nothing_fails(name):
    evidence, _ = play(name, lambda depth: False)
    known = certify(KNOB, evidence, GOAL, strategy=name)
    assert known is not None
    assert known.depth >= 200


@pytest.mark.parametrize("name", NAMES)
def test_each_claims_nothing_without_a_run_and_is_repeatable(name):
    register_literature()
    assert certify(KNOB, [], GOAL, strategy=name) is None
    evidence = [Evidence(0, 5, False), Evidence(20, 5, False), Evidence(40, 5, True), Evidence(20, 5, False)]
    assert next_step(KNOB, evidence, GOAL, strategy=name) == next_step(KNOB, evidence, GOAL, strategy=name)


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(NAMES),
    st.lists(st.tuples(st.integers(0, 50), st.floats(0, 60), st.booleans()), max_size=8),
)
def test_none_breaks_a_rule(name, pieces):
    register_literature()
    evidence = [Evidence(5.0 * n, minutes, failed) for n, minutes, failed in pieces]
    step = next_step(KNOB, evidence, GOAL, strategy=name)
    held = [piece.depth for piece in evidence if not piece.failed and piece.minutes >= 1]
    if not step.stop:
        assert 0 <= step.depth <= min(250, max(held, default=0) + GOAL.max_stride)
        assert step.depth % 5 == 0
    known = certify(KNOB, evidence, GOAL, strategy=name)
    if known is not None:
        assert known.depth <= max(piece.depth for piece in evidence if not piece.failed)


def test_a_claim_is_on_whole_steps_and_no_deeper_than_held():
    evidence = [Evidence(0, 5, False), Evidence(45, 5, False)]
    shallow, deep = (certificate(KNOB, depth, evidence, GOAL) for depth in (33, 80))
    assert shallow is not None and shallow.depth == 30
    assert deep is not None and deep.depth == 45
    assert certificate(KNOB, 80, [Evidence(5, 5, True)], GOAL) is None
