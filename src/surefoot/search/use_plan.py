"""Which depth of a knob to live with, and what the hours of use there are expected to bring."""

from __future__ import annotations

import math
from collections.abc import Sequence

from surefoot.search.certificate import certify_from
from surefoot.search.evidence import Certificate, Evidence, Goal
from surefoot.search.own_evidence import believed, below_failures
from surefoot.search.posterior import Posterior, posterior
from surefoot.search.prior import TYPICAL_PER_DECADE, model_confidence, typical_per_decade
from surefoot.search.rules import allowed
from surefoot.units import Knob

LOOK_AHEAD_HOURS = 120.0
"""The hours of use under load over which a trial must bring something: a month of four hours a day."""
LEAST_GAIN_DECADES = 1.0 / TYPICAL_PER_DECADE["mV"]
"""What those hours must bring for a trial to go on, in typical depths per decade: a millivolt."""
MOST_HOURS = 2000.0
"""How many hours of use are looked ahead for the next step, at most."""


def depth_to_live_with(
    knob: Knob,
    evidence: Sequence[Evidence],
    goal: Goal,
    chance: float | None,
    *,
    after: Posterior | None = None,
    certified: float | None = None,
) -> float:
    """The depth for ordinary use: the certified one, or in a trial the deepest that meets the goal with ``chance``.

    ``chance``: None for the certified setting. A trial stays shallower than every failure that hours do not outweigh
    and within the rules for any run (`rules.allowed`), and is never shallower than what is certified. ``after``,
    ``certified``: where they are known already.
    """
    trusted = believed(knob, evidence, goal)
    after = posterior(knob, trusted, goal) if after is None else after
    if certified is None:
        known = certify_from(after, knob, trusted, goal)
        certified = known.depth if known else 0.0
    if chance is None:
        return certified
    rule = allowed(knob, evidence, goal)
    if rule.stop == "faulty":
        return 0.0
    deepest = min(after.goal_quantile(1.0 - chance), below_failures(knob, trusted, goal), knob.deepest)
    if not rule.stop:
        deepest = min(deepest, rule.ceiling)
    return max(knob.whole(max(deepest, 0.0)), certified)


def gain_of_use(
    knob: Knob, evidence: Sequence[Evidence], goal: Goal, depth: float, hours: float = LOOK_AHEAD_HOURS
) -> float:
    """How much deeper the certified depth would lie if ``depth`` held for so many hours of use, knob's unit."""
    doubt = 1.0 - model_confidence(goal)
    trusted = believed(knob, evidence, goal)
    more = (*trusted, Evidence(depth, hours * 60.0, False, use=True))
    now, then = (posterior(knob, some, goal).goal_quantile(doubt) for some in (trusted, more))
    return then - now


def trial_is_over(knob: Knob, evidence: Sequence[Evidence], goal: Goal, depth: float, certified: float) -> str:
    """Why a trial at ``depth`` has nothing more to bring, in words; "" while it has."""
    most = min(below_failures(knob, believed(knob, evidence, goal), goal), knob.deepest)
    if certified >= min(knob.whole(most) if math.isfinite(most) else most, knob.deepest) - 1e-9:
        return f"the certified depth has caught up with {knob.describe(depth)}, and nothing deeper is to be tried"
    least = LEAST_GAIN_DECADES * typical_per_decade(knob)
    gain = gain_of_use(knob, evidence, goal, depth)
    if gain < least:
        return (
            f"{LOOK_AHEAD_HOURS:g} more hours at {knob.describe(depth)} would bring the certified depth on by "
            f"{max(gain, 0.0):.1f} {knob.unit}, less than {least:g}"
        )
    return ""


def hours_to_next_step(
    knob: Knob, evidence: Sequence[Evidence], goal: Goal, depth: float, known: Certificate | None
) -> float | None:
    """Hours of use at ``depth`` without a failure after which one step more is certified; None: not in `MOST_HOURS`.

    Found on the journal's evidence as it stands: a forecast, and no promise.
    """
    wanted = (known.depth if known else 0.0) + knob.step

    def reached(hours: float) -> bool:
        more = (*evidence, Evidence(depth, hours * 60.0, False, use=True))
        found = certify_from(posterior(knob, believed(knob, more, goal), goal), knob, more, goal)
        return found is not None and found.depth >= wanted - 1e-9

    if not reached(MOST_HOURS):
        return None
    low, high = 0.0, MOST_HOURS
    while high - low > max(0.5, 0.02 * high):
        middle = math.sqrt(max(low, 0.5) * high) if high > 2.0 else 0.5 * (low + high)
        low, high = (low, middle) if reached(middle) else (middle, high)
    return high
