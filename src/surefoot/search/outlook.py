"""What a run would be worth and what it would cost: every run that the rules allow, judged one run ahead.

A run's ending (held, or failed within one of the lengths considered) changes the posterior; what matters of the change
is what it does to the risk of the best claim: depth given up, or claimed in error. A run is worth the expected fall of
that risk, in the knob's unit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from surefoot.search.effort import effort_named
from surefoot.search.evidence import Alternative, Goal
from surefoot.search.likelihood import log_survival
from surefoot.search.posterior import Posterior
from surefoot.search.prior import RUN_SPREAD, STRAY_FAILURES, Grid, model_doubt, typical_per_decade
from surefoot.units import Knob

Floats = NDArray[np.float64]

MINUTES = (1.0, 2.0, 4.0, 8.0, 15.0, 22.0, 30.0, 45.0, 60.0, 90.0, 120.0)
"""Lengths of run that are considered, minutes under load."""
MOST_GAIN_DECADES = 3.8
"""Depth given up beyond this many typical depths per decade counts no further: else the small chance that a failure
was a stray one rules the choice."""
MOST_DEPTHS = 20
MOST_CLAIMS = 100
NEGLIGIBLE = 1e-5


@dataclass(frozen=True, eq=False)
class Outlook:
    """The runs considered. ``depths`` (n,), ``minutes`` (k,); the rest (n, k).

    ``price_minutes``: bench minutes on average; ``weighed_minutes``: the same with crashes weighed by the effort's
    aversion; ``worth``: expected fall of the risk, in the knob's unit.
    """

    depths: Floats
    minutes: Floats
    failure_chance: Floats
    price_minutes: Floats
    weighed_minutes: Floats
    worth: Floats

    def net(self, worth_per_hour: float) -> Floats:
        """Of each run's worth, what is left once its minutes are paid for, (n, k)."""
        return np.asarray(self.worth - worth_per_hour / 60.0 * self.weighed_minutes)

    def alternatives(self, worth_per_hour: float) -> tuple[Alternative, ...]:
        """For each depth the length that pays best."""
        found = []
        net = self.net(worth_per_hour)
        for i, depth in enumerate(self.depths):
            j = int(np.argmax(net[i]))
            found.append(
                Alternative(
                    depth=float(depth),
                    minutes=float(self.minutes[j]),
                    failure_chance=float(self.failure_chance[i, j]),
                    price_minutes=float(self.price_minutes[i, j]),
                    worth=float(self.worth[i, j]),
                )
            )
        return tuple(found)


def look_ahead(
    after: Posterior,
    knob: Knob,
    goal: Goal,
    *,
    ceiling: float,
    deepest: float,
    soft_share: float,
    most_depths: int = MOST_DEPTHS,
) -> Outlook:
    """Judge every run that the rules allow: depths on the knob's steps up to ``ceiling``, lengths from MINUTES.

    ``deepest``: the deepest that held: nothing deeper may be claimed; ``soft_share``: of the failures, those that
    the load catches; ``most_depths``: considered, spread evenly.
    """
    hours = np.concatenate(([0.0], np.asarray(MINUTES) / 60.0))
    alive = after.goal_weight > NEGLIGIBLE * after.goal_weight.max()
    rows = slice(int(np.argmax(alive)), alive.size - int(np.argmax(alive[::-1])))
    goal_depth = after.grid.goal_depth[rows, 0]
    weight = after.weight[rows]
    weight = weight / weight.sum()
    flat = weight.sum(axis=1)
    depths = _depths(goal_depth, flat, knob, ceiling, most_depths)

    # ever: (depths, lengths + 1, n), the chance of each goal depth and of holding so long.
    ever = np.stack([np.einsum("tnk,nk->tn", survival(after.grid, float(depth))[:, rows], weight) for depth in depths])
    held = ever[:, 1:]
    failed = ever[:, :-1] - held
    failed = failed + STRAY_FAILURES * failed.sum(axis=2, keepdims=True) * flat
    alive_at = ever.sum(axis=2)
    chance_failed = failed.sum(axis=2)

    claims = _claims(knob, max(deepest, ceiling))
    loss = _loss(goal_depth, claims, knob, goal)
    deep = claims > deepest + 1e-9
    now = float((flat @ loss)[~deep].min())
    reach = claims[None, :] > np.maximum(depths, deepest)[:, None] + 1e-9
    loss_held = np.where(reach[:, None, :], np.inf, held @ loss).min(axis=2)
    loss_failed = (failed @ loss[:, ~deep]).min(axis=2)
    worth = alive_at[:, 1:] * now - loss_held + np.cumsum(chance_failed * now - loss_failed, axis=1)

    failure_chance = np.clip(1.0 - alive_at[:, 1:], 0.0, 1.0)
    # Minutes under load on average: the area under the survival curve, by trapezium between the lengths.
    area = np.cumsum(0.5 * (alive_at[:, :-1] + alive_at[:, 1:]) * np.diff(hours) * 60.0, axis=1)
    crash = failure_chance * (1.0 - soft_share) * goal.crash_minutes
    price = goal.setup_minutes + area + failure_chance * soft_share * goal.soft_minutes + crash
    weighed = price + (effort_named(goal.effort).crash_aversion - 1.0) * crash
    return Outlook(depths, np.asarray(MINUTES), failure_chance, price, weighed, worth)


@lru_cache(maxsize=160)
def survival(grid: Grid, depth: float) -> NDArray[np.float32]:
    """Chance to hold for nothing and for each of MINUTES at a depth, over the grid: (lengths + 1, n, k)."""
    hours = np.concatenate(([0.0], np.asarray(MINUTES) / 60.0))
    made = np.exp(log_survival(grid.hazard(depth), hours[:, None, None], RUN_SPREAD)).astype(np.float32)
    made.setflags(write=False)
    return made


def _depths(goal_depth: Floats, weight: Floats, knob: Knob, ceiling: float, most: int) -> Floats:
    total = np.cumsum(weight)
    shallow = float(np.interp(0.02, total, goal_depth))
    steps = np.arange(0, round(ceiling / knob.step) + 1) * knob.step
    worthy = steps[steps >= min(shallow, ceiling) - 1e-9]
    if worthy.size > most:
        worthy = worthy[np.unique(np.linspace(0, worthy.size - 1, most).round().astype(int))]
    return np.asarray(worthy, dtype=np.float64)


def _claims(knob: Knob, deepest: float) -> Floats:
    """The whole steps that may be claimed, thinned out where the knob's steps are very fine."""
    count = round(deepest / knob.step)
    return np.asarray(np.arange(0, count + 1, max(1, math.ceil(count / MOST_CLAIMS))) * knob.step, dtype=np.float64)


def _loss(goal_depth: Floats, claims: Floats, knob: Knob, goal: Goal) -> Floats:
    """Loss of each claim at each goal depth, (n, claims), in the knob's unit.

    Depth given up counts as it is, depth claimed in error 1/c - 1 times, c the doubt: the claim of least expected loss
    is then the quantile c (Koenker and Bassett 1978, Regression Quantiles), here among whole steps, so that the step's
    own share of what is given up is in the reckoning. The least loss is concave in the weights, so that no run that
    may be claimed on has a negative worth.
    """
    doubt = min(model_doubt(goal) * effort_named(goal.effort).plan_doubt, 0.5)
    apart = np.minimum(goal_depth[:, None] - claims[None, :], MOST_GAIN_DECADES * typical_per_decade(knob))
    return np.asarray(np.where(apart > 0, apart, -apart * (1.0 / doubt - 1.0)), dtype=np.float64)
