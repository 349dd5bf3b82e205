"""The posterior search: the next run is the one that buys the most certainty a bench minute, crashes priced in.

One step of looking ahead. Each run that the rules allow is judged by what its endings would do to the *risk*: the
quantile loss of the best claim, in the knob's unit, which is what not knowing the edge costs. Its worth is the expected
fall of the logarithm of that risk; its price is the bench minutes that it takes on average, a crash or a caught failure
included. The search stops when the depth that may be claimed is likely within ``within`` of the best one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.search.evidence import Alternative, Certificate, Evidence, Goal, Proposal
from surefoot.search.likelihood import log_survival
from surefoot.search.posterior import Posterior, certificate_at, certify_from, posterior
from surefoot.search.prior import RUN_SPREAD, STRAY_FAILURES, model_confidence
from surefoot.search.rules import allowed
from surefoot.units import Knob

Floats = NDArray[np.float64]

MINUTES = (1.0, 2.0, 4.0, 8.0, 15.0, 30.0, 60.0)
"""Lengths of run that are considered, minutes under load."""
STOCK_MINUTES = 2.0
SOFT_PRIOR_WEIGHT = 2.0
"""How many failures the prior on the share of soft ones is worth."""
MOST_DEPTHS = 14
NEGLIGIBLE = 1e-5
SMALLEST_RISK = 1e-6


@dataclass(frozen=True, eq=False)
class Outlook:
    """The runs considered: shape (depths, minutes) each but the first two."""

    depths: Floats
    minutes: Floats
    failure_chance: Floats
    price_minutes: Floats
    worth: Floats

    def best(self) -> tuple[int, int]:
        """Where worth per minute is greatest."""
        rate = self.worth / self.price_minutes
        at = np.unravel_index(int(np.argmax(rate)), rate.shape)
        return int(at[0]), int(at[1])


def soft_share(evidence: Sequence[Evidence], goal: Goal) -> float:
    """Expected share of failures that the load catches itself, learned from the unit's own failures."""
    failures = [piece.soft for piece in evidence if piece.failed]
    expected = goal.soft_share
    return (sum(failures) + SOFT_PRIOR_WEIGHT * expected) / (len(failures) + SOFT_PRIOR_WEIGHT)


def look_ahead(after: Posterior, knob: Knob, evidence: Sequence[Evidence], goal: Goal, ceiling: float) -> Outlook:
    """Judge every run that the rules allow: depths on the knob's steps up to ``ceiling``, lengths from MINUTES."""
    minutes = np.asarray(MINUTES)
    hours = np.concatenate(([0.0], minutes / 60.0))
    goal_weight = after.goal_weight
    alive = goal_weight > NEGLIGIBLE * goal_weight.max()
    goal_depth = after.grid.goal_depth[alive]
    weight = after.weight[alive]
    weight = weight / weight.sum()
    depths = _depths(goal_depth[:, 0], weight.sum(axis=1), knob, ceiling)

    exponent = (depths[:, None, None] - goal_depth) / after.grid.per_decade - after.grid.decades
    hazard = np.power(10.0, np.clip(exponent, -12.0, 6.0)) + after.grid.background
    # survival: (lengths + 1, depths, n, k); a failure between two lengths is one ending.
    survival = np.exp(log_survival(hazard, hours[:, None, None, None], RUN_SPREAD))
    held = np.einsum("tdnk,nk->tdn", survival[1:], weight)
    ever = np.einsum("tdnk,nk->tdn", survival, weight)
    failed = ever[:-1] - ever[1:]
    flat = weight.sum(axis=1)
    failed = failed + STRAY_FAILURES * failed.sum(axis=2, keepdims=True) * flat

    chance_held = held.sum(axis=2)
    chance_failed = failed.sum(axis=2)
    now = _log_risk(flat[None, :], goal_depth[:, 0], goal)[0]
    gain_held = chance_held * (now - _log_risk(held, goal_depth[:, 0], goal))
    gain_failed = np.cumsum(chance_failed * (now - _log_risk(failed, goal_depth[:, 0], goal)), axis=0)
    worth = (gain_held + gain_failed).T

    failure_chance = np.clip(1.0 - chance_held, 0.0, 1.0).T
    share = soft_share(evidence, goal)
    failure_price = share * goal.soft_minutes + (1.0 - share) * goal.crash_minutes
    # Minutes under load on average: the area under the survival curve, by trapezium between the lengths.
    alive_at = ever.sum(axis=2)
    area = np.cumsum(0.5 * (alive_at[:-1] + alive_at[1:]) * np.diff(hours)[:, None] * 60.0, axis=0).T
    price = goal.setup_minutes + area + failure_chance * failure_price
    return Outlook(depths, minutes, failure_chance, price, worth)


def _depths(goal_depth: Floats, weight: Floats, knob: Knob, ceiling: float) -> Floats:
    total = np.cumsum(weight)
    shallow = float(np.interp(0.02, total, goal_depth))
    steps = np.arange(0, int(round(ceiling / knob.step)) + 1) * knob.step
    worthy = steps[steps >= min(shallow, ceiling) - 1e-9]
    if worthy.size > MOST_DEPTHS:
        worthy = worthy[np.unique(np.linspace(0, worthy.size - 1, MOST_DEPTHS).round().astype(int))]
    return np.asarray(worthy, dtype=np.float64)


def _log_risk(goal_weight: Floats, goal_depth: Floats, goal: Goal) -> Floats:
    """Log of the least quantile loss of posteriors over the goal depth: last axis n, weights not normalised.

    The claim is the quantile that minimises E[(g - r)(c - 1{g < r})], c the doubt allowed (Koenker and Bassett 1978);
    what is left of that loss, in the knob's unit, is what ignorance costs. It is concave in the weights, so that no
    run has a negative worth.
    """
    doubt = 1.0 - model_confidence(goal)
    total = np.cumsum(goal_weight, axis=-1)
    whole = np.maximum(total[..., -1:], 1e-300)
    claim = _quantile(total, whole * doubt, goal_depth)[..., None]
    apart = goal_depth - claim
    loss = (goal_weight * apart * (doubt - (apart < 0))).sum(axis=-1) / whole[..., 0]
    return np.asarray(np.log(np.maximum(loss, SMALLEST_RISK)))


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
            return Proposal(True, 0.0, 0.0, 0.0, f"Stop: {rule.why}.", why_stop=rule.stop, claim=claim)
        if rule.why == "the first run is at stock":
            chance = after.failure_chance(0.0, STOCK_MINUTES)
            return Proposal(
                False,
                0.0,
                STOCK_MINUTES,
                chance,
                f"First {STOCK_MINUTES:g} min at stock: a unit that fails there has a fault and is not tuned.",
                claim=claim,
                settles="Whether the unit is sound as it came.",
            )
        middle = after.goal_quantile(0.5)
        if known is not None and known.depth >= knob.deepest - 1e-9:
            return Proposal(True, 0.0, 0.0, 0.0, "Stop: the knob's limit is certified.", why_stop="limit", claim=claim)
        if known is not None and min(middle, knob.deepest) - known.depth <= goal.within:
            reason = (
                f"Stop: {knob.describe(known.depth)} is certified and as likely as not within "
                f"{max(middle - known.depth, 0.0):.0f} {knob.unit} of the best."
            )
            return Proposal(True, 0.0, 0.0, 0.0, reason, why_stop="certified", claim=claim)
        outlook = look_ahead(after, knob, evidence, goal, rule.ceiling)
        i, j = outlook.best()
        depth, minutes = float(outlook.depths[i]), float(outlook.minutes[j])
        chance = float(outlook.failure_chance[i, j])
        alternatives = tuple(
            Alternative(
                float(outlook.depths[a]),
                float(outlook.minutes[b]),
                float(outlook.failure_chance[a, b]),
                float(outlook.price_minutes[a, b]),
                float(outlook.worth[a, b]),
            )
            for a in range(outlook.depths.size)
            for b in [int(np.argmax(outlook.worth[a] / outlook.price_minutes[a]))]
        )
        reason = (
            f"{minutes:g} min at {knob.describe(depth)} (fails with chance {chance:.0%}) buys the most certainty a "
            f"bench minute."
        )
        return Proposal(False, depth, minutes, chance, reason, claim=claim, alternatives=alternatives)


def claim_text(known: Certificate | None, knob: Knob, goal: Goal) -> str:
    """What may be claimed, in words."""
    if known is None:
        return f"Nothing is known to hold for {goal.mttf_hours:g} h of load at {goal.confidence:.0%} yet."
    return (
        f"{knob.describe(known.depth)} holds with an MTTF of at least {goal.mttf_hours:g} h of load "
        f"at {known.confidence:.0%} confidence."
    )
