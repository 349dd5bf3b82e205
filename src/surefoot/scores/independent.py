"""Runs that were not taken in blocks, several configurations against one: for one comparison and for thousands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surefoot.errors import BadInput
from surefoot.runs import Floats
from surefoot.scores.drift import against_drift_many
from surefoot.scores.many_to_one import PLAIN_ALPHA, Corrected, Reach, Tails, corrected, exactly, reaches, trust
from surefoot.scores.students_t import two_sided
from surefoot.scores.tail_tables import tabled


@dataclass(frozen=True, slots=True)
class OneSpread:
    """Differences to the first by one common spread, for many data sets: ``common`` variance, shape (sets,);
    ``errors``, ``own_degrees`` (Welch and Satterthwaite), shape (sets, m); ``degrees`` of the common spread;
    ``corrected``; ``reaches``: of the first set's intervals."""

    common: Floats
    errors: Floats
    degrees: float
    own_degrees: Floats
    corrected: Corrected
    reaches: tuple[Reach, ...]


def one_spread(
    means: Floats, squares: Floats, counts: Floats, *, floor: float = 0.0, tails: Tails = exactly
) -> OneSpread:
    """Compare configurations with the first by a spread common to all, except where one varies more than the rest.

    ``means``, ``squares``: of each configuration its mean and its sum of squared deviations, shape (sets, m + 1);
    ``counts``: of runs, shape (m + 1,); ``floor``: the least variance of a run.
    """
    from scipy import special

    left = counts - 1
    degrees = float(left.sum())
    total = squares.sum(axis=1, keepdims=True)
    common = np.maximum(total[:, 0] / degrees, floor)
    safe = np.maximum(common, 1e-300)
    ratio = (squares / left) / np.maximum((total - squares) / (degrees - left), max(floor, 1e-300))
    more = np.asarray(special.fdtrc(left, degrees - left, ratio), dtype=np.float64)
    errors = np.sqrt(safe[:, None] * (1 / counts[0] + 1 / counts[1:]))
    parts = np.maximum(np.maximum(squares / left, floor) / counts, 1e-300)
    own = parts[:, 1:] + parts[:, :1]
    own_degrees = 1 / ((parts[:, 1:] / own) ** 2 / left[1:] + (parts[:, :1] / own) ** 2 / left[0])
    runs = int(counts.min())
    baseline_limit, other_limit, own_limit = trust(runs)
    apart = (more[:, :1] < baseline_limit) | (more[:, 1:] < other_limit)
    shares = np.broadcast_to(counts[1:] / (counts[1:] + counts[0]), errors.shape)
    own_allowed = np.where(apart, 1.0, own_limit / PLAIN_ALPHA)
    free = np.full(errors.shape, degrees)
    found = corrected(
        means[:, 1:] - means[:, :1], errors, free, np.sqrt(own), own_degrees, own_allowed, shares=shares, tails=tails
    )
    reach = reaches(found, errors[0], free[0], np.sqrt(own)[0], own_degrees[0], np.full(errors.shape[1], 0.5))
    return OneSpread(common, errors, degrees, own_degrees, found, reach)


def judged_one_after_the_other(sides: Floats, room: Floats | None = None) -> tuple[Floats, Floats]:
    """What `judging.judge` finds of runs taken one configuration after the other, for many data sets at once.

    ``sides``: shape (sets, configurations, repeats), each made in that order, the baseline first; ``room``: Celsius,
    the same shape. Returns the corrected chance of error and, where any passes 5 %, the chance with a drift allowed
    for (NaN else), shape (sets, configurations - 1); from tables, right to about 1 %. Raises BadInput for fewer than
    two configurations or repeats.
    """
    sets, many, repeats = sides.shape
    if min(many, repeats) < 2:
        raise BadInput("a comparison takes two configurations and two repeats at least.")
    means = sides.mean(axis=2)
    squares = np.sum((sides - means[:, :, None]) ** 2, axis=2)
    if many == 2:
        parts = squares / (repeats - 1) / repeats
        both = parts.sum(axis=1)
        degrees = (repeats - 1) * both**2 / np.sum(parts**2, axis=1)
        adjusted = two_sided((means[:, 1] - means[:, 0]) / np.sqrt(both), degrees)[:, None]
    else:
        adjusted = one_spread(means, squares, np.full(many, float(repeats)), tails=tabled).corrected.adjusted
    drifts = np.full((sets, many - 1), np.nan)
    shown = np.flatnonzero(adjusted.min(axis=1) <= 0.05)
    if shown.size:
        flat = sides[shown].reshape(shown.size, -1)
        warm = None if room is None else room[shown].reshape(shown.size, -1)
        found = against_drift_many(flat, np.repeat(np.arange(many), repeats), warm)
        drifts[shown] = _holm_rows(found.p_values)
    return adjusted, drifts


def _holm_rows(p_values: Floats) -> Floats:
    """`multiple.holm` of each row."""
    order = np.argsort(p_values, axis=1, kind="stable")
    left = np.arange(p_values.shape[1], 0, -1)
    steps = np.maximum.accumulate(np.take_along_axis(p_values, order, axis=1) * left, axis=1)
    made = np.empty_like(p_values)
    np.put_along_axis(made, order, np.minimum(1.0, steps), axis=1)
    return made
