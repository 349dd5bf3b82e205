"""The joint setting that may be claimed: each knob's own certified depth, stepped back until the hazards fit together.

Hazards add, so two knobs that each meet a goal of 100 h need not meet it together. Rather than soak until they do, one
knob is stepped back: at 5 mV per decade one step of 5 mV takes nine tenths of a knob's hazard away, which a soak
would need days to buy. The knob stepped back is the one that raises the chance of meeting the goal most for what it
loses, the loss being counted in typical depths per decade of hazard (mV and MHz cannot be compared otherwise).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from surefoot.search.certificate import certify_from
from surefoot.search.evidence import Certificate, Goal
from surefoot.search.joint import JointPosterior
from surefoot.search.own_evidence import deepest_believed
from surefoot.search.prior import setting_confidence, typical_per_decade
from surefoot.search.rules import ROUNDING, covers, within
from surefoot.search.run_evidence import CountedRun, alone, plain_evidence
from surefoot.units import Knob


@dataclass(frozen=True, slots=True)
class SteppedBack:
    """A joint setting and how it came about.

    ``depths``: by leader, only those off stock; ``chance``: probability that it meets the goal; ``back``: how far each
    knob was stepped back from its own certified depth, only those that were.
    """

    depths: Mapping[str, float]
    chance: float
    back: Mapping[str, float]


def own_certificates(
    knobs: Sequence[Knob], counted: Sequence[CountedRun], joint: JointPosterior, goal: Goal, strategy: str = "posterior"
) -> dict[str, Certificate]:
    """Each knob's own certificate where it has one off stock, from its marginal of the joint posterior.

    Another strategy than the posterior claims by its own rule, each shared failure given to the knob most to blame.
    """
    blamed = joint.most_blamed()
    found: dict[str, Certificate] = {}
    for knob in knobs:
        evidence = plain_evidence(counted, knob.name, blamed)
        if not any(piece.depth > 0 for piece in evidence):
            continue
        if strategy == "posterior":
            known = certify_from(joint.marginal(knob.name), knob, evidence, goal, certain=alone(counted, knob.name))
        else:
            from surefoot.search.api import certify

            known = certify(knob, evidence, goal, strategy=strategy)
            if known is not None and known.depth > (deepest_believed(knob, evidence, goal) or 0.0):
                # Not every rule of thumb asks that what it recommends was held for a minute.
                known = None
        if known is not None and known.depth > 0:
            found[knob.name] = known
    return found


def step_back(
    knobs: Mapping[str, Knob],
    certified: Mapping[str, float],
    counted: Sequence[CountedRun],
    joint: JointPosterior,
    goal: Goal,
    *,
    strategy: str = "posterior",
) -> SteppedBack:
    """The deepest joint setting, no deeper in any knob than ``certified``, that meets the goal at its confidence.

    A setting that failed when held together, at less than the goal's hours per failure, is not among the answers
    however likely the arithmetic says it was a stray failure: the knob most to blame is stepped back past it. A rule
    of thumb (another ``strategy``) does not add hazards up; it is stepped back after such failures only.
    """
    depths = {name: depth for name, depth in certified.items() if depth > 0}
    confidence = setting_confidence(goal, len(depths)) if strategy == "posterior" else 0.0
    if len(depths) < 2:
        # One knob alone is certified by its own posterior already.
        return SteppedBack(depths, joint.chance_meets(depths), {})
    chance = joint.chance_meets(depths)
    while any(depths.values()):
        failed = _failed_together(depths, counted, goal)
        if failed is None and chance >= confidence:
            break
        options = {name: {**depths, name: knobs[name].shallower(depths[name])} for name in depths if depths[name] > 0}
        loss = {name: (depths[name] - options[name][name]) / typical_per_decade(knobs[name]) for name in options}
        chances = {name: joint.chance_meets(option) for name, option in options.items()}
        if failed is not None:
            blame = joint.blame.get(failed.run.id, {})
            worth = {name: blame.get(name, 0.0) + 1e-6 for name in options if name in failed.causes}
            worth = worth or dict.fromkeys(options, 1e-6)
        else:
            worth = {name: max(chances[name] - chance, 0.0) for name in options}
            if max(worth.values()) < 1e-6:
                # So far off that no single step shows: judge by the chance that each knob meets the goal alone.
                worth = {name: 1.0 - joint.chance_meets({name: depths[name]}) for name in options}
        chosen = max(sorted(worth), key=lambda name: worth[name] / loss[name])
        depths, chance = options[chosen], chances[chosen]
    back = {name: certified[name] - depth for name, depth in depths.items() if certified[name] - depth > ROUNDING}
    return SteppedBack({name: depth for name, depth in depths.items() if depth > 0}, chance, back)


def joint_minutes(counted: Sequence[CountedRun], depths: Mapping[str, float]) -> dict[str, float]:
    """By knob, the minutes held together at the joint setting or deeper, under a load that bears on that knob."""
    return {
        name: sum(
            item.minutes for item in counted if not item.failed and name in item.bears_on and covers(item, depths)
        )
        for name in depths
    }


def _failed_together(depths: Mapping[str, float], counted: Sequence[CountedRun], goal: Goal) -> CountedRun | None:
    """The last joint failure at these depths or shallower that too few hours at its setting speak against, or None."""
    for item in reversed(counted):
        if not item.failed or item.run.plan.purpose == "search" or not within(item, depths):
            continue
        if sum(depth > 0 for depth in item.depths.values()) < 2:
            continue
        hours = sum(other.minutes for other in counted if covers(other, item.depths)) / 60.0
        failures = sum(other.failed for other in counted if covers(item, other.depths))
        if hours < goal.mttf_hours * failures:
            return item
    return None
