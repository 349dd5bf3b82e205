"""The posterior search: the next run is the one that buys the most certainty a bench minute, crashes priced in.

Two stages, told apart by the evidence alone. *Climb*: until something fails, go deeper, by the full stride where few
edges lie and by two typical decades of hazard further on, where a failure should come soon after the edge and not long
after. *Narrow*: look two runs ahead (outlook.py, two_ahead.py). Each run that the rules allow is judged by what its
endings would do to the risk: the quantile loss of the best claim, in the knob's unit, which is what not knowing the
edge costs. Its worth is the expected fall of that risk; its price the bench minutes that it takes on average, a crash
or a caught failure included. The few best are judged once more with the best run after each of their endings. The
search stops when the claim is likely within ``within`` of the best depth, or when no run, nor any two, are worth their
minutes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from surefoot.search.certificate import certify_from
from surefoot.search.effort import effort_named
from surefoot.search.evidence import Certificate, Evidence, Goal, Proposal
from surefoot.search.outlook import look_ahead
from surefoot.search.own_evidence import deepest_believed
from surefoot.search.posterior import Posterior, posterior
from surefoot.search.prior import typical_per_decade
from surefoot.search.rules import Allowed, allowed
from surefoot.search.two_ahead import TwoAhead
from surefoot.search.words import chance_words, claim_text
from surefoot.units import Knob

STOCK_MINUTES = 2.0
STRIDE_MINUTES = 1.0
"""Length of a full stride of the climb; that of a careful one, and where they begin, is the effort's (effort.py)."""
WITHOUT_CLAIM = 0.5
"""With not one step to claim yet the search is worth more: this share of the threshold is enough to go on."""
LENT_WORTH = 0.8
"""With what a pool lends much is known before the first run: of the hours saved, some are spent on more depth."""
NO_STEP = "nothing off stock is certified"
SOFT_PRIOR_WEIGHT = 1.0
"""How many failures the goal's ``soft_share`` is worth."""


def soft_share(evidence: Sequence[Evidence], goal: Goal) -> float:
    """Expected share of failures that the load catches itself, learned from the unit's own failures."""
    failures = [piece.soft for piece in evidence if piece.failed]
    return (sum(failures) + SOFT_PRIOR_WEIGHT * goal.soft_share) / (len(failures) + SOFT_PRIOR_WEIGHT)


def worth_threshold(knob: Knob, goal: Goal) -> float:
    """What an hour must gain, in the knob's unit."""
    if goal.worth_per_hour is None:
        share = 1.0 + (LENT_WORTH - 1.0) * goal.lent.trust if goal.lent and goal.lent.to(knob) else 1.0
        return share * effort_named(goal.effort).worth_decades_per_hour * typical_per_decade(knob)
    return goal.worth_per_hour


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
        within = effort_named(goal.effort).within_share * goal.within
        if known is not None and known.depth >= knob.deepest - 1e-9:
            return _stop("limit", f"Stop: the limit of {knob.describe(knob.deepest)} itself is certified.", claim)
        if known is not None and middle - known.depth <= within:
            about = f"about {knob.describe(max(round(middle / knob.step), 0) * knob.step)}"
            if known.depth <= 0:
                return _stop(
                    "worth", f"Stop: {NO_STEP}, and the model puts the deepest that would do at {about}.", claim
                )
            reason = (
                f"Stop: {knob.describe(known.depth)} is certified, and the model puts the deepest that would do at "
                f"{about}, at most {within:g} {knob.unit} past it."
            )
            return _stop("certified", reason, claim)
        threshold = worth_threshold(knob, goal)
        deepest = deepest_believed(knob, evidence, goal) or 0.0
        outlook = look_ahead(
            after, knob, goal, ceiling=rule.ceiling, deepest=deepest, soft_share=soft_share(evidence, goal)
        )
        alternatives = outlook.alternatives(threshold)
        climb = _climb(knob, evidence, goal, rule)
        if climb is not None:
            depth, minutes, why = climb
            chance = after.failure_chance(depth, minutes)
            reason = f"{minutes:g} min at {knob.describe(depth)} ({chance_words(chance)}): {why}."
            settles = f"Whether the edge lies deeper than about {knob.describe(depth)}."
            return Proposal(False, depth, minutes, chance, reason, "", claim, settles, alternatives)
        claimed = known is not None and known.depth >= knob.step - 1e-9
        least = threshold if claimed else WITHOUT_CLAIM * threshold
        failures = sum(piece.failed for piece in evidence)
        choice = TwoAhead(
            after, knob, goal, deepest, failures + 1 < goal.max_failures, soft_share(evidence, goal), least
        ).choose(outlook)
        if choice.left < 0:
            return _not_worth(knob, evidence, goal, known, claim, least)
        at = choice.at
        depth, minutes = float(outlook.depths[at[0]]), float(outlook.minutes[at[1]])
        chance = float(outlook.failure_chance[at])
        reason = (
            f"{minutes:g} min at {knob.describe(depth)} ({chance_words(chance)}) costs "
            f"{outlook.price_minutes[at]:.0f} bench min on average and is worth {outlook.worth[at]:.1f} {knob.unit} "
            "of certainty; with the best run after it, the most for its price."
        )
        settles = _settles(knob, after, depth, minutes)
        return Proposal(False, depth, minutes, chance, reason, "", claim, settles, alternatives)


def _climb(knob: Knob, evidence: Sequence[Evidence], goal: Goal, rule: Allowed) -> tuple[float, float, str] | None:
    """Depth, minutes and why, while nothing has failed and the rules allow something deeper; else None."""
    deepest = deepest_believed(knob, evidence, goal) or 0.0
    if rule.ceiling <= deepest + 1e-9 or any(piece.failed for piece in evidence):
        return None
    effort = effort_named(goal.effort)
    full = deepest < effort.full_stride_share * knob.limit - 1e-9
    stride = goal.max_stride if full else effort.careful_decades * typical_per_decade(knob)
    depth = math.floor((deepest + stride) / knob.step + 1e-9) * knob.step
    if depth <= deepest + 1e-9:
        depth = (math.floor(deepest / knob.step + 1e-9) + 1) * knob.step
    depth = min(depth, rule.ceiling)
    if full:
        return depth, STRIDE_MINUTES, f"a full stride past {knob.describe(deepest)} that held"
    why = f"a careful stride of {depth - deepest:g} {knob.unit}, nothing having failed to {knob.describe(deepest)}"
    return depth, effort.careful_minutes, why


def _settles(knob: Knob, after: Posterior, depth: float, minutes: float) -> str:
    edge = after.edge_middle
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
    threshold: float,
) -> Proposal:
    """The stop because the next hour buys too little, named by what else is true of it."""
    buys = f"the next hour would gain less than the {threshold:.1f} {knob.unit} that it must"
    deepest = deepest_believed(knob, evidence, goal) or 0.0
    if deepest >= knob.deepest - 1e-9 and not any(piece.failed for piece in evidence):
        return _stop(
            "limit", f"Stop: the limit of {knob.describe(knob.deepest)} held without a failure; {buys}.", claim
        )
    if known is None or known.depth <= 0:
        return _stop("worth", f"Stop: {NO_STEP}, and {buys}.", claim)
    why = "certified" if goal.worth_per_hour is None else "worth"
    return _stop(why, f"Stop: {knob.describe(known.depth)} is certified; {buys}.", claim)
