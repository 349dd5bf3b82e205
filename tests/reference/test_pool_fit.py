"""The hierarchical fit against data and models from outside."""

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import norm

from surefoot.pool.fit import Population, fit
from surefoot.pool.likelihood import FitGrid

# Source: Rubin 1981, Estimation in parallel randomized experiments; as in Gelman and others, Bayesian Data Analysis,
# ch. 5 ("eight schools"): estimated effects and standard errors. Complete pooling: 7.7, standard error 4.1.
EFFECTS = np.array([28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0])
ERRORS = np.array([15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0])


def fitted(
    edge: np.ndarray, middles: np.ndarray, spreads: np.ndarray, means: np.ndarray, errors: np.ndarray
) -> Population:
    """The fit with one slope alone and no unlike units: a plain normal hierarchical model, flat in its parameters."""
    one = np.zeros(1)
    weight = np.ones((middles.size, spreads.size, 1, 1, 1))
    before = Population(middles, spreads, one, np.ones(1), np.ones(1), weight / weight.sum())
    runs = [norm.pdf(edge, mean, error)[:, None] for mean, error in zip(means, errors, strict=True)]
    return fit(FitGrid(edge, one), before, runs, np.full((edge.size, 1), 1 / edge.size))


def test_eight_schools_pooled_completely() -> None:
    after = fitted(np.linspace(-120, 140, 1041), np.linspace(-30, 45, 301), np.array([0.5]), EFFECTS, ERRORS)
    assert after.mean("edge_middle") == pytest.approx(7.7, abs=0.1)
    assert after.deviation("edge_middle") == pytest.approx(4.1, abs=0.1)


def test_eight_schools_partially_pooled() -> None:
    """Common effect about 8, spread between schools 6 to 7 under a flat prior on both: Gelman and others, Bayesian
    Data Analysis, ch. 5.5, *from memory*; recomputed here on a grid with scipy."""
    middles, spreads = np.linspace(-30, 45, 151), np.arange(0.5, 40.0, 0.5)
    after = fitted(np.linspace(-150, 170, 1281), middles, spreads, EFFECTS, ERRORS)
    total = np.sqrt(spreads[None, :, None] ** 2 + ERRORS**2)
    log = np.asarray(norm.logpdf(EFFECTS, middles[:, None, None], total)).sum(axis=2)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    assert after.mean("edge_middle") == pytest.approx(float(weight.sum(axis=1) @ middles), abs=0.05)
    assert after.mean("edge_spread") == pytest.approx(float(weight.sum(axis=0) @ spreads), abs=0.05)
    assert after.mean("edge_middle") == pytest.approx(8.0, abs=0.6)
    assert 5.5 < after.mean("edge_spread") < 7.5


def test_the_likeliest_middle_and_spread_are_those_of_maximum_likelihood() -> None:
    """Against scipy's own optimum of the marginal likelihood of a normal model."""
    rng = np.random.default_rng(4)
    errors = rng.uniform(3.0, 12.0, 40)
    means = rng.normal(100.0, 20.0, 40) + errors * rng.normal(size=40)

    def loss(at: np.ndarray) -> float:
        return -float(np.sum(norm.logpdf(means, at[0], np.hypot(at[1], errors))))

    best = minimize(loss, x0=np.array([90.0, 10.0]), method="Nelder-Mead").x
    middles, spreads = np.arange(80.0, 120.0, 0.5), np.arange(8.0, 40.0, 0.5)
    after = fitted(np.linspace(-50, 250, 1201), middles, spreads, means, errors)
    at = np.unravel_index(int(after.weight[:, :, 0, 0, 0].argmax()), (middles.size, spreads.size))
    assert middles[at[0]] == pytest.approx(best[0], abs=0.5)
    assert spreads[at[1]] == pytest.approx(abs(best[1]), abs=0.5)
