"""Two means of unequal spread: Welch's test and interval."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from surefoot.errors import BadInput
from surefoot.runs import Floats
from surefoot.scores.students_t import two_sided, upper

Method = Literal["welch", "bootstrap"]


@dataclass(frozen=True, slots=True)
class Difference:
    """The difference of two means, a minus b, with what may be said of it.

    ``difference``, ``low``, ``high``, ``standard_error``: in the unit of the values; ``low`` to ``high`` is the
    interval at ``confidence``; ``p_value``: the chance of a difference at least this large, either way, where the true
    means are equal; ``t`` and ``degrees``: Welch's statistic and its Satterthwaite degrees of freedom, NaN for another
    method; ``draws``: of a bootstrap, the absolute studentised differences, ascending.
    """

    difference: float
    low: float
    high: float
    confidence: float
    p_value: float
    standard_error: float
    t: float = math.nan
    degrees: float = math.nan
    method: Method = "welch"
    draws: Floats | None = field(default=None, repr=False, compare=False)


@dataclass(frozen=True, slots=True)
class Mean:
    """The mean of a few values, their sample standard deviation, and the t interval of the mean.

    ``sd``, ``low``, ``high`` are NaN for one value.
    """

    mean: float
    sd: float
    count: int
    low: float
    high: float


def mean_of(values: Sequence[float] | Floats, confidence: float = 0.95) -> Mean:
    """Mean, sample sd (n - 1) and t interval. Raises BadInput for no value or one that is not finite."""
    array = _checked(values, "the values")
    mean, n = float(array.mean()), int(array.size)
    if n < 2:
        return Mean(mean, math.nan, n, math.nan, math.nan)
    sd = float(array.std(ddof=1))
    half = upper((1 - confidence) / 2, n - 1) * sd / math.sqrt(n)
    return Mean(mean, sd, n, mean - half, mean + half)


def welch(
    a: Sequence[float] | Floats, b: Sequence[float] | Floats, confidence: float = 0.95, *, resolution: float = 0.0
) -> Difference:
    """The difference of the means of a and b, from the values themselves; see `welch_from_summary`."""
    first, second = _checked(a, "the first values"), _checked(b, "the second values")
    if min(first.size, second.size) < 2:
        raise BadInput(
            "a difference cannot be judged from one value a side.", remedy="Repeat the run at least once on each side."
        )
    return welch_from_summary(
        float(first.mean()),
        float(first.std(ddof=1)),
        int(first.size),
        float(second.mean()),
        float(second.std(ddof=1)),
        int(second.size),
        confidence,
        resolution=resolution,
    )


def welch_from_summary(
    mean_a: float,
    sd_a: float,
    n_a: int,
    mean_b: float,
    sd_b: float,
    n_b: int,
    confidence: float = 0.95,
    *,
    resolution: float = 0.0,
) -> Difference:
    """The difference of two means from their summaries (Welch 1947, Biometrika 34; degrees by Satterthwaite 1946).

    ``resolution``: smallest step in which the values were read, in their unit. Values that all read alike have not
    shown a spread of nothing: each spread is taken as at least that of the rounding, resolution / sqrt(12), so that
    three equal readings do not make a certainty. With no spread at all and no resolution nothing can be judged: p is
    1 for equal means and NaN else. Raises BadInput for fewer than two values a side or a number out of range.
    """
    if min(n_a, n_b) < 2:
        raise BadInput("a difference cannot be judged from one value a side.", remedy="Repeat the run.")
    if not 0 < confidence < 1:
        raise BadInput(f"confidence is {confidence!r}; it must be between 0 and 1.")
    if not all(math.isfinite(x) for x in (mean_a, sd_a, mean_b, sd_b, resolution)) or min(sd_a, sd_b, resolution) < 0:
        raise BadInput("means must be finite, spreads and the resolution at least 0.")
    floor = resolution**2 / 12
    share_a, share_b = max(sd_a**2, floor) / n_a, max(sd_b**2, floor) / n_b
    difference, variance = mean_a - mean_b, share_a + share_b
    if variance == 0:
        p = 1.0 if difference == 0 else math.nan
        return Difference(difference, math.nan, math.nan, confidence, p, 0.0)
    standard_error = math.sqrt(variance)
    # Weights, so that tiny variances do not underflow when squared.
    weight_a, weight_b = share_a / variance, share_b / variance
    degrees = 1 / (weight_a**2 / (n_a - 1) + weight_b**2 / (n_b - 1))
    t = difference / standard_error
    half = upper((1 - confidence) / 2, degrees) * standard_error
    p_value = float(two_sided(t, degrees))
    return Difference(difference, difference - half, difference + half, confidence, p_value, standard_error, t, degrees)


def resolution_of(values: Sequence[float] | Floats, most_digits: int = 6) -> float:
    """The step in which values seem to have been read: 1 for whole numbers, 0.1 for one decimal.

    Points and instrument readings come rounded; means over a trace do not: 0 beyond ``most_digits`` decimals.
    """
    array = np.asarray(values, dtype=np.float64)
    for digits in range(most_digits + 1):
        scaled = array * 10.0**digits
        if np.all(np.abs(scaled - np.round(scaled)) <= 1e-9 * np.maximum(1.0, np.abs(scaled))):
            return float(10.0**-digits)
    return 0.0


def percent_change(before: float, after: float) -> float:
    """The gain from before to after in percent of before: 2800 to 3100 points is 10.7. NaN where before is 0."""
    return 100.0 * (after - before) / abs(before) if before else math.nan


def _checked(values: Sequence[float] | Floats, what: str) -> Floats:
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 1 or array.size == 0 or not np.all(np.isfinite(array)):
        raise BadInput(f"{what} must be one row of at least one finite number.")
    return array
