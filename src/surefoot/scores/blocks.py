"""Differences within blocks: what a trial says of a metric, drift taken out by its design."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from surefoot.errors import BadInput
from surefoot.runs import Floats
from surefoot.scores.many_to_one import Reach, corrected
from surefoot.scores.students_t import two_sided

FEWEST_FOR_BOOTSTRAP = 8
"""Blocks below which a low is judged by t as everything else: fewer give too few different resamples."""

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
    differences = (table[:, 1:] - table[:, :1]).mean(axis=0)
    residual = table - table.mean(axis=0) - table.mean(axis=1, keepdims=True) + table.mean()
    degrees = float((blocks - 1) * (many - 1))
    squares = np.sum(residual**2, axis=0)
    common = max(float(squares.sum()) / degrees, floor)
    error = math.sqrt(2 * common / blocks)
    if error == 0:
        p = np.where(differences == 0, 1.0, math.nan)
        return WithinBlocks(differences, np.zeros(many - 1), degrees, p, p, blocks, 0.0, _method(many))
    draws: tuple[Floats, ...] = ()
    reaches: list[Reach] = []
    if bootstrap and blocks >= FEWEST_FOR_BOOTSTRAP:
        raw, adjusted, draws = _resampled(table, differences, error, floor, resamples, seed)
        method: BlockMethod = "block bootstrap"
    elif many == 2:
        raw = two_sided(differences / error, degrees)
        adjusted, method = raw, "paired"
    else:
        own, own_degrees, more = own_spreads(squares, common, floor, blocks)
        raw, adjusted, reaches = corrected(
            differences, np.full(many - 1, error), degrees, np.sqrt(own / blocks), own_degrees, more, blocks
        )
        method = "blocks"
    return WithinBlocks(
        differences,
        np.full(many - 1, error),
        degrees,
        raw,
        adjusted,
        blocks,
        math.sqrt(common),
        method,
        draws,
        tuple(reaches),
    )


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
