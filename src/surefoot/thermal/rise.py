"""The rise of a temperature after a change of load, as a mixture over time constants (lumped capacitance).

A body of one lumped capacitance C behind a resistance R approaches its end as exp(-t / RC); a chip on a heatsink as the
sum of two such terms (any text on lumped capacitance). The time constants are not known, so they are not picked: every
pair of a grid is fitted by least squares, weighed by how well it explains the samples, and the answer is the mixture.
That keeps an interval honest when the slow term has hardly begun. Noise is first-order autoregressive; its correlation
is not picked either but mixed over a grid, since a short series tells it badly and an interval hangs on it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from surefoot.runs import Floats

# What is taken for granted of a machine's time constants (common practice, no source): a chip with its spreader follows
# in seconds to a minute, a heatsink in minutes, a chassis in up to an hour. Wide on purpose: these are log-normal, with
# medians of 20 s and 240 s and a factor of 2.7 and 2.5 for one standard deviation.
_SHORTEST_TAU, _LONGEST_TAU = 3.0, 5400.0
_FAST = (math.log(20.0), 1.0)
_SLOW = (math.log(240.0), 0.9)
_LONE = (math.log(120.0), 1.2)
_PRIOR_CONSTANT, _PRIOR_LONE, _PRIOR_PAIR = 0.1, 0.3, 0.6
_RATIO = 2.5  # of the two time constants; closer ones cannot be told from one
AMPLITUDE_CELSIUS = 25.0
"""Prior standard deviation of the rise that belongs to one time constant."""

# A chassis behind the heatsink warms for half an hour and more. Its amplitude is integrated out beside each pair of the
# others (common practice, no source: some tenth of the rise, with the rise; half of the machines show one).
_BODY_SHARE, _BODY_SPREAD, _BODY_LEAST = 0.02, 0.12, 0.4  # of the rise: mean, standard deviation, and that much more
_BODIES = tuple((tau, 0.11) for tau in (650.0, 950.0, 1350.0, 1950.0, 2800.0, 4000.0))  # seconds, chance
_BODY_RATIO = 1.8

_CORRELATIONS = (0.0, 0.3, 0.55, 0.75, 0.88, 0.95)


@dataclass(frozen=True)
class Mixture:
    """A weighted set of normal distributions: ``weight``, ``mean``, ``spread``, each shape (m,)."""

    weight: Floats
    mean: Floats
    spread: Floats

    def quantiles(self, *chances: float) -> tuple[float, ...]:
        """The values below which a share ``chance`` of the mixture lies, by bisection."""
        keep = self.weight > 1e-4 * float(self.weight.max())
        weight, mean, spread = self.weight[keep], self.mean[keep], np.maximum(self.spread[keep], 1e-9)
        weight = weight / weight.sum()
        aims = np.array(chances)
        low = np.full(aims.size, float((mean - 6 * spread).min()))
        high = np.full(aims.size, float((mean + 6 * spread).max()))
        for _ in range(28):
            middle = (low + high) / 2
            below = _normal_cdf((middle[:, None] - mean) / spread) @ weight < aims
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return tuple(((low + high) / 2).tolist())


@dataclass(frozen=True)
class Rise:
    """A fitted rise over one stretch of constant load.

    ``start``: seconds at which the stretch begins; ``taus``: shape (m, 3), seconds, the time constants of each model
    (NaN for one that it lacks; the third is that of a chassis); ``weight``: shape (m,); ``coefficients``: shape (m, 4):
    end value and the three amplitudes; ``covariance``: shape (m, 4, 4);
    ``noise``: standard deviation of the samples about the curve, degrees; ``correlation``: between neighbouring bins.
    """

    start: float
    taus: Floats
    weight: Floats
    coefficients: Floats
    covariance: Floats
    noise: float
    correlation: float
    bin_seconds: float

    def functional(self, loads: Floats, extra_variance: Floats | float = 0.0) -> Mixture:
        """The distribution of a linear function of the coefficients; ``loads``: shape (m, 4)."""
        mean = np.einsum("mi,mi->m", loads, self.coefficients)
        variance = np.einsum("mi,mij,mj->m", loads, self.covariance, loads)
        return Mixture(self.weight, mean, np.sqrt(np.maximum(variance, 0.0) + extra_variance))

    def decays(self, seconds: float) -> Floats:
        """exp(-t / tau) of every model at a time, shape (m, 3); 0 where a model has no such term."""
        age = max(seconds - self.start, 0.0)
        with np.errstate(invalid="ignore"):
            return np.nan_to_num(np.exp(-age / self.taus), nan=0.0)

    def grid_variance(self, seconds: float) -> Floats:
        """What the time constants between those of the grid leave open of the terms still running, shape (m,)."""
        apart = math.log(_LONGEST_TAU / _SHORTEST_TAU) / math.sqrt(12.0)
        fine, middle = apart / (_FINE.taus.size - 1), apart / (_MIDDLE.taus.size - 1)
        body = math.log(_BODIES[1][0] / _BODIES[0][0]) / math.sqrt(12.0)
        spread = np.where(np.isfinite(self.taus[:, 2:]), [[middle, middle, body]], [[fine, fine, 0.0]])
        age = max(seconds - self.start, 0.0)
        with np.errstate(invalid="ignore"):
            slopes = np.nan_to_num(self.coefficients[:, 1:] * self.decays(seconds) * age / self.taus, nan=0.0)
        return np.asarray(((spread * slopes) ** 2).sum(axis=1), dtype=np.float64)

    def curve(self, seconds: Floats) -> Floats:
        """The temperature of the mixture's mean at times, shape (n,), for times from ``start``."""
        keep = np.argsort(self.weight)[::-1][:60]
        share = self.weight[keep] / self.weight[keep].sum()
        amplitudes, taus = share[:, None] * self.coefficients[keep, 1:], self.taus[keep]
        there = np.isfinite(taus)
        # The models share the time constants of a grid: what they add up to is one exponential for each of these.
        each, place = np.unique(taus[there], return_inverse=True)
        heights = np.bincount(place, weights=amplitudes[there], minlength=each.size)
        age = np.maximum(seconds - self.start, 0.0)
        end = float(share @ self.coefficients[keep, 0])
        return np.asarray(end + np.exp(-age[:, None] / each) @ heights, dtype=np.float64)


@dataclass(frozen=True)
class Binned:
    """Samples averaged over bins of equal width: ``middle`` seconds, ``celsius``, ``width`` seconds of a bin.

    ``gap``: bins from the one before, shape (n,); 1 where none is missing.
    """

    middle: Floats
    celsius: Floats
    width: float

    @property
    def gap(self) -> Floats:
        """Number of bins between each and the one before."""
        steps = np.ones(self.middle.size)
        steps[1:] = np.maximum(np.round(np.diff(self.middle) / self.width), 1.0)
        return steps

    def since(self, start: float) -> Binned:
        """The bins that begin at or after a time."""
        keep = self.middle - self.width / 2 >= start - 1e-6
        return Binned(self.middle[keep], self.celsius[keep], self.width)


def binned(seconds: Floats, celsius: Floats, most: int = 160) -> Binned:
    """Average the finite samples over at most ``most`` bins, stray samples pulled to their neighbours."""
    there = np.isfinite(celsius)
    seconds, celsius = seconds[there], celsius[there]
    if seconds.size == 0:
        return Binned(np.zeros(0), np.zeros(0), 1.0)
    celsius = _without_strays(celsius)
    span = float(seconds[-1] - seconds[0])
    gaps = np.diff(seconds)
    usual = float(np.median(gaps[gaps > 0])) if (gaps > 0).any() else 1.0
    width = max(usual, span / most, 1e-3)
    place = np.floor((seconds - seconds[0]) / width + 1e-9).astype(np.int64)
    counts = np.bincount(place)
    sums = np.bincount(place, weights=celsius)
    full = counts > 0
    middle = seconds[0] + (np.flatnonzero(full) + 0.5) * width
    return Binned(middle, sums[full] / counts[full], width)


def _without_strays(celsius: Floats) -> Floats:
    """Single samples that jump away from both neighbours and back, as a bad read does, put between them."""
    if celsius.size < 5:
        return celsius
    middle = np.median(np.vstack([celsius[:-2], celsius[1:-1], celsius[2:]]), axis=0)
    away = np.abs(celsius[1:-1] - middle)
    # Real temperatures of a chip do jump by tens of degrees, but they do not come back in one sample.
    limit = max(6.0 * float(np.median(away)), 6.0)
    mended = celsius.copy()
    mended[1:-1] = np.where(away > limit, middle, celsius[1:-1])
    return mended


Effort = Literal["quick", "middle", "full"]


def _body_expected(data: Binned, rise_celsius: float | None) -> tuple[float, float]:
    """Mean and spread of the chassis's amplitude: it warms with the rise, so that its term is negative as it does."""
    early = float(np.mean(data.celsius[: max(1, data.celsius.size // 20)]))
    late = float(np.mean(data.celsius[-max(1, data.celsius.size // 10) :]))
    here = late - early
    whole = abs(here) if rise_celsius is None else max(abs(rise_celsius), abs(here))
    # A stretch that hardly moves may be the tail of a warm-up or of a cooling: then the sign is that of the whole.
    sign = math.copysign(1.0, here if abs(here) > 0.3 * whole or rise_celsius is None else rise_celsius)
    return -sign * _BODY_SHARE * whole, _BODY_SPREAD * whole + _BODY_LEAST


def fit_rise(data: Binned, effort: Effort = "full", rise_celsius: float | None = None) -> Rise | None:
    """Fit the mixture to binned samples; None for fewer than 6 bins.

    ``rise_celsius``: from the lowest to the highest of the whole series (negative where it falls), when the samples are
    only its last part: what a chassis can still have in it goes by the whole.

    ``effort``: ``full`` for an answer, ``middle`` (a coarse grid of time constants) to look back over many beginnings
    of a series, ``quick`` (and one correlation of the noise) to compare starts.
    """
    n = data.middle.size
    if n < 6:
        return None
    start = float(data.middle[0] - data.width / 2)
    age = data.middle - start
    if effort == "quick":
        solved = _solve(age, data, _COARSE, 0.75, ())
    else:
        chance = 1.0 - sum(share for _, share in _BODIES)
        plain = [_solve(age, data, _COARSE, rho, (), chance=chance)[0] for rho in _CORRELATIONS]
        # The coarse grid has told which correlations matter and how large the noise is: the rest is done for those.
        top = max(one.log_evidence for one in plain)
        likely = [one for one in plain if one.log_evidence > top - 6.0]
        about = _body_expected(data, rise_celsius)
        solved = []
        for one in likely:
            if effort == "full":
                solved += _solve(age, data, _FINE, one.correlation, (), one.variance, chance=chance)
            else:
                solved.append(one)
            grid = _MIDDLE if effort == "full" else _COARSE
            solved += _solve(age, data, grid, one.correlation, _BODIES, one.variance, about)
    evidence = np.array([one.log_evidence for one in solved])
    share = np.exp(evidence - evidence.max())
    share = share / share.sum()
    weight = np.concatenate([part * one.weight for part, one in zip(share.tolist(), solved, strict=True)])
    keep = weight > 1e-6 * float(weight.max())
    best_one = solved[int(share.argmax())]
    return Rise(
        start=start,
        taus=np.concatenate([one.taus for one in solved])[keep],
        weight=weight[keep] / weight[keep].sum(),
        coefficients=np.concatenate([one.coefficients for one in solved])[keep],
        covariance=np.concatenate([one.covariance for one in solved])[keep],
        noise=float(np.sqrt(np.mean(best_one.residual**2))),
        correlation=float((share * np.array([one.correlation for one in solved])).sum()),
        bin_seconds=data.width,
    )


@dataclass(frozen=True, eq=False)
class _Grid:
    """The models tried: ``taus`` (k,); ``columns`` (m, 3) of each in the design; ``model_taus`` (m, 2); ``log_prior``.

    ``used``: shape (m, 3), which coefficients a model has.
    """

    taus: Floats
    columns: NDArray[np.intp]
    model_taus: Floats
    log_prior: Floats
    used: NDArray[np.bool_]

    @cached_property
    def prior(self) -> Floats:
        """Weight of the normal prior on each coefficient of each model, shape (m, 3), and 1 for one that it lacks.

        That keeps the matrix of a model regular whose column is empty.
        """
        flat = np.array([1e-6, 1.0 / AMPLITUDE_CELSIUS**2, 1.0 / AMPLITUDE_CELSIUS**2])
        return np.asarray(flat + np.where(self.used, 0.0, 1.0), dtype=np.float64)

    @cached_property
    def shrinking(self) -> Floats:
        """The same with 0 for a coefficient that a model lacks, shape (m, 3)."""
        return np.where(self.used, self.prior, 0.0)

    @cached_property
    def terms(self) -> Floats:
        """How many exponentials each model has, shape (m,)."""
        return np.asarray(self.used[:, 1:].sum(axis=1), dtype=np.float64)

    def before(self, tau: float) -> _Grid:
        """Those models that a chassis of that time constant can follow: its node is the slowest by a factor."""
        return _before(self, tau)

    @classmethod
    def of(cls, count: int) -> _Grid:
        grid = np.geomspace(_SHORTEST_TAU, _LONGEST_TAU, count)
        logs = np.log(grid)

        def density(about: tuple[float, float]) -> Floats:
            value = np.exp(-0.5 * ((logs - about[0]) / about[1]) ** 2)
            return np.asarray(value / value.sum(), dtype=np.float64)

        fast, slow, lone = density(_FAST), density(_SLOW), density(_LONE)
        first, second = np.nonzero(grid[None, :] >= _RATIO * grid[:, None])
        mass = fast[first] * slow[second]
        none = np.full(count, count + 1)
        columns = np.concatenate(
            [
                [[0, count + 1, count + 1]],
                np.column_stack([np.zeros(count), np.arange(count) + 1, none]),
                np.column_stack([np.zeros(first.size), first + 1, second + 1]),
            ]
        ).astype(np.intp)
        nans = np.full(count, math.nan)
        taus = np.concatenate(
            [[[math.nan, math.nan]], np.column_stack([grid, nans]), np.column_stack([grid[first], grid[second]])]
        )
        prior = np.concatenate([[_PRIOR_CONSTANT], _PRIOR_LONE * lone, _PRIOR_PAIR * mass / mass.sum()])
        used = np.isfinite(np.column_stack([np.zeros(taus.shape[0]), taus]))
        return cls(grid, columns, taus, np.log(np.maximum(prior, 1e-12)), used)


@lru_cache(maxsize=64)
def _before(grid: _Grid, tau: float) -> _Grid:
    kept = np.nan_to_num(grid.model_taus, nan=0.0).max(axis=1) * _BODY_RATIO <= tau
    return _Grid(grid.taus, grid.columns[kept], grid.model_taus[kept], grid.log_prior[kept], grid.used[kept])


_COARSE = _Grid.of(28)
_MIDDLE = _Grid.of(42)
_FINE = _Grid.of(64)


def _design(age: Floats, width: float, taus: Floats) -> Floats:
    """Columns 1, exp(-t / tau) averaged over a bin for each tau of the grid, and 0; shape (n, taus + 2)."""
    # The mean of an exponential over a bin is more than its value in the middle: by sinh(x) / x, x = width / 2 tau.
    half = np.minimum(width / taus / 2, 50.0)
    swell = np.where(half > 1e-6, np.sinh(half) / np.maximum(half, 1e-6), 1.0)
    decays = np.minimum(np.exp(-age[:, None] / taus[None, :]) * swell, 1.0)
    return np.column_stack([np.ones(age.size), decays, np.zeros(age.size)])


@dataclass(frozen=True)
class _Solved:
    """Every model of a grid at one correlation and with one chassis or none (``body``: its time constant)."""

    weight: Floats
    coefficients: Floats
    covariance: Floats
    taus: Floats
    residual: Floats
    log_evidence: float
    variance: float
    correlation: float
    body: float | None


def _solve(
    age: Floats,
    data: Binned,
    grid: _Grid,
    correlation: float,
    bodies: Sequence[tuple[float, float]],
    variance: float | None = None,
    about_body: tuple[float, float] = (0.0, 1.0),
    *,
    chance: float = 1.0,
) -> list[_Solved]:
    """Every model of the grid by regularised least squares at one correlation: with each chassis, or without one.

    ``bodies``: time constant and prior chance of each chassis, () for none, whose prior chance is ``chance``;
    ``about_body``: mean and spread of its amplitude; ``variance``: of the innovations, when it is nearly known; else it
    is found by iteration.
    """
    # Work about the last value, so that the flat prior on the end value is flat where it matters.
    about = float(data.celsius[-1])
    design = _design(age, data.width, grid.taus)
    slow = _design(age, data.width, np.array([tau for tau, _ in bodies] or [1.0]))[:, 1:-1]
    table = np.column_stack([design, slow, data.celsius - about])
    white = _whitened(table, data.gap, correlation)
    gram = white.T @ white
    start = max(float(np.mean(np.diff(white[:, -1]) ** 2)) / 2.0, 1e-3) if variance is None else variance
    rounds = 6 if variance is None else 2
    if not bodies:
        return [_with_body(gram, grid, data, design, about, correlation, None, math.log(chance), start, rounds)]
    first = gram.shape[0] - 1 - len(bodies)
    return [
        _with_body(
            gram,
            grid,
            data,
            design,
            about,
            correlation,
            _Body(tau, first + place, slow[:, place], *about_body),
            math.log(share),
            start,
            2,
        )
        for place, (tau, share) in enumerate(bodies)
    ]


@dataclass(frozen=True)
class _Body:
    """A chassis: its time constant, its column in the table, that column's values, and what its amplitude may be."""

    tau: float
    column: int
    values: Floats
    mean: float
    spread: float


def _with_body(
    gram: Floats,
    grid: _Grid,
    data: Binned,
    design: Floats,
    about: float,
    correlation: float,
    body: _Body | None,
    log_chance: float,
    variance: float,
    rounds: int,
) -> _Solved:
    """The models of the grid, with the amplitude of a chassis integrated out of each where there is one."""
    n = data.middle.size
    grid = grid if body is None else grid.before(body.tau)
    inner = gram[grid.columns[:, :, None], grid.columns[:, None, :]]
    right = gram[grid.columns, -1]
    total = float(gram[-1, -1])
    log_amplitude = math.log(AMPLITUDE_CELSIUS) * grid.terms
    spent = 1.0 + 1.5 * grid.terms + (0.0 if body is None else 1.0)
    log_prior = grid.log_prior
    cross, own, own_right = np.zeros((inner.shape[0], 3)), 0.0, 0.0
    if body is not None:
        column = body.column
        cross, own, own_right = gram[grid.columns, column], float(gram[column, column]), float(gram[column, -1])
        # Its expected part is taken off the samples; what is fitted is the difference from it.
        right = right - body.mean * cross
        total += body.mean * (body.mean * own - 2.0 * own_right)
        own_right -= body.mean * own

    score = squares = np.zeros(inner.shape[0])
    covariance, coefficients = inner, right
    weight = squares
    for _ in range(rounds):
        # Normal prior on the chassis's amplitude: its column is taken out of all others (Schur complement).
        stiff = own + variance / (body.spread**2 if body is not None else 1.0)
        left = inner - cross[:, :, None] * cross[:, None, :] / stiff if body is not None else inner
        aim = right - cross * (own_right / stiff) if body is not None else right
        rest = total - own_right**2 / stiff if body is not None else total
        stiffness = left / variance
        stiffness[:, _DIAGONAL, _DIAGONAL] += grid.prior
        covariance, determinant = _inverse(stiffness)
        coefficients = _times(covariance, aim / variance)
        fitted = (coefficients * aim).sum(axis=1)
        bent = (coefficients * _times(left, coefficients)).sum(axis=1)
        squares = np.maximum(rest - 2 * fitted + bent, 1e-9)
        log_det = np.log(np.maximum(determinant, 1e-300))
        shrink = (coefficients**2 * grid.shrinking).sum(axis=1)
        score = log_prior - 0.5 * (squares / variance + shrink + log_det) - log_amplitude
        if body is not None:
            score = score - 0.5 * math.log(1.0 + own * body.spread**2 / variance)
        weight = np.exp(score - score.max())
        weight = weight / weight.sum()
        fresh = max(float((weight * squares / np.maximum(n - spent, 1.0)).sum()), 1e-4)
        if abs(fresh - variance) < 0.03 * variance:
            break
        variance = fresh
    log_evidence = float(score.max() + np.log(np.exp(score - score.max()).sum())) + log_chance
    log_evidence += -0.5 * n * math.log(variance) + 0.5 * math.log(1.0 - correlation**2)
    # The noise is itself estimated: widen as Student's t does beside the normal.
    effective = max(n * (1 - correlation) / (1 + correlation) - 5.0, 2.0)
    full, spread, taus = _joined(coefficients, covariance, grid, body, cross, own, own_right, variance)
    spread = np.asarray(spread * (1.0 + 2.0 / effective) ** 2, dtype=np.float64)
    order = np.argsort(weight)[::-1][:8]
    share = weight[order] / weight[order].sum()
    curve = np.einsum("k,ki,nki->n", share, coefficients[order], design[:, grid.columns[order]])
    if body is not None:
        curve = curve + float((share * full[order, 3]).sum()) * body.values
    full[:, 0] += about
    left_over = data.celsius - about - curve
    tau_of = None if body is None else body.tau
    return _Solved(weight, full, spread, taus, left_over, log_evidence, variance, correlation, tau_of)


def _joined(
    coefficients: Floats,
    covariance: Floats,
    grid: _Grid,
    body: _Body | None,
    cross: Floats,
    own: float,
    own_right: float,
    variance: float,
) -> tuple[Floats, Floats, Floats]:
    """Coefficients (m, 4), covariance (m, 4, 4) and time constants (m, 3) with the chassis as the last."""
    m = coefficients.shape[0]
    full, spread = np.zeros((m, 4)), np.zeros((m, 4, 4))
    full[:, :3], spread[:, :3, :3] = coefficients, covariance
    taus = np.column_stack([grid.model_taus, np.full(m, math.nan)])
    if body is not None:
        stiff = own + variance / body.spread**2
        slope = -cross / stiff
        full[:, 3] = body.mean + own_right / stiff + (slope * coefficients).sum(axis=1)
        joint = np.einsum("mi,mij->mj", slope, covariance)
        spread[:, 3, :3] = spread[:, :3, 3] = joint
        spread[:, 3, 3] = (joint * slope).sum(axis=1) + variance / stiff
        taus[:, 2] = body.tau
    return full, spread, taus


_DIAGONAL = np.arange(3)


def _times(matrix: Floats, vector: Floats) -> Floats:
    """Matrices (m, 3, 3) times vectors (m, 3)."""
    return np.asarray(np.einsum("mij,mj->mi", matrix, vector), dtype=np.float64)


def _inverse(matrix: Floats) -> tuple[Floats, Floats]:
    """Inverse and determinant of symmetric 3 by 3 matrices, shape (m, 3, 3): by cofactors, ten times as fast as LU."""
    a, b, c = matrix[:, 0, 0], matrix[:, 0, 1], matrix[:, 0, 2]
    d, e, f = matrix[:, 1, 1], matrix[:, 1, 2], matrix[:, 2, 2]
    first, second, third = d * f - e * e, c * e - b * f, b * e - c * d
    determinant = a * first + b * second + c * third
    inverse = np.empty_like(matrix)
    inverse[:, 0, 0], inverse[:, 1, 1], inverse[:, 2, 2] = first, a * f - c * c, a * d - b * b
    inverse[:, 0, 1] = inverse[:, 1, 0] = second
    inverse[:, 0, 2] = inverse[:, 2, 0] = third
    inverse[:, 1, 2] = inverse[:, 2, 1] = b * c - a * e
    return inverse / determinant[:, None, None], determinant


def _whitened(table: Floats, gap: Floats, correlation: float) -> Floats:
    if correlation <= 0.0:
        return table
    decay = correlation ** gap[1:, None]
    white = table.copy()
    white[1:] = (table[1:] - decay * table[:-1]) * (math.sqrt(1.0 - correlation**2) / np.sqrt(1.0 - decay**2))
    # In the scale of the innovations all rows have one variance; the first row has that of the process itself.
    white[0] = table[0] * math.sqrt(1.0 - correlation**2)
    return white


def _normal_cdf(z: Floats) -> Floats:
    # Abramowitz and Stegun 26.2.17, error below 7.5e-8; scipy would have to be imported for its own.
    x = np.abs(z)
    k = 1.0 / (1.0 + 0.2316419 * x)
    poly = k * (0.319381530 + k * (-0.356563782 + k * (1.781477937 + k * (-1.821255978 + k * 1.330274429))))
    tail = np.exp(-0.5 * np.minimum(x, 38.0) ** 2) / math.sqrt(2 * math.pi) * poly
    return np.asarray(np.where(z >= 0, 1.0 - tail, tail), dtype=np.float64)
