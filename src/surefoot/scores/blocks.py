"""Differences within blocks: what a trial says of a metric, drift taken out by its design."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from surefoot.errors import BadInput
from surefoot.runs import Floats
from surefoot.scores.block_spreads import (
    ALLOWED_APART,
    baseline_apart,
    own_at_most,
    own_spreads,
    spreads_apart,
    stand_apart,
)
from surefoot.scores.many_to_one import PLAIN_ALPHA, Reach, Tails, corrected, exactly, reaches
from surefoot.scores.students_t import two_sided

FEWEST_FOR_BOOTSTRAP = 8
"""Blocks below which a low is judged by t as everything else: fewer give too few different resamples."""

BlockMethod = Literal["paired", "blocks", "block bootstrap"]


@dataclass(frozen=True, slots=True)
class WithinBlocks:
    """Differences of several configurations to the first, within blocks; arrays of shape (m,), metric's unit.

    ``errors``: standard errors, ``degrees``: of freedom of each; ``p_values``: alone, ``adjusted``: corrected for the
    number of configurations. ``blocks``: how many; ``spread``: between runs of a block, blocks and configurations taken
    out. ``draws``: of a bootstrap, for each the absolute studentised differences, ascending; ``reaches``: of intervals.
    """

    differences: Floats
    errors: Floats
    degrees: Floats
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
    5.3.3.2, section from memory), each difference tested many-to-one (`corrected`). ``resolution``: as in
    `welch_from_summary`. ``bootstrap``: resample whole blocks from `FEWEST_FOR_BOOTSTRAP` of them on. Raises BadInput
    for fewer than two blocks or configurations, or values that are not finite.
    """
    table = np.asarray(values, dtype=np.float64)
    if table.ndim != 2 or min(table.shape) < 2 or not np.all(np.isfinite(table)):
        raise BadInput("blocks must be a table of finite numbers, two blocks and two configurations at least.")
    blocks, many = table.shape
    floor = resolution**2 / 12
    found = judged(table[None], floor=floor)
    differences, errors, degrees = found.differences[0], found.errors[0], found.degrees[0]
    spread = math.sqrt(float(found.common[0]))
    if spread == 0:
        p = np.where(differences == 0, 1.0, math.nan)
        return WithinBlocks(differences, np.zeros(many - 1), degrees, p, p, blocks, 0.0, _method(many))
    if bootstrap and blocks >= FEWEST_FOR_BOOTSTRAP:
        plain = math.sqrt(2 * spread**2 / blocks)
        raw, adjusted, draws = _resampled(table, differences, plain, floor, resamples, seed)
        degrees = np.full(many - 1, float((blocks - 1) * (many - 1)))
        errors = np.full(many - 1, plain)
        return WithinBlocks(differences, errors, degrees, raw, adjusted, blocks, spread, "block bootstrap", draws=draws)
    raw, adjusted = found.raw[0], found.adjusted[0]
    return WithinBlocks(
        differences, errors, degrees, raw, adjusted, blocks, spread, _method(many), reaches=found.reaches
    )


@dataclass(frozen=True, slots=True)
class Judged:
    """What `judged` finds of many trials at once: ``differences``, their standard ``errors`` and ``degrees``, ``raw``
    and ``adjusted`` chances, of shape (trials, m); the ``common`` variance of a run, shape (trials,); ``reaches``: of
    the first trial's intervals."""

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
    errors = np.repeat(np.sqrt(2 * safe / blocks)[:, None], m, axis=1)
    free = np.repeat(degrees[:, None], m, axis=1)
    if m == 1:
        raw = two_sided(differences / errors, free)
        return Judged(differences, errors, free, common, raw, raw)
    own, own_degrees, more = own_spreads(squares, safe[:, None], floor, blocks)
    baseline_limit, other_limit = spreads_apart(blocks)
    first, first_degrees, share, among = baseline_apart(squares, blocks)
    order = np.argsort(-np.abs(differences), axis=1, kind="stable")
    stands = stand_apart(differences, order, np.maximum(among, floor), blocks)
    two_spreads = (more[:, :1] < baseline_limit) & ~stands
    errors = np.where(two_spreads, np.sqrt(np.maximum(first, 2 * floor) / blocks)[:, None], errors)
    free = np.where(two_spreads, first_degrees[:, None], free)
    shares = np.where(two_spreads, share[:, None], 0.5)
    allowed = np.where(stands, ALLOWED_APART, 1.0)
    own_errors = np.sqrt(own / blocks)
    own_allowed = np.where(more[:, 1:] < other_limit, 1.0, own_at_most(blocks) / PLAIN_ALPHA)
    found = corrected(
        differences, errors, free, own_errors, own_degrees, own_allowed,
        order=order, shares=shares, one_share=True, allowed=allowed, tails=tails,
    )  # fmt: skip
    reach = reaches(found, errors[0], free[0], own_errors[0], own_degrees[0], shares[0])
    return Judged(differences, errors, free, common, found.raw, found.adjusted, reach)


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
