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
    found = against_drift_many(
        np.asarray(values, dtype=np.float64)[None],
        groups,
        None if room is None else np.asarray(room, dtype=np.float64)[None],
        resolution=resolution,
    )
    return AgainstDrift(found.differences[0], found.errors[0], found.p_values[0], found.degrees)


def against_drift_many(
    values: Floats, groups: Sequence[int] | np.ndarray, room: Floats | None = None, *, resolution: float = 0.0
) -> AgainstDrift:
    """`against_drift` of many data sets whose runs were made in the same order; ``values``, ``room``: (sets, n).

    Arrays of the answer are of shape (sets, m).
    """
    kept = _last(np.asarray(groups), MOST_RUNS)
    y = np.asarray(values, dtype=np.float64)[:, kept]
    of = tuple(int(one) for one in np.asarray(groups)[kept])
    sets, many = y.shape[0], max(of) + 1
    worst = np.full((sets, many - 1), math.inf)
    estimates, errors = np.zeros((sets, many - 1)), np.full((sets, many - 1), math.inf)
    degrees = float(len(of) - many - 1)
    nothing = AgainstDrift(estimates, errors, np.ones((sets, many - 1)), math.nan)
    if len(set(of)) < many or degrees < 1:
        return nothing
    models = _models(of)
    order = np.arange(len(of), dtype=np.float64)[None]
    trends: list[tuple[Floats, np.ndarray]] = [(order, np.ones(sets, dtype=bool))]
    if room is not None:
        warm = np.asarray(room, dtype=np.float64)[:, kept]
        known = np.all(np.isfinite(warm), axis=1)
        warm = np.where(known[:, None], warm, 0.0)
        trends.append((warm, known & (np.ptp(_centred_rows(warm, np.asarray(of)), axis=1) > 0.2)))
    for trend, where in trends:
        rows = np.flatnonzero(where)
        if not rows.size:
            continue
        tried = [one.fit(y[rows], trend if trend.shape[0] == 1 else trend[rows]) for one in models]
        square = np.maximum(np.array([one.square for one in tried]), 1e-300)
        fits = -0.5 * (degrees * np.log(square) + np.array([one.log_size for one in tried]))
        told = tried[0].told
        for one, size, fit in zip(tried, square, fits, strict=True):
            error = np.sqrt(np.maximum(size / degrees, resolution**2 / 12)[:, None] * one.factor)
            t = np.abs(one.estimate) / np.maximum(error, 1e-300)
            possible = told & (fit >= fits.max(axis=0) - NOT_RULED_OUT)
            less = possible[:, None] & (t < worst[rows])
            worst[rows] = np.where(less, t, worst[rows])
            estimates[rows] = np.where(less, one.estimate, estimates[rows])
            errors[rows] = np.where(less, error, errors[rows])
    p = np.where(np.isfinite(worst), two_sided(np.where(np.isfinite(worst), worst, 0.0), degrees), 1.0)
    return AgainstDrift(estimates, errors, p, degrees if np.isfinite(worst).any() else math.nan)


@dataclass(frozen=True, slots=True)
class _Fit:
    """A drift fitted to many data sets: ``estimate`` of the differences, (sets, m), and ``factor``, their variance over
    that of the noise; ``square``: of the whitened residuals, ``log_size`` of the likelihood, (sets,); ``told``: where
    the trend and the configurations can be told apart."""

    estimate: Floats
    factor: Floats
    square: Floats
    log_size: Floats
    told: np.ndarray


@dataclass(frozen=True, slots=True)
class _Model:
    """A wander as matrices: ``whiten`` (n, n); ``means`` (n, many), orthonormal columns that span the configurations
    once whitened; ``contrast`` (m, many) from their coefficients to the differences; ``log_size`` of the likelihood."""

    whiten: Floats
    means: Floats
    contrast: Floats
    log_size: float

    def fit(self, y: Floats, trend: Floats) -> _Fit:
        """Fit values (sets, n) by configurations and a trend, shape (sets, n) or (1, n)."""
        steps = trend - trend.mean(axis=1, keepdims=True)
        steps = steps / np.maximum(np.abs(steps).max(axis=1, keepdims=True), 1e-12)
        one, values = steps @ self.whiten.T, y @ self.whiten.T
        one_means, values_means = one @ self.means, values @ self.means
        rest, left = one - one_means @ self.means.T, values - values_means @ self.means.T
        size = np.sum(rest**2, axis=1)
        told = size > 1e-10 * np.maximum(np.sum(one**2, axis=1), 1e-300)
        size = np.where(told, size, 1.0)
        slope = np.sum(rest * left, axis=1) / size
        estimate = (values_means - slope[:, None] * one_means) @ self.contrast.T
        factor = np.sum(self.contrast**2, axis=1) + (one_means @ self.contrast.T) ** 2 / size[:, None]
        square = np.sum((left - slope[:, None] * rest) ** 2, axis=1)
        told, size = np.broadcast_to(told, square.shape), np.broadcast_to(size, square.shape)
        return _Fit(estimate, np.broadcast_to(factor, estimate.shape), square, self.log_size + np.log(size), told)


@lru_cache(maxsize=64)
def _models(groups: tuple[int, ...]) -> tuple[_Model, ...]:
    """The wanders that are tried, for one plan of runs."""
    n, many = len(groups), max(groups) + 1
    means = (np.asarray(groups)[:, None] == np.arange(many)).astype(np.float64)
    compare = np.zeros((many - 1, many))
    compare[:, 0] = -1
    compare[np.arange(many - 1), np.arange(1, many)] = 1
    apart = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    shapes = [np.eye(n)] + [np.eye(n) + share * near**apart for near in WANDER for share in WANDER_SHARE]
    return tuple(_model(shape, means, compare) for shape in shapes)


def _model(shape: Floats, means: Floats, compare: Floats) -> _Model:
    from scipy.linalg import solve_triangular

    lower = np.linalg.cholesky(shape)
    whiten = solve_triangular(lower, np.eye(shape.shape[0]), lower=True)
    q, r = np.linalg.qr(whiten @ means)
    log_size = 2 * float(np.log(np.diag(lower)).sum()) + 2 * float(np.log(np.abs(np.diag(r))).sum())
    return _Model(whiten, q, compare @ np.linalg.inv(r), log_size)


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


def _centred_rows(values: Floats, groups: np.ndarray) -> Floats:
    """`_centred` of each row."""
    made = np.array(values, dtype=np.float64)
    for kind in np.unique(groups):
        made[:, groups == kind] -= made[:, groups == kind].mean(axis=1, keepdims=True)
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
