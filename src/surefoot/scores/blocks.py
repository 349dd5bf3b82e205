"""Differences within blocks: what a trial says of a metric, drift taken out by its design."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from surefoot.errors import BadInput
from surefoot.runs import Floats
from surefoot.scores.many_to_one import Reach, Tails, corrected, exactly, reaches
from surefoot.scores.students_t import two_sided

FEWEST_FOR_BOOTSTRAP = 8
"""Blocks below which a low is judged by t as everything else: fewer give too few different resamples."""

SHARES = (0.5, 0.65, 0.8, 0.9)
"""Parts of a difference's variance that are the baseline's, of those that are told apart: the larger, the more alike
are the differences of one trial, and the less must be allowed for their number."""

BlockMethod = Literal["paired", "blocks", "block bootstrap"]


@dataclass(frozen=True, slots=True)
class WithinBlocks:
    """Differences of several configurations to the first, within blocks; arrays of shape (m,), metric's unit.

    ``errors``: standard errors, ``degrees``: of freedom; ``p_values``: alone, ``adjusted``: corrected for the number of
    configurations. ``blocks``: how many; ``spread``: between runs of a block, blocks and configurations taken out.
    ``draws``: of a bootstrap, for each the absolute studentised differences, ascending; ``reaches``: of intervals.
    """

    differences: Floats
    errors: Floats
    degrees: float
    p_values: Floats
    adjusted: Floats
    blocks: int
    spread: float
    method: BlockMethod
    draws: tuple[Floats, ...] = ()
    reaches: tuple[Reach, ...] = ()


def within_blocks(
    values: Floats, *, resolution: float = 0.0, bootstrap: bool = False, resamples: int = 4999, seed: int = 0
) -> WithinBlocks:
    """Analyse complete blocks: additive in block and configuration, compared with the first configuration.

    ``values``: shape (blocks, configurations), the baseline first. Two configurations: the paired t test. Several: the
    analysis of variance of randomised blocks (Fisher 1935, The Design of Experiments; NIST/SEMATECH e-Handbook
    5.3.3.2), each difference tested many-to-one (`corrected`). ``resolution``: as in `welch_from_summary`.
    ``bootstrap``: resample whole blocks from `FEWEST_FOR_BOOTSTRAP` of them on. Raises BadInput for fewer than two
    blocks or configurations, or values that are not finite.
    """
    table = np.asarray(values, dtype=np.float64)
    if table.ndim != 2 or min(table.shape) < 2 or not np.all(np.isfinite(table)):
        raise BadInput("blocks must be a table of finite numbers, two blocks and two configurations at least.")
    blocks, many = table.shape
    floor = resolution**2 / 12
    found = judged(table[None], floor=floor)
    differences, error, degrees = found.differences[0], float(found.errors[0]), float(found.degrees[0])
    spread = math.sqrt(float(found.common[0]))
    errors = np.full(many - 1, error)
    if spread == 0:
        p = np.where(differences == 0, 1.0, math.nan)
        return WithinBlocks(differences, np.zeros(many - 1), degrees, p, p, blocks, 0.0, _method(many))
    if bootstrap and blocks >= FEWEST_FOR_BOOTSTRAP:
        plain = math.sqrt(2 * spread**2 / blocks)
        raw, adjusted, draws = _resampled(table, differences, plain, floor, resamples, seed)
        degrees = float((blocks - 1) * (many - 1))
        errors = np.full(many - 1, plain)
        return WithinBlocks(differences, errors, degrees, raw, adjusted, blocks, spread, "block bootstrap", draws=draws)
    raw, adjusted = found.raw[0], found.adjusted[0]
    return WithinBlocks(
        differences, errors, degrees, raw, adjusted, blocks, spread, _method(many), reaches=found.reaches
    )


@dataclass(frozen=True, slots=True)
class Judged:
    """What `judged` finds of many trials at once: ``differences``, ``raw``, ``adjusted`` of shape (trials, m); the
    standard ``errors`` of a difference, their ``degrees`` and the ``common`` variance of a run, shape (trials,);
    ``reaches``: of the first trial's intervals."""

    differences: Floats
    errors: Floats
    degrees: Floats
    common: Floats
    raw: Floats
    adjusted: Floats
    reaches: tuple[Reach, ...] = ()


def judged(tables: Floats, *, floor: float = 0.0, tails: Tails = exactly) -> Judged:
    """The analysis of `within_blocks`, of many trials at once: ``tables`` of shape (trials, blocks, configurations).

    ``floor``: the least variance of a run; ``tails``: exact, or from tables (`surefoot.scores.tail_tables`).
    """
    trials, blocks, many = tables.shape
    m = many - 1
    differences = (tables[:, :, 1:] - tables[:, :, :1]).mean(axis=1)
    residual = tables - tables.mean(axis=1, keepdims=True) - tables.mean(axis=2, keepdims=True)
    residual += tables.mean(axis=(1, 2), keepdims=True)
    squares = np.sum(residual**2, axis=1)
    degrees = np.full(trials, float((blocks - 1) * m))
    common = np.maximum(squares.sum(axis=1) / degrees, floor)
    safe = np.maximum(common, 1e-300)
    errors = np.sqrt(2 * safe / blocks)
    if m == 1:
        raw = two_sided(differences / errors[:, None], degrees[:, None])
        return Judged(differences, errors, degrees, common, raw, raw)
    own, own_degrees, more = own_spreads(squares, safe[:, None], floor, blocks)
    baseline_limit, other_limit = spreads_apart(blocks, many)
    first, first_degrees, share = baseline_apart(squares, blocks)
    two_spreads = more[:, 0] < baseline_limit
    errors = np.where(two_spreads, np.sqrt(np.maximum(first, 2 * floor) / blocks), errors)
    degrees = np.where(two_spreads, first_degrees, degrees)
    share = np.where(two_spreads, share, 0.5)
    every = np.repeat(errors[:, None], m, axis=1)
    own_errors = np.sqrt(own / blocks)
    apart = more[:, 1:] < other_limit
    shares = np.repeat(share[:, None], m, axis=1)
    found = corrected(differences, every, degrees, own_errors, own_degrees, apart, blocks, shares=shares, tails=tails)
    reach = reaches(found, every[0], float(degrees[0]), own_errors[0], own_degrees[0], float(share[0]))
    return Judged(differences, errors, degrees, common, found.raw, found.adjusted, reach)


def spreads_apart(blocks: int, many: int) -> tuple[float, float]:
    """The chances (F test) below which the baseline, and another configuration, count as varying more than the rest.

    A rule of ours, set by simulation (tests/benchmarks/trial.py) so that null trials with spreads in ratios up to 3
    show a difference in at most 6 %; the price is 3 points of power with three configurations, 7 with eight.
    """
    baseline = max(0.13, 0.9 / blocks) * (1 + max(0, many - 3) / 30)
    return min(0.33, baseline), min(0.33, 3 / blocks**3)


def baseline_apart(squares: Floats, blocks: int) -> tuple[Floats, Floats, Floats]:
    """The variance of one difference where the baseline has a spread of its own and the others share one.

    ``squares``: sums of squared residuals, shape (..., many), the baseline first, many at least 3. The residuals fall
    into those of the baseline against the others' mean and those of the others among themselves, which are
    independent. Returns the variance, its Satterthwaite degrees (1946, Biometrics Bulletin 2), and how much of it is
    the baseline's, at least a half and rounded down to one of `SHARES`, shape (...,).
    """
    many = squares.shape[-1]
    m = many - 1
    against = squares[..., 0] * (many / m) ** 2
    among = np.maximum(squares.sum(axis=-1) - squares[..., 0] * many / m, 0.0)
    one = np.maximum(against / (blocks - 1), 1e-300)
    other = (1 - 1 / m) * among / ((blocks - 1) * (m - 1))
    weight = one / (one + other)
    degrees = (blocks - 1) / (weight**2 + (1 - weight) ** 2 / (m - 1))
    its_own = 1 - (other / max(1 - 1 / m, 1e-9)) / (one + other)
    share = np.asarray(SHARES)[np.clip(np.searchsorted(SHARES, its_own, side="right") - 1, 0, None)]
    return one + other, degrees, share


def own_spreads(squares: Floats, common: Floats | float, floor: float, blocks: int) -> tuple[Floats, Floats, Floats]:
    """What each configuration's own residuals say, ``squares`` being their sums, shape (..., many), many at least 3.

    Returns the variance of one difference to the first, its Satterthwaite degrees, shape (..., m), and for each of the
    configurations the chance (F test) that its runs vary so much more than the rest's, shape (..., m + 1). The
    variances are unbiased whatever the others' are (Grubbs 1948, Journal of the American Statistical Association 43).
    """
    from scipy import special

    many = squares.shape[-1]
    each = squares / (blocks - 1)
    total = squares.sum(axis=-1, keepdims=True)
    variances = (each - total / (blocks - 1) / (many * (many - 1))) * many / (many - 2)
    variances = np.maximum(variances, np.maximum(0.05 * np.asarray(common), floor))
    both = variances[..., 1:] + variances[..., :1]
    degrees = both**2 / (variances[..., 1:] ** 2 + variances[..., :1] ** 2) * (blocks - 1)
    # Without a configuration the table of the rest has this much less residual (one row less of the layout).
    alone = squares * many / (many - 1)
    rest = np.maximum(total - alone, 1e-300)
    ratio = (alone / (blocks - 1)) / (rest / ((blocks - 1) * (many - 2)))
    more = np.asarray(special.fdtrc(blocks - 1, (blocks - 1) * (many - 2), ratio), dtype=np.float64)
    return both, np.maximum(degrees, 1.0), more


def _method(many: int) -> BlockMethod:
    return "paired" if many == 2 else "blocks"


def _resampled(
    table: Floats, differences: Floats, error: float, floor: float, resamples: int, seed: int
) -> tuple[Floats, Floats, tuple[Floats, ...]]:
    """Chances by resampling whole blocks: the symmetric studentised bootstrap (Hall 1988), the largest first
    (Romano and Wolf 2005, Econometrica 73). A resample without spread counts against a difference."""
    blocks, many = table.shape
    rng = np.random.default_rng(seed)
    drawn = table[rng.integers(0, blocks, (resamples, blocks))]
    moved = (drawn[:, :, 1:] - drawn[:, :, :1]).mean(axis=1) - differences
    residual = drawn - drawn.mean(axis=1, keepdims=True) - drawn.mean(axis=2, keepdims=True)
    residual += drawn.mean(axis=(1, 2), keepdims=True)
    variances = np.sum(residual**2, axis=(1, 2)) / ((blocks - 1) * (many - 1))
    errors = np.sqrt(2 * np.maximum(variances, floor) / blocks)
    with np.errstate(divide="ignore", invalid="ignore"):
        studentised = np.where(errors[:, None] > 0, np.abs(moved) / errors[:, None], np.inf)
    t = np.abs(differences) / error
    raw = (1 + np.count_nonzero(studentised >= t, axis=0)) / (resamples + 1)
    adjusted = np.ones(many - 1)
    so_far = 0.0
    order = np.argsort(-t, kind="stable")
    for place, index in enumerate(order):
        largest = studentised[:, order[place:]].max(axis=1)
        so_far = max(so_far, float(1 + np.count_nonzero(largest >= t[index])) / (resamples + 1))
        adjusted[index] = so_far
    return np.asarray(raw, dtype=np.float64), adjusted, tuple(np.sort(studentised, axis=0).T)
