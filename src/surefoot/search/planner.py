"""The posterior search: the next run is the one that buys the most certainty a bench minute, crashes priced in.

Two stages, told apart by the evidence alone. *Climb*: until something fails, go deeper, by the full stride where few
edges lie and by two typical decades of hazard further on, where a failure should come soon after the edge and not long
after. *Narrow*: look one step ahead. Each run that the rules allow is judged by what its endings would do to the risk:
the quantile loss of the best claim, in the knob's unit, which is what not knowing the edge costs. Its worth is the
expected fall of that risk; its price the bench minutes that it takes on average, a crash or a caught failure included.
The search stops when the claim is likely within ``within`` of the best depth, or when no run is worth its minutes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.search.certificate import certify_from
from surefoot.search.effort import effort_named
from surefoot.search.evidence import Alternative, Certificate, Evidence, Goal, Proposal
from surefoot.search.likelihood import log_survival
from surefoot.search.own_evidence import deepest_believed
from surefoot.search.posterior import Posterior, posterior
from surefoot.search.prior import RUN_SPREAD, STRAY_FAILURES, model_confidence, typical_per_decade
from surefoot.search.rules import Allowed, allowed
from surefoot.search.words import chance_words, claim_text
from surefoot.units import Knob

Floats = NDArray[np.float64]

MINUTES = (1.0, 2.0, 4.0, 8.0, 15.0, 22.0, 30.0, 45.0, 60.0, 90.0)
"""Lengths of run that are considered, minutes under load."""
STOCK_MINUTES = 2.0
STRIDE_MINUTES = 1.0
CAREFUL_MINUTES = 4.0
"""Length of a full stride of the climb, and of a careful one."""
FULL_STRIDE_SHARE = 1.0 / 3.0
"""Share of the knob's range in which the climb takes full strides: few edges lie there. Common practice, no source."""
CAREFUL_STRIDE_DECADES = 2.0
MOST_GAIN_DECADES = 6.0
"""Depth given up beyond this many typical depths per decade counts no further."""
SOFT_PRIOR_WEIGHT = 2.0
"""How many failures the goal's ``soft_share`` is worth."""
MOST_DEPTHS = 14
NEGLIGIBLE = 1e-5


@dataclass(frozen=True, eq=False)
class Outlook:
    """The runs considered. ``depths`` (n,), ``minutes`` (k,); the rest (n, k).

    ``price_minutes``: bench minutes on average; ``weighed_minutes``: the same with crashes weighed by the
    effort's aversion; ``worth``: expected fall of the risk, in the knob's unit.
    """

    depths: Floats
    minutes: Floats
    failure_chance: Floats
    price_minutes: Floats
    weighed_minutes: Floats
    worth: Floats

    def best(self, worth_per_hour: float) -> tuple[int, int]:
        """The depth at which worth per minute can be greatest, and how long there pays at ``worth_per_hour``.

        The length that pays is longer than the one of the greatest rate: it saves setting up again.
        """
        rate = self.worth / self.weighed_minutes
        depth = int(np.unravel_index(int(np.argmax(rate)), rate.shape)[0])
        return depth, int(np.argmax(self.worth[depth] - worth_per_hour / 60.0 * self.weighed_minutes[depth]))

    def gain_per_hour(self, at: tuple[int, int]) -> float:
        """Worth of a run by the hour of what it takes."""
        return float(self.worth[at] / self.weighed_minutes[at] * 60.0)

    def alternatives(self, worth_per_hour: float) -> tuple[Alternative, ...]:
        """For each depth the length that pays best."""
        found = []
        for i, depth in enumerate(self.depths):
            j = int(np.argmax(self.worth[i] - worth_per_hour / 60.0 * self.weighed_minutes[i]))
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


def soft_share(evidence: Sequence[Evidence], goal: Goal) -> float:
    """Expected share of failures that the load catches itself, learned from the unit's own failures."""
    failures = [piece.soft for piece in evidence if piece.failed]
    return (sum(failures) + SOFT_PRIOR_WEIGHT * goal.soft_share) / (len(failures) + SOFT_PRIOR_WEIGHT)


def worth_threshold(knob: Knob, goal: Goal) -> float:
    """What an hour must gain, in the knob's unit."""
    if goal.worth_per_hour is None:
        return effort_named(goal.effort).worth_decades_per_hour * typical_per_decade(knob)
    return goal.worth_per_hour


def look_ahead(after: Posterior, knob: Knob, evidence: Sequence[Evidence], goal: Goal, ceiling: float) -> Outlook:
    """Judge every run that the rules allow: depths on the knob's steps up to ``ceiling``, lengths from MINUTES."""
    minutes = np.asarray(MINUTES)
    hours = np.concatenate(([0.0], minutes / 60.0))
    goal_weight = after.goal_weight
    alive = goal_weight > NEGLIGIBLE * goal_weight.max()
    part = after.grid.rows(alive)
    goal_depth = part.goal_depth
    weight = after.weight[alive]
    weight = weight / weight.sum()
    depths = _depths(goal_depth[:, 0], weight.sum(axis=1), knob, ceiling)

    hazard = part.hazard(depths[:, None, None])
    # survival: (lengths + 1, depths, n, k); a failure between two lengths is one ending.
    survival = np.exp(log_survival(hazard, hours[:, None, None, None], RUN_SPREAD))
    held = np.einsum("tdnk,nk->tdn", survival[1:], weight)
    ever = np.einsum("tdnk,nk->tdn", survival, weight)
    failed = ever[:-1] - ever[1:]
    flat = weight.sum(axis=1)
    failed = failed + STRAY_FAILURES * failed.sum(axis=2, keepdims=True) * flat

    most = MOST_GAIN_DECADES * typical_per_decade(knob)
    chance_held = held.sum(axis=2)
    chance_failed = failed.sum(axis=2)
    now = _risk(flat[None, :], goal_depth[:, 0], goal, most)[0]
    gain_held = chance_held * (now - _risk(held, goal_depth[:, 0], goal, most))
    gain_failed = np.cumsum(chance_failed * (now - _risk(failed, goal_depth[:, 0], goal, most)), axis=0)
    worth = (gain_held + gain_failed).T

    failure_chance = np.clip(1.0 - chance_held, 0.0, 1.0).T
    # Minutes under load on average: the area under the survival curve, by trapezium between the lengths.
    alive_at = ever.sum(axis=2)
    area = np.cumsum(0.5 * (alive_at[:-1] + alive_at[1:]) * np.diff(hours)[:, None] * 60.0, axis=0).T
    share = soft_share(evidence, goal)
    crash = failure_chance * (1.0 - share) * goal.crash_minutes
    price = goal.setup_minutes + area + failure_chance * share * goal.soft_minutes + crash
    weighed = price + (effort_named(goal.effort).crash_aversion - 1.0) * crash
    return Outlook(depths, minutes, failure_chance, price, weighed, worth)


def _depths(goal_depth: Floats, weight: Floats, knob: Knob, ceiling: float) -> Floats:
    total = np.cumsum(weight)
    shallow = float(np.interp(0.02, total, goal_depth))
    steps = np.arange(0, round(ceiling / knob.step) + 1) * knob.step
    worthy = steps[steps >= min(shallow, ceiling) - 1e-9]
    if worthy.size > MOST_DEPTHS:
        worthy = worthy[np.unique(np.linspace(0, worthy.size - 1, MOST_DEPTHS).round().astype(int))]
    return np.asarray(worthy, dtype=np.float64)


def _risk(goal_weight: Floats, goal_depth: Floats, goal: Goal, most: float) -> Floats:
    """Least quantile loss of posteriors over the goal depth: last axis n, weights not normalised; knob's unit.

    The claim r is the quantile that minimises E[(g - r)(c - 1{g < r})] / c, c the doubt allowed (Koenker and Bassett
    1978, Regression Quantiles): depth given up, and depth claimed in error at 1/c - 1 times its weight. What is left
    of that loss is what ignorance costs. It is concave in the weights, so that no run has a negative worth. More than
    ``most`` given up counts as ``most``: else the small chance that a failure was a stray one rules the choice.
    """
    doubt = 1.0 - model_confidence(goal)
    total = np.cumsum(goal_weight, axis=-1)
    whole = np.maximum(total[..., -1:], 1e-300)
    claim = _quantile(total, whole * doubt, goal_depth)[..., None]
    apart = np.minimum(goal_depth - claim, most)
    loss = (goal_weight * apart * (doubt - (apart < 0))).sum(axis=-1) / whole[..., 0]
    return np.asarray(loss / doubt)


def _quantile(total: Floats, target: Floats, depth: Floats) -> Floats:
    """Depth at which cumulated weights reach a target, interpolated inside the cell."""
    at = np.minimum((total < target).sum(axis=-1), depth.size - 1)
    here = np.take_along_axis(total, at[..., None], axis=-1)[..., 0]
    before = np.where(at > 0, np.take_along_axis(total, np.maximum(at - 1, 0)[..., None], axis=-1)[..., 0], 0.0)
    inside = (target[..., 0] - before) / np.maximum(here - before, 1e-300)
    return np.asarray(depth[at] + (np.clip(inside, 0.0, 1.0) - 0.5) * (depth[1] - depth[0]))


class PosteriorStrategy:
    """The product's own search."""

    name = "posterior"

    def recommend(self, knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Certificate | None:
        """The deepest depth that the posterior certifies for the goal."""
        return certify_from(posterior(knob, evidence, goal), knob, evidence, goal)

    def propose(self, knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Proposal:
        """The next run, or the stop."""
        rule = allowed(knob, evidence, goal)
        after = posterior(knob, evidence, goal)
        known = certify_from(after, knob, evidence, goal)
        claim = claim_text(known, knob, goal)
        if rule.stop:
            return _stop(rule.stop, f"Stop: {rule.why}.", claim)
        if not any(piece.depth <= 0 and not piece.failed for piece in evidence):
            chance = after.failure_chance(0.0, STOCK_MINUTES)
            reason = (
                f"First {STOCK_MINUTES:g} min at stock ({chance_words(chance)}): a unit that fails there has a "
                "fault and is not tuned."
            )
            settles = "Whether the unit is sound as it came."
            return Proposal(False, 0.0, STOCK_MINUTES, chance, reason, claim=claim, settles=settles)
        middle = min(after.goal_quantile(0.5), knob.deepest)
        if known is not None and known.depth >= knob.deepest - 1e-9:
            return _stop("limit", f"Stop: the limit of {knob.describe(knob.deepest)} itself is certified.", claim)
        if known is not None and middle - known.depth <= goal.within:
            reason = (
                f"Stop: {knob.describe(known.depth)} is certified and likely within {goal.within:g} {knob.unit} of "
                f"the deepest that would do ({knob.describe(round(middle, 1))})."
            )
            return _stop("certified", reason, claim)
        threshold = worth_threshold(knob, goal)
        outlook = look_ahead(after, knob, evidence, goal, rule.ceiling)
        alternatives = outlook.alternatives(threshold)
        climb = _climb(knob, evidence, goal, rule)
        if climb is not None:
            depth, minutes, why = climb
            chance = after.failure_chance(depth, minutes)
            reason = f"{minutes:g} min at {knob.describe(depth)} ({chance_words(chance)}): {why}."
            settles = f"Whether the edge lies deeper than about {knob.describe(depth)}."
            return Proposal(False, depth, minutes, chance, reason, "", claim, settles, alternatives)
        at = outlook.best(threshold)
        gain = outlook.gain_per_hour(at)
        # With nothing to claim yet the search is worth more: a quarter of the threshold is enough to go on.
        if gain < (threshold if known is not None else threshold / 4.0):
            return _not_worth(knob, evidence, goal, known, claim, gain, threshold)
        depth, minutes = float(outlook.depths[at[0]]), float(outlook.minutes[at[1]])
        chance = float(outlook.failure_chance[at])
        reason = (
            f"{minutes:g} min at {knob.describe(depth)} ({chance_words(chance)}) costs "
            f"{outlook.price_minutes[at]:.0f} bench min on average and is worth {outlook.worth[at]:.1f} {knob.unit} "
            "of certainty, the most for its price."
        )
        settles = _settles(knob, after, depth, minutes)
        return Proposal(False, depth, minutes, chance, reason, "", claim, settles, alternatives)


def _climb(knob: Knob, evidence: Sequence[Evidence], goal: Goal, rule: Allowed) -> tuple[float, float, str] | None:
    """Depth, minutes and why, while nothing has failed and the rules allow something deeper; else None."""
    deepest = deepest_believed(knob, evidence, goal) or 0.0
    if rule.ceiling <= deepest + 1e-9 or any(piece.failed for piece in evidence):
        return None
    full = deepest < FULL_STRIDE_SHARE * knob.limit - 1e-9
    stride = goal.max_stride if full else CAREFUL_STRIDE_DECADES * typical_per_decade(knob)
    depth = math.floor((deepest + stride) / knob.step + 1e-9) * knob.step
    if depth <= deepest + 1e-9:
        depth = (math.floor(deepest / knob.step + 1e-9) + 1) * knob.step
    depth = min(depth, rule.ceiling)
    if full:
        return depth, STRIDE_MINUTES, f"a full stride past {knob.describe(deepest)} that held"
    why = f"a careful stride of {depth - deepest:g} {knob.unit}, nothing having failed to {knob.describe(deepest)}"
    return depth, CAREFUL_MINUTES, why


def _settles(knob: Knob, after: Posterior, depth: float, minutes: float) -> str:
    edge = after.edge_mean
    side = "deeper" if depth > edge else "shallower"
    return (
        f"Whether the hazard at {knob.describe(depth)}, {abs(edge - depth):.0f} {knob.unit} {side} than the likely "
        f"edge, is below about one failure in {minutes:g} min."
    )


def _stop(why_stop: str, reason: str, claim: str) -> Proposal:
    return Proposal(True, 0.0, 0.0, 0.0, reason, why_stop=why_stop, claim=claim)


def _not_worth(
    knob: Knob,
    evidence: Sequence[Evidence],
    goal: Goal,
    known: Certificate | None,
    claim: str,
    gain: float,
    threshold: float,
) -> Proposal:
    """The stop because the next hour buys too little, named by what else is true of it."""
    buys = f"the next hour would gain about {gain:.1f} {knob.unit}, less than the {threshold:.1f} it must"
    deepest = deepest_believed(knob, evidence, goal) or 0.0
    if deepest >= knob.deepest - 1e-9 and not any(piece.failed for piece in evidence):
        return _stop(
            "limit", f"Stop: the limit of {knob.describe(knob.deepest)} held without a failure; {buys}.", claim
        )
    if known is None:
        return _stop("worth", f"Stop: nothing can be certified, and {buys}.", claim)
    why = "certified" if goal.worth_per_hour is None else "worth"
    return _stop(why, f"Stop: {knob.describe(known.depth)} is certified; {buys}.", claim)
