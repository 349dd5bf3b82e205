"""What is believed of a knob before its first run, and the allowances for a model that is somewhat wrong.

This is the one place where the search's prior and its allowances are stated.

The model: at depth x the hazard per hour is 10 ** ((x - m) / s) + background, m the edge (MTTF of one hour), s the
depth per decade of hazard.

* m: flat from stock to the knob's limit, and half as likely for a while past either end. Units of one model differ
  by tens of mV, models by more: no depth inside the limit is favoured, so shallow and deep units are served alike.
* s: one of three kinds of edge. *Typical*: log-normal around what is typical of the knob's unit (`TYPICAL_PER_DECADE`;
  a share of the limit where the unit is none of those). *Steep*: about half as deep a decade, a few units; without it
  a quick search, which has no time to see a slope, gives more away. *Soft*: more than twice as deep. The soft kind is
  given far more weight than its share of units (`SOFT_WEIGHT`), because an hour of bench time tells an edge of 5 from
  one of 10 mV per decade only now and then (`surefoot rehearse` shows it), and a claim that errs must err shallow.
  Kinds and not one wide kind: evidence against soft then pays off at once, and the claim goes deeper.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from surefoot.search.evidence import Goal
from surefoot.search.lent import EdgePrior
from surefoot.units import Knob

Floats = NDArray[np.float64]

TYPICAL_PER_DECADE = {"mV": 5.0, "V": 0.005, "uV": 5000.0, "µV": 5000.0, "MHz": 12.0, "GHz": 0.012, "kHz": 12000.0}
"""Depth per decade of hazard that is typical, by unit of measure. mV: *common practice, no source*. MHz of a core: *a
guess*, from 5 mV at some 2.4 MHz a millivolt, the slope of a voltage-frequency curve near its top. No unit was measured
for any of them, so the soft kind of edge below covers twice as much."""
MEMORY_MULTIPLE = 2.0
"""Memory clocks, as a multiple of core clocks: *a guess*; their offsets are counted in the effective rate, often twice
the clock, and their errors are retried before anything is seen to fail."""
LIMIT_SHARES = {"W": 1.0 / 40.0}
OTHER_LIMIT_SHARE = 1.0 / 50.0
"""Where no depth is typical: a share of the knob's limit. A power limit acts through the clock it leaves; *a guess*."""
TYPICAL_MIDDLE = 1.01
TYPICAL_SPREAD = 0.28
"""Middle of s among typical edges, as a multiple of what is typical of the unit of measure, and standard deviation of
ln s there."""
SOFT_MULTIPLE = 2.14
SOFT_SPREAD = 0.23
"""Middle of s among soft edges, as a multiple of the typical, and standard deviation of ln s there."""
SOFT_WEIGHT = 0.42
"""Weight of the soft kind: what keeps nine claims of ten honest where every unit is soft. Set, with all that is said of
s here and with RUN_SPREAD and DOUBT, by `tests/benchmarks/policy_sweep.py`."""
STEEP_MULTIPLE = 0.61
STEEP_SPREAD = 0.25
"""Middle of s among steep edges, as a multiple of the typical, and standard deviation of ln s there."""
STEEP_WEIGHT = 0.06
"""Weight of the steep kind; the other two share the rest."""
PER_DECADE_RANGE = (0.3, 3.4)
"""Least and greatest s considered, as multiples of the typical."""
BEYOND_LIMIT = 0.25
BELOW_STOCK = 0.15
"""How far past either end of the knob the prior on m goes on, as a share of the limit, at half weight."""
STOCK_SHORT_OF_GOAL = 0.1
"""How much less likely than others the goal depths are at which stock itself would not meet the goal: parts are shipped
with a guard band of 15 to 20 % of nominal (Leng and others, MICRO 2015; Papadimitriou and others)."""

RUN_SPREAD = 0.175
"""Variance of the hazard's factor between runs (likelihood.py, ``spread``)."""
STRAY_FAILURES = 0.001
"""Chance that a failure was not the setting's doing or was mislogged (likelihood.py, ``stray``)."""
BACKGROUND_SHARE = 0.10
"""Share of the goal's hazard set aside for failures that no depth explains."""
DOUBT = 0.918
"""Of the doubt the goal allows (1 - confidence), the share that the model may spend: set by the sweep (`pick`) so that
nine claims of ten hold in the worst population at any effort. In most, more of them do: the prior is gloomier."""
LENT_DOUBT = 0.9
"""The same with what a pool of very many units lends, that of fewer lying between (`Lent.trust`): that prior is less
gloomy, so less may be spent. In the proportion to DOUBT that `surefoot rehearse --pool` once asked for."""
DOUBT_TOGETHER = 1.5
"""The same for a setting of several knobs, as a multiple of one knob's. Each knob's prior is gloomier than any
population, and the gloom compounds where hazards add: with no more doubt than one knob has, such a setting was stepped
back further than nine true claims in ten ask. Set by `surefoot rehearse --knobs`, with and without a decade of sag."""
DOUBT_DECADES = 2.0
"""Decades of hours beyond which the doubt is cut in proportion: 100 h."""

EDGE_CELLS_PER_DECADE = 4
MOST_EDGE_CELLS = 480
DECADE_CELLS = 13


@dataclass(frozen=True, eq=False)
class Grid:
    """The grid the posterior lives on.

    ``goal_depth``: shape (n, 1), the depth at which the hazard just meets the goal; ``per_decade``: shape (1, k), s;
    ``log_prior``: shape (n, k). The edge m is ``goal_depth + decades * per_decade``. ``background``: per hour.
    """

    goal_depth: Floats
    per_decade: Floats
    log_prior: Floats
    decades: float
    background: float

    @property
    def edge(self) -> Floats:
        """Depth at which the MTTF is one hour, shape (n, k), background apart."""
        return np.asarray(self.goal_depth + self.decades * self.per_decade)

    def rows(self, keep: NDArray[np.bool_]) -> Grid:
        """The part of the grid at some goal depths, ``keep`` of shape (n,)."""
        return replace(self, goal_depth=self.goal_depth[keep], log_prior=self.log_prior[keep])

    def hazard(self, depth: float | Floats) -> Floats:
        """Failures per hour at a depth, or at depths of a shape that broadcasts against (n, k)."""
        exponent = (depth - self.goal_depth) / self.per_decade - self.decades
        return np.asarray(np.power(10.0, np.clip(exponent, -12.0, 6.0)) + self.background)


def typical_per_decade(knob: Knob) -> float:
    """The depth per decade of hazard that is typical of the knob's unit of measure, in that unit."""
    typical = TYPICAL_PER_DECADE.get(knob.unit)
    if typical is None:
        return knob.limit * LIMIT_SHARES.get(knob.unit, OTHER_LIMIT_SHARE)
    clock = knob.unit.endswith("Hz")
    return typical * MEMORY_MULTIPLE if clock and "mem" in f"{knob.name} {knob.domain}".lower() else typical


def model_doubt(goal: Goal) -> float:
    """The posterior probability of being wrong that a claim at the goal's confidence may have (DOUBT).

    Less of it for a longer MTTF: such a claim reaches further beyond what was seen, and leans more on the prior.
    """
    reach = max(1.0, float(np.log10(goal.mttf_hours)) / DOUBT_DECADES)
    return (1.0 - goal.confidence) * (DOUBT + (LENT_DOUBT - DOUBT) * (goal.lent.trust if goal.lent else 0.0)) / reach


def model_confidence(goal: Goal) -> float:
    """The posterior probability that a claim at the goal's confidence must have."""
    return 1.0 - model_doubt(goal)


def setting_confidence(goal: Goal, tuned: int) -> float:
    """The posterior probability that a claim on a setting with so many knobs off stock must have."""
    if tuned < 2:
        return model_confidence(goal)
    # What a pool lends is less gloomy, so less of it compounds.
    together = DOUBT_TOGETHER + (1.0 - DOUBT_TOGETHER) * (goal.lent.trust if goal.lent else 0.0)
    return 1.0 - min(together * model_doubt(goal), 0.5)


def grid_for(knob: Knob, goal: Goal) -> Grid:
    """The grid with the prior on it. Depends on the knob's unit, limit and step, on the goal's MTTF and on what a pool
    lends alone."""
    lent = goal.lent.to(knob) if goal.lent else None
    return _grid(typical_per_decade(knob), knob.limit, knob.step, goal.mttf_hours, lent)


@lru_cache(maxsize=32)
def _grid(typical: float, limit: float, step: float, mttf_hours: float, lent: EdgePrior | None = None) -> Grid:
    decades = float(np.log10(mttf_hours / (1.0 - BACKGROUND_SHARE)))
    low = -BELOW_STOCK * limit - max(decades, 0.0) * typical
    high = (1.0 + BEYOND_LIMIT) * limit + max(-decades, 0.0) * typical
    cell = max(min(typical / EDGE_CELLS_PER_DECADE, step / 2.0), (high - low) / MOST_EDGE_CELLS)
    goal_depth = np.asarray((np.arange(round(low / cell), round(high / cell)) + 0.5)[:, None] * cell, dtype=np.float64)
    least, most = PER_DECADE_RANGE
    log_s = np.linspace(np.log(least), np.log(most), DECADE_CELLS)[None, :]
    per_decade = typical * np.exp(log_s)
    edge = goal_depth + decades * per_decade
    inside = (edge >= 0) & (edge <= limit)
    sound = np.where(goal_depth >= 0, 0.0, np.log(STOCK_SHORT_OF_GOAL))
    log_prior = np.where(inside, 0.0, np.log(0.5)) + sound + _log_kinds(log_s)
    log_prior = np.asarray(log_prior - np.log(np.exp(log_prior).sum()))
    if lent is not None:
        log_prior = _with_lent(log_prior, lent, edge, np.log(per_decade))
    for array in (goal_depth, per_decade, log_prior):
        array.setflags(write=False)
    return Grid(goal_depth, per_decade, log_prior, decades, BACKGROUND_SHARE / mttf_hours)


def wide_density(knob: Knob, edge: Floats, log_per_decade: Floats) -> Floats:
    """The wide prior at edges and evenly spaced ln depths per decade that broadcast, not normalised.

    That of an edge whatever the goal: flat inside the limit, half as likely past either end.
    """
    inside = np.where((edge >= 0) & (edge <= knob.limit), 1.0, 0.5)
    return np.asarray(inside * np.exp(_log_kinds(log_per_decade - np.log(typical_per_decade(knob)))))


def _with_lent(log_prior: Floats, lent: EdgePrior, edge: Floats, log_per_decade: Floats) -> Floats:
    """The wide prior mixed with what a pool lends, each summing to its weight on the grid."""
    density = lent.density(edge, log_per_decade)
    total = float(density.sum())
    if total <= 0:
        return log_prior
    mixed = lent.weight * density / total + (1.0 - lent.weight) * np.exp(log_prior)
    return np.asarray(np.log(np.maximum(mixed, 1e-300)))


def _log_kinds(log_s: Floats) -> Floats:
    """Log prior of s on evenly spaced ln(s / typical): the kinds, each summing to its weight on the grid."""
    typical = np.exp(-0.5 * ((log_s - np.log(TYPICAL_MIDDLE)) / TYPICAL_SPREAD) ** 2)
    soft = np.exp(-0.5 * ((log_s - np.log(SOFT_MULTIPLE)) / SOFT_SPREAD) ** 2)
    steep = np.exp(-0.5 * ((log_s - np.log(STEEP_MULTIPLE)) / STEEP_SPREAD) ** 2)
    mixed = (1.0 - SOFT_WEIGHT) * typical / typical.sum() + SOFT_WEIGHT * soft / soft.sum()
    mixed = (1.0 - STEEP_WEIGHT) * mixed + STEEP_WEIGHT * steep / steep.sum()
    return np.asarray(np.log(np.maximum(mixed, 1e-300)))
