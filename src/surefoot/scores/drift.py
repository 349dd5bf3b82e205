"""Runs that were not taken in blocks: did they drift, and could a drift explain a difference?"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Literal

import numpy as np

from surefoot.runs import Floats
from surefoot.scores.students_t import two_sided

WANDER = (0.5, 0.7, 0.9, 0.98)
"""Correlation of a slow wander from one run to the next, of those that are tried."""

WANDER_SHARE = (0.1, 0.3, 1.0, 3.0, 10.0, 100.0)
"""Variance of the wander over that of the runs' own noise, of those that are tried."""

NOT_RULED_OUT = 1.0
"""A drift counts as possible while its log-likelihood is less than this below the likeliest one's."""

MOST_RUNS = 120
"""Beyond so many runs of a metric each configuration's last ones are looked at: the work grows with their cube."""

Taken = Literal["in blocks", "in turns", "one after the other", "order not known", ""]


@dataclass(frozen=True, slots=True)
class DriftTests:
    """Whether a metric drifted while its runs were made, configuration by configuration so that no gain is mistaken.

    ``per_run``: slope against the order of the runs, metric's unit a run, with ``order_p``; ``per_degree``: slope
    against the room, unit per kelvin, with ``room_p``; ``neighbours``: correlation of the residuals of runs next to
    each other, with ``neighbours_p`` (one-sided). NaN where it cannot be told.
    """

    per_run: float = math.nan
    order_p: float = math.nan
    per_degree: float = math.nan
    room_p: float = math.nan
    neighbours: float = math.nan
    neighbours_p: float = math.nan

    @property
    def seen(self) -> bool:
        """Whether any of the three is seen at 5 %."""
        return any(p <= 0.05 for p in (self.order_p, self.room_p, self.neighbours_p) if not math.isnan(p))


@dataclass(frozen=True, slots=True)
class AgainstDrift:
    """The differences to a baseline with every drift that the runs do not rule out allowed for; arrays of shape (m,).

    ``p_values``: the largest chance of error over those drifts (1 where nothing can be said); ``errors`` and
    ``differences``: of the drift that gave it, metric's unit; ``degrees``: of freedom.
    """

    differences: Floats
    errors: Floats
    p_values: Floats
    degrees: float


def how_taken(groups: Sequence[Hashable]) -> Taken:
    """Whether runs of several configurations, in the order made, were taken in turns or one configuration after the
    other: in turns when they changed over at least half as often as turns would."""
    kinds = len(set(groups))
    if kinds < 2:
        return ""
    counts = [groups.count(kind) for kind in set(groups)]
    changes = sum(1 for one, other in pairwise(groups) if one != other)
    rounds = sorted(counts)[-2] if len(counts) > 1 else 0
    in_turns = kinds * min(rounds, max(counts)) - 1
    fewest = kinds - 1
    return "in turns" if changes > fewest and changes >= fewest + (in_turns - fewest) / 2 else "one after the other"


def drift_tests(values: Floats, groups: Sequence[int], room: Floats | None = None) -> DriftTests:
    """Test values, shape (n,) in the order of the runs, for drift; ``groups``: configuration of each, from 0;
    ``room``: Celsius, shape (n,), None or NaN where not known.

    Slopes by least squares with a mean for each configuration; neighbours by the von Neumann ratio of the residuals
    (von Neumann 1941, Annals of Mathematical Statistics 12), its chance by shuffling within configurations.
    """
    y = np.asarray(values, dtype=np.float64)
    of = np.asarray(groups)
    n, kinds = y.size, np.unique(of).size
    left = n - kinds
    if left < 2:
        return DriftTests()
    centred = _centred(y, of)
    slope, slope_p = _slope(centred, _centred(np.arange(n, dtype=np.float64), of), left)
    warm, warm_p = math.nan, math.nan
    if room is not None and np.all(np.isfinite(room)) and np.ptp(_centred(room, of)) > 0.2:
        warm, warm_p = _slope(centred, _centred(room, of), left)
    size = float(centred @ centred)
    if size <= 0 or left < 4:
        return DriftTests(slope, slope_p, warm, warm_p)
    ratio = float(np.sum(np.diff(centred) ** 2)) / size
    rng = np.random.default_rng(0)
    places = [np.flatnonzero(of == kind) for kind in np.unique(of)]
    shuffled = np.empty((999, n))
    for where in places:
        shuffled[:, where] = rng.permuted(np.tile(centred[where], (999, 1)), axis=1)
    chance = (1 + np.count_nonzero(np.sum(np.diff(shuffled, axis=1) ** 2, axis=1) / size <= ratio)) / 1000
    neighbours = _correlation(centred[:-1], centred[1:])
    return DriftTests(slope, slope_p, warm, warm_p, neighbours, float(chance))


def _correlation(one: Floats, other: Floats) -> float:
    one, other = one - one.mean(), other - other.mean()
    size = math.sqrt(float(one @ one) * float(other @ other))
    return float(one @ other) / size if size > 0 else math.nan


def against_drift(
    values: Floats, groups: Sequence[int], room: Floats | None = None, *, resolution: float = 0.0
) -> AgainstDrift:
    """Differences of configurations 1, 2, ... to configuration 0, every drift that is not ruled out allowed for.

    ``values``: shape (n,), in the order of the runs; ``groups``: configuration of each, from 0 without a gap. The runs
    are taken as configuration + straight trend over the run order + a slow wander (first-order autoregression) + noise.
    The trend's size is estimated, so that a straight drift is no error at all; of the wanders all those are tried whose
    restricted likelihood (Patterson and Thompson 1971, Biometrika 58) is near the largest, and the worst one counts.
    Where the room varied within the configurations it is tried in place of the trend.
    """
    kept = _last(np.asarray(groups), MOST_RUNS)
    y = np.asarray(values, dtype=np.float64)[kept]
    of = tuple(int(one) for one in np.asarray(groups)[kept])
    many = max(of) + 1
    nothing = AgainstDrift(np.zeros(many - 1), np.full(many - 1, math.inf), np.ones(many - 1), math.nan)
    if len(set(of)) < many:
        return nothing
    straight: list[tuple[float, ...]] = [tuple(range(len(of)))]
    if room is not None:
        known = np.asarray(room, dtype=np.float64)[kept]
        if np.all(np.isfinite(known)) and np.ptp(_centred(known, np.asarray(of))) > 0.2:
            straight.append(tuple(float(one) for one in known))
    worst = np.full(many - 1, math.inf)
    found, errors = np.zeros(many - 1), np.full(many - 1, math.inf)
    degrees = float(len(of) - many - 1)
    if degrees < 1:
        return nothing
    for trend in straight:
        models = _models(of, trend)
        if models is None:
            continue
        squares = np.maximum(np.array([float(np.sum((one.residual @ y) ** 2)) for one in models]), 1e-300)
        fits = -0.5 * (degrees * np.log(squares) + np.array([one.log_size for one in models]))
        for one, square, fit in zip(models, squares, fits, strict=True):
            if fit < fits.max() - NOT_RULED_OUT:
                continue
            estimate = one.contrast @ y
            error = np.sqrt(max(square / degrees, resolution**2 / 12) * one.factor)
            t = np.abs(estimate) / np.maximum(error, 1e-300)
            less = t < worst
            worst = np.where(less, t, worst)
            found, errors = np.where(less, estimate, found), np.where(less, error, errors)
    if not np.all(np.isfinite(worst)):
        return nothing
    p = two_sided(worst, degrees)
    return AgainstDrift(found, errors, p, degrees)


@dataclass(frozen=True, slots=True)
class _Model:
    """A drift as matrices: ``contrast`` (m, n) gives the differences, ``residual`` (n, n) the whitened residuals,
    ``factor`` (m,) the variance of a difference over that of the noise, ``log_size`` of the likelihood."""

    contrast: Floats
    residual: Floats
    factor: Floats
    log_size: float


@lru_cache(maxsize=64)
def _models(groups: tuple[int, ...], trend: tuple[float, ...]) -> tuple[_Model, ...] | None:
    """The models of one plan of runs; None where configuration and trend cannot be told apart."""
    n, many = len(groups), max(groups) + 1
    of = np.asarray(groups)
    straight = np.asarray(trend, dtype=np.float64)
    means = (of[:, None] == np.arange(many)).astype(np.float64)
    steps = straight - straight.mean()
    design = np.column_stack([means, steps / max(float(np.abs(steps).max()), 1e-12)])
    if np.linalg.matrix_rank(design) < many + 1:
        return None
    compare = np.zeros((many - 1, many + 1))
    compare[:, 0] = -1
    compare[np.arange(many - 1), np.arange(1, many)] = 1
    apart = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    shapes = [np.eye(n)] + [np.eye(n) + share * near**apart for near in WANDER for share in WANDER_SHARE]
    return tuple(_model(shape, design, compare) for shape in shapes)


def _model(shape: Floats, design: Floats, compare: Floats) -> _Model:
    from scipy.linalg import solve_triangular

    n = shape.shape[0]
    lower = np.linalg.cholesky(shape)
    whiten = solve_triangular(lower, np.eye(n), lower=True)
    q, r = np.linalg.qr(whiten @ design)
    back = np.linalg.inv(r)
    log_size = 2 * float(np.log(np.diag(lower)).sum()) + 2 * float(np.log(np.abs(np.diag(r))).sum())
    contrast = compare @ back @ q.T @ whiten
    return _Model(contrast, whiten - q @ (q.T @ whiten), np.sum((compare @ back) ** 2, axis=1), log_size)


def _last(groups: np.ndarray, most: int) -> np.ndarray:
    """Which runs to keep, shape (n,) of bool: the last ones of each configuration where there are too many."""
    kept = np.ones(groups.size, dtype=bool)
    if groups.size > most:
        for kind in np.unique(groups):
            kept[np.flatnonzero(groups == kind)[: -max(2, most // np.unique(groups).size)]] = False
    return kept


def _centred(values: Floats, groups: np.ndarray) -> Floats:
    """Each value less the mean of its configuration."""
    made = np.array(values, dtype=np.float64)
    for kind in np.unique(groups):
        made[groups == kind] -= made[groups == kind].mean()
    return made


def _slope(values: Floats, against: Floats, left: int) -> tuple[float, float]:
    """Slope through centred points and its two-sided chance; ``left``: points less means."""
    size = float(against @ against)
    if size <= 0 or left < 2:
        return math.nan, math.nan
    slope = float(against @ values) / size
    rest = max(float(np.sum((values - slope * against) ** 2)), 0.0)
    if rest == 0:
        return slope, 0.0 if slope else 1.0
    t = slope / math.sqrt(rest / (left - 1) / size)
    return slope, float(two_sided(t, left - 1))
