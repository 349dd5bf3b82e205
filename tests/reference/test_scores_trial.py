"""Trials held to values from outside: randomised blocks, many-to-one, Holm, group-sequential bounds."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import optimize, stats

from surefoot.scores.blocks import within_blocks
from surefoot.scores.many_to_one import critical, tail
from surefoot.scores.multiple import holm
from surefoot.scores.spending import crossing, spent

# Strength of cotton (Pressley index) at five levels of potash, 36 to 144 lb an acre, in three blocks:
# Cochran and Cox 1957, Experimental Designs, 2nd edition, section 4.23 (from memory); recomputed with statsmodels.
COTTON = np.array([[7.62, 8.14, 7.76, 7.17, 7.46], [8.00, 8.15, 7.73, 7.57, 7.68], [7.93, 7.87, 7.74, 7.80, 7.21]])


def test_randomised_blocks_agree_with_statsmodels_and_the_book() -> None:
    pd = pytest.importorskip("pandas")
    smf = pytest.importorskip("statsmodels.formula.api")
    blocks, many = COTTON.shape
    table = pd.DataFrame(
        {
            "strength": COTTON.ravel(),
            "block": np.repeat(np.arange(blocks), many),
            "potash": np.tile(np.arange(many), blocks),
        }
    )
    theirs = smf.ols("strength ~ C(block) + C(potash)", data=table).fit()
    ours = within_blocks(COTTON)
    assert ours.degrees == pytest.approx(theirs.df_resid) and theirs.df_resid == 8
    # Error mean square 0.0436 with 8 degrees: Cochran and Cox, from memory; statsmodels agrees.
    assert ours.spread**2 == pytest.approx(theirs.mse_resid) == pytest.approx(0.0436, abs=0.0002)
    for level in range(1, many):
        name = f"C(potash)[T.{level}]"
        assert ours.differences[level - 1] == pytest.approx(theirs.params[name])
        assert ours.errors[level - 1] == pytest.approx(theirs.bse[name])
        assert ours.p_values[level - 1] == pytest.approx(theirs.pvalues[name])


# Strength of a fabric under four chemicals (rows), each tried on five samples (blocks): Montgomery and Runger, Applied
# Statistics and Probability for Engineers, example 13-5, table 13-12. Data, averages and the two sums of squares were
# read in a public copy of its page 495.
FABRIC = np.array(
    [[1.3, 1.6, 0.5, 1.2, 1.1], [2.2, 2.4, 0.4, 2.0, 1.8], [1.8, 1.7, 0.6, 1.5, 1.3], [3.9, 4.4, 2.0, 4.1, 3.4]]
)
BETWEEN_CHEMICALS, ALL = 18.04, 25.69


def test_a_published_experiment_in_randomised_blocks() -> None:
    pd = pytest.importorskip("pandas")
    smf = pytest.importorskip("statsmodels.formula.api")
    anova = pytest.importorskip("statsmodels.api").stats.anova_lm
    chemicals, samples = FABRIC.shape
    table = pd.DataFrame(
        {
            "strength": FABRIC.ravel(),
            "chemical": np.repeat(np.arange(chemicals), samples),
            "sample": np.tile(np.arange(samples), chemicals),
        }
    )
    fitted = smf.ols("strength ~ C(chemical) + C(sample)", data=table).fit()
    theirs = anova(fitted)["sum_sq"]
    assert theirs["C(chemical)"] == pytest.approx(BETWEEN_CHEMICALS, abs=0.005)
    assert theirs.sum() == pytest.approx(ALL, abs=0.005)
    ours = within_blocks(FABRIC.T)
    assert ours.blocks == 5 and ours.spread**2 * 12 == pytest.approx(theirs["Residual"])
    # The same sum between chemicals, from our differences and nothing else.
    means = np.r_[0.0, ours.differences]
    assert samples * float(np.sum((means - means.mean()) ** 2)) == pytest.approx(BETWEEN_CHEMICALS, abs=0.005)
    # The fourth chemical stands apart from all others: common spread, as the library has it, many-to-one corrected.
    assert ours.differences[2] == pytest.approx(3.56 - 1.14)
    assert ours.errors[2] == pytest.approx(fitted.bse["C(chemical)[T.3]"])
    assert ours.p_values[2] == pytest.approx(fitted.pvalues["C(chemical)[T.3]"]) and ours.adjusted[2] < 1e-4


def test_two_configurations_in_blocks_are_the_paired_t_test() -> None:
    # Student 1908, Biometrika 6: hours of sleep gained by ten patients with two drugs; t 4.0621, p 0.002833.
    # (from memory; recomputed with scipy)
    first = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
    second = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]
    ours = within_blocks(np.column_stack([first, second]))
    assert ours.method == "paired"
    assert ours.differences[0] / ours.errors[0] == pytest.approx(4.0621, abs=5e-5)
    assert ours.p_values[0] == pytest.approx(0.002833, abs=5e-7)
    assert ours.p_values[0] == pytest.approx(stats.ttest_rel(second, first).pvalue)


@pytest.mark.parametrize(
    ("comparisons", "degrees", "bound"),
    # Dunnett 1964, Biometrics 20, two-sided 5 % (from memory; each checked by multivariate t below).
    [(2, 10, 2.57), (3, 12, 2.68), (5, 20, 2.73), (4, math.inf, 2.44)],
)
def test_many_to_one_bounds(comparisons: int, degrees: float, bound: float) -> None:
    found = critical(comparisons, degrees)
    assert found == pytest.approx(bound, abs=0.021)
    if math.isfinite(degrees):
        shape = np.full((comparisons, comparisons), 0.5) + 0.5 * np.eye(comparisons)
        there = stats.multivariate_t(shape=shape, df=degrees, seed=1)  # type: ignore[arg-type]
        reach = np.full(comparisons, found)
        assert 1 - there.cdf(reach, lower_limit=-reach) == pytest.approx(0.05, abs=0.002)


def test_many_to_one_agrees_with_scipys_dunnett() -> None:
    # Dunnett 1955: blood counts of animals under two drugs and a control; the example in scipy.stats.dunnett.
    control = np.array([7.40, 8.50, 7.20, 8.24, 9.84, 8.32])
    drugs = [np.array([9.76, 8.80, 7.68, 9.36]), np.array([12.80, 9.68, 12.16, 9.20, 10.55])]
    theirs = stats.dunnett(*drugs, control=control, random_state=1)
    sides = [control, *drugs]
    degrees = sum(one.size - 1 for one in sides)
    pooled = sum(float(np.sum((one - one.mean()) ** 2)) for one in sides) / degrees
    shares = [one.size / (one.size + control.size) for one in drugs]
    for one, statistic, p in zip(drugs, theirs.statistic, theirs.pvalue, strict=True):
        t = (one.mean() - control.mean()) / math.sqrt(pooled * (1 / one.size + 1 / control.size))
        assert t == pytest.approx(statistic)
        assert tail(abs(t), 2, degrees, shares) == pytest.approx(p, abs=5e-4)


def test_holm_agrees_with_statsmodels() -> None:
    multipletests = pytest.importorskip("statsmodels.stats.multitest").multipletests
    # Holm 1979; the p-values are made up, the library is the reference.
    p = [0.012, 0.5, 0.0004, 0.03, 0.03, 0.2]
    assert [one.p_value for one in holm(p)] == pytest.approx(list(multipletests(p, method="holm")[1]))


FIVE = [0.2, 0.4, 0.6, 0.8, 1.0]


def test_five_looks_of_obrien_and_fleming_and_of_pocock() -> None:
    # O'Brien and Fleming 1979, Biometrics 35: 4.562, 3.226, 2.634, 2.281, 2.040; Pocock 1977, Biometrika 64: 2.413.
    # Tables in Jennison and Turnbull, Group Sequential Methods (from memory); recomputed here by integration.
    constant = optimize.brentq(lambda c: crossing([c / math.sqrt(t) for t in FIVE], FIVE) - 0.05, 1.9, 2.2)
    assert constant == pytest.approx(2.040, abs=5e-4)
    assert [constant / math.sqrt(t) for t in FIVE] == pytest.approx([4.562, 3.226, 2.634, 2.281, 2.040], abs=1e-3)
    assert optimize.brentq(lambda c: crossing([c] * 5, FIVE) - 0.05, 2.0, 3.0) == pytest.approx(2.413, abs=5e-4)


def test_spending_gives_the_published_bounds() -> None:
    # Lan and DeMets 1983, Biometrika 70, spending like O'Brien and Fleming, five equal looks, two-sided 5 %:
    # 4.877, 3.357, 2.680, 2.290, 2.031 (from memory).
    bounds: list[float] = []
    for number, share in enumerate(FIVE):
        wanted = spent(share)
        looked = FIVE[: number + 1]
        bounds.append(optimize.brentq(lambda z, w=wanted, s=looked: crossing([*bounds, z], s) - w, 1.5, 8.0))
    assert bounds == pytest.approx([4.877, 3.357, 2.680, 2.290, 2.031], abs=2e-3)


def test_crossing_agrees_with_simulation() -> None:
    rng = np.random.default_rng(1)
    walk = np.cumsum(rng.standard_normal((100_000, 5)), axis=1) / np.sqrt(np.arange(1, 6))
    over = (np.abs(walk) > np.array([4.562, 3.226, 2.634, 2.281, 2.040])).any(axis=1).mean()
    assert over == pytest.approx(0.05, abs=0.0021)
