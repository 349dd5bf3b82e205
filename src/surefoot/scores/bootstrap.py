"""Intervals by resampling: between runs for a low, and in blocks within one frame log."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from surefoot.errors import BadInput
from surefoot.runs import Floats
from surefoot.scores.means import Difference

FEWEST_RUNS = 8
"""Below this many runs a side the bootstrap finds half of what Welch's test finds, which keeps its level there."""


def bootstrap_difference(
    a: Sequence[float] | Floats,
    b: Sequence[float] | Floats,
    confidence: float = 0.95,
    *,
    resamples: int = 4999,
    seed: int = 0,
    resolution: float = 0.0,
) -> Difference:
    """The difference of the means of a and b (one value a run) by the symmetric studentised bootstrap over runs.

    Runs are drawn with replacement within each side; the interval is difference +- q standard errors, q the quantile of
    the absolute studentised difference over the resamples (Hall 1988, Journal of the Royal Statistical Society B 50,
    "On symmetric bootstrap confidence intervals"). Plain percentile intervals are too short for a handful of runs. A
    resample without spread counts against a difference. ``resolution`` as in `welch_from_summary`. The same ``seed``
    gives the same answer. Raises BadInput for fewer than two values a side or values that are not finite.
    """
    first, second = np.asarray(a, dtype=np.float64), np.asarray(b, dtype=np.float64)
    if first.ndim != 1 or second.ndim != 1 or not (np.all(np.isfinite(first)) and np.all(np.isfinite(second))):
        raise BadInput("the values must be two rows of finite numbers.")
    if min(first.size, second.size) < 2:
        raise BadInput("a difference cannot be judged from one value a side.", remedy="Repeat the run.")
    rng = np.random.default_rng(seed)
    floor = resolution**2 / 12
    difference = float(first.mean() - second.mean())
    error = math.sqrt(max(first.var(ddof=1), floor) / first.size + max(second.var(ddof=1), floor) / second.size)
    if error == 0:
        p = 1.0 if difference == 0 else math.nan
        return Difference(difference, math.nan, math.nan, confidence, p, 0.0, method="bootstrap")
    draws_a = first[rng.integers(0, first.size, (resamples, first.size))]
    draws_b = second[rng.integers(0, second.size, (resamples, second.size))]
    variances = np.maximum(draws_a.var(axis=1, ddof=1), floor) / first.size
    variances += np.maximum(draws_b.var(axis=1, ddof=1), floor) / second.size
    off = np.abs(draws_a.mean(axis=1) - draws_b.mean(axis=1) - difference)
    with np.errstate(divide="ignore", invalid="ignore"):
        studentised = np.where(variances > 0, off / np.sqrt(variances), np.inf)
    p_value = float((1 + np.count_nonzero(studentised >= abs(difference) / error)) / (resamples + 1))
    # The order statistic that agrees with the p-value: the interval leaves out 0 exactly when p <= 1 - confidence.
    ordered = np.sort(studentised)
    rank = min(resamples, max(1, math.ceil(confidence * (resamples + 1) - 1e-9)))
    half = float(ordered[rank - 1]) * error
    low, high = difference - half, difference + half
    return Difference(difference, low, high, confidence, p_value, error, method="bootstrap", draws=ordered)


@dataclass(frozen=True, slots=True)
class WithinLog:
    """The spread of a statistic of one log: ``sd`` and the percentile interval, in the statistic's unit.

    It says how well this one run was measured, not what another run would give.
    """

    sd: float
    low: float
    high: float
    confidence: float


def block_bootstrap(
    frame_ms: Floats,
    statistics: Callable[[Floats], Floats],
    *,
    confidence: float = 0.95,
    block_frames: int | None = None,
    resamples: int | None = None,
    seed: int = 0,
) -> tuple[WithinLog, ...]:
    """Intervals of statistics of one series of frame times, by the circular block bootstrap.

    ``frame_ms``: shape (n,), in order; ``statistics``: from an array (m, n) of resampled logs to (k, m) values. Blocks
    keep neighbouring frames together, as stutters come in clusters (Politis and Romano 1992); a block is the frames of
    one second, at least the cube root of n (Hall, Horowitz and Jing 1995). Raises BadInput for fewer than ten frames.
    """
    frames = np.asarray(frame_ms, dtype=np.float64)
    if frames.ndim != 1 or frames.size < 10:
        raise BadInput("a frame log of fewer than ten frames has no interval.")
    n = frames.size
    if block_frames is None:
        block_frames = max(math.ceil(n ** (1 / 3)), round(1000.0 / float(np.median(frames))))
    block = max(1, min(block_frames, n // 4))
    # Long logs need fewer resamples for the same work; 100 still give a usable 95 % interval.
    count = resamples or max(100, min(400, 20_000_000 // n))
    rng = np.random.default_rng(seed)
    blocks = math.ceil(n / block)
    per_chunk = max(1, 4_000_000 // n)
    found: list[Floats] = []
    steps = np.arange(block)
    for start in range(0, count, per_chunk):
        rows = min(per_chunk, count - start)
        starts = rng.integers(0, n, (rows, blocks))
        index = ((starts[:, :, None] + steps) % n).reshape(rows, blocks * block)[:, :n]
        found.append(np.atleast_2d(statistics(frames[index])))
    values = np.concatenate(found, axis=1)
    tail = 100 * (1 - confidence) / 2
    lows, highs = np.percentile(values, [tail, 100 - tail], axis=1)
    sds = values.std(axis=1, ddof=1)
    rows_found = zip(sds, lows, highs, strict=True)
    return tuple(WithinLog(float(sd), float(low), float(high), confidence) for sd, low, high in rows_found)
