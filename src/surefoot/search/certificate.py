"""The certificate: how deep a claim for the goal goes, by the posterior and by the unit's own runs together."""

from __future__ import annotations

from collections.abc import Sequence

from surefoot.search.edge import estimated_edge
from surefoot.search.evidence import Certificate, Evidence, Goal
from surefoot.search.own_evidence import agreeing, believed, below_failures, claim_ceiling, deepest_believed
from surefoot.search.posterior import Posterior, posterior
from surefoot.search.prior import model_confidence
from surefoot.units import Knob


def certify_from(
    after: Posterior,
    knob: Knob,
    evidence: Sequence[Evidence],
    goal: Goal,
    *,
    certain: Sequence[Evidence] | None = None,
) -> Certificate | None:
    """The deepest whole step that meets the goal at its confidence and that the unit's own runs allow, or None.

    ``after``: the posterior of the goal depth; the rules of own_evidence.py have the last word. ``certain``: the
    evidence without the failures that another knob may have caused, which put no ceiling on this one (None: the same).
    """
    ceiling = claim_ceiling(knob, evidence if certain is None else certain, goal)
    if ceiling is None:
        return None
    bound = _bound(after, knob, evidence, goal)
    if min(ceiling, bound) < 0:
        return None
    return certificate_at(knob.whole(min(ceiling, bound)), after, knob, evidence, goal)


def borne_by_model(after: Posterior, knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> float | None:
    """The whole step that would be certified if what held had been held for long enough, or None."""
    trusted = believed(knob, evidence, goal)
    deepest = deepest_believed(knob, evidence, goal)
    if deepest is None:
        return None
    bound = _bound(after, knob, evidence, goal)
    bound = min(bound, deepest, below_failures(knob, trusted, goal), knob.deepest)
    return None if bound < 0 else knob.whole(bound)


def _bound(after: Posterior, knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> float:
    """The depth that meets the goal at its confidence, with the holds that lie deeper than a failure and without them:
    they say that the edge is deeper, and at once that it is softer, so either may be the shallower claim."""
    doubt = 1.0 - model_confidence(goal)
    found = after.goal_quantile(doubt)
    strict = agreeing(knob, evidence, goal)
    if strict == believed(knob, evidence, goal):
        return found
    return min(found, posterior(knob, strict, goal).goal_quantile(doubt))


def certificate_at(depth: float, after: Posterior, knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Certificate:
    """The claim that the posterior makes for a depth, with the evidence it rests on: hours of runs that held."""
    trusted = believed(knob, evidence, goal)
    edge = estimated_edge(knob, evidence)
    return Certificate(
        depth=depth,
        mttf_hours=after.mttf_bound(depth, goal),
        confidence=goal.confidence,
        hours=sum(piece.minutes for piece in trusted if not piece.failed and piece.depth >= depth - 1e-9) / 60.0,
        failures=sum(piece.failed for piece in trusted if piece.depth <= depth + 1e-9),
        edge_depth=edge,
        guard_band=edge - depth,
    )
