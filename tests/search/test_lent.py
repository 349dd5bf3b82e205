"""What a pool lends moves the search where it fits, and lets go where the unit's own runs contradict it."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from surefoot.search import Evidence, Goal, certify, next_step
from surefoot.search.lent import EdgePart, EdgePrior, Lent
from surefoot.search.posterior import posterior
from surefoot.search.prior import grid_for
from surefoot.units import Knob

KNOB = Knob("core", "cpu", "mV", "down", step=5.0, limit=250.0)
PRIOR = EdgePrior((EdgePart(110.0, 12.0, 1.6, 0.25),), 0.8, 30, "made up")
GOAL = Goal()
LENT = replace(GOAL, lent=Lent((("core", PRIOR),), "a pool"))

CLIMBED = [Evidence(depth, 5.0, False) for depth in (0.0, 20.0, 40.0, 60.0, 80.0)]


def test_a_pool_is_off_by_default_and_then_changes_nothing() -> None:
    assert GOAL.lent is None
    other = replace(GOAL, lent=Lent((("another knob", PRIOR),), "a pool"))
    assert (grid_for(KNOB, other).log_prior == grid_for(KNOB, GOAL).log_prior).all()


def test_what_is_lent_is_counted_and_the_prior_still_sums_to_one() -> None:
    grid = grid_for(KNOB, LENT)
    assert posterior(KNOB, [], LENT).edge_middle == pytest.approx(110.0, abs=10.0)
    assert pytest.approx(1.0) == float(np.exp(grid.log_prior).sum())


def test_a_unit_like_the_pool_is_told_a_deeper_claim_by_the_same_runs() -> None:
    runs = [*CLIMBED, Evidence(110.0, 8.0, True), Evidence(95.0, 30.0, False), Evidence(95.0, 15.0, False)]
    alone, lent = certify(KNOB, runs, GOAL), certify(KNOB, runs, LENT)
    assert alone is not None and lent is not None
    assert lent.depth > alone.depth


def test_an_outlier_is_let_go_by_the_runs_that_contradict_the_pool() -> None:
    """A unit that fails at less than half of what the pool expects: the first such run leaves the pool's part less
    than the wide prior's, the second nothing, and the claim is then no deeper than without a pool."""

    def like_the_pool(runs: list[Evidence]) -> float:
        after = posterior(KNOB, runs, LENT)
        return float(after.weight[after.grid.edge > 85.0].sum())

    runs = [Evidence(0.0, 5.0, False), Evidence(20.0, 5.0, False)]
    assert like_the_pool(runs) > 0.8
    runs.append(Evidence(40.0, 1.0, True))
    assert like_the_pool(runs) < 0.35
    runs.append(Evidence(35.0, 2.0, True))
    assert like_the_pool(runs) < 0.05
    runs += [Evidence(20.0, 30.0, False), Evidence(20.0, 30.0, False)]
    alone, lent = certify(KNOB, runs, GOAL), certify(KNOB, runs, LENT)
    assert (lent.depth if lent else 0.0) <= (alone.depth if alone else 0.0)


def test_an_edge_far_from_the_pools_is_rare_and_not_impossible() -> None:
    """Student's t with four degrees of freedom about a part's middle: scipy's density, not ours."""
    edges = np.array([110.0, 98.0, 50.0, 190.0])[:, None]
    slopes = np.linspace(0.0, 3.2, 201)[None, :]
    found = PRIOR.density(edges, slopes).sum(axis=1) * 0.016
    assert found == pytest.approx(stats.t.pdf((edges[:, 0] - 110.0) / 12.0, 4) / 12.0, rel=1e-4)


def test_what_is_lent_is_told_with_its_middle_and_spread() -> None:
    two = EdgePrior((EdgePart(100.0, 3.0, 1.6, 0.2), EdgePart(108.0, 3.0, 1.6, 0.2)), 0.8, 9, "made up")
    assert (two.edge_mean, two.edge_deviation) == (104.0, 5.0)


def test_no_stride_is_longer_for_a_pool() -> None:
    """Rules stay: what is lent never takes a run further past what held."""
    step = next_step(KNOB, CLIMBED[:2], LENT)
    assert not step.stop and step.depth <= 20.0 + GOAL.max_stride
