"""Which knob to search next: the one that pays most for the bench hours it takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from surefoot.search.evidence import Goal
from surefoot.search.joint import JointPosterior
from surefoot.search.joint_goal import goal_in_unit
from surefoot.search.run_evidence import CountedRun, part_of
from surefoot.units import Knob

RUN_MINUTES = 8.0
"""A usual run of a search, for the reckoning of hours only."""
FAILURES_EXPECTED = 1.5
"""Failures of a usual search. *Common practice, no source.*"""


def payoff_order(
    knobs: Sequence[Knob],
    joint: JointPosterior,
    counted: Sequence[CountedRun],
    certified: Mapping[str, float],
    goal: Goal,
) -> list[Knob]:
    """The knobs in the order in which their search pays: gain per bench hour, voltages before clocks of one part.

    The gain is the depth still expected past what is certified (as likely as not), as a share of the knob's limit, so
    that mV and MHz compare; the hours are the strides to get there, the failures of a usual search, and a few runs
    more. A voltage offset comes before a clock of the same part: it is found with the clock at stock, and a clock
    found on top of it needs no second look. Ties keep the card's order.
    """
    rates = {knob.name: _rate(knob, joint, counted, certified, goal) for knob in knobs}
    order = sorted(knobs, key=lambda knob: -rates[knob.name])
    for knob in [knob for knob in order if not knob.is_voltage]:
        place = order.index(knob)
        voltages = [
            at for at, other in enumerate(order) if other.is_voltage and part_of(other.domain) == part_of(knob.domain)
        ]
        if voltages and max(voltages) > place:
            order.insert(max(voltages), order.pop(place))
    return order


def _rate(
    knob: Knob, joint: JointPosterior, counted: Sequence[CountedRun], certified: Mapping[str, float], goal: Goal
) -> float:
    own = goal_in_unit(knob, goal)
    middle = min(joint.marginal(knob.name).goal_quantile(0.5), knob.deepest)
    gain = max(middle - certified.get(knob.name, 0.0), 0.0) / knob.limit
    held = max((item.depths[knob.name] for item in counted if not item.failed), default=0.0)
    strides = max(middle - held, 0.0) / own.max_stride + 3.0
    minutes = strides * (own.setup_minutes + RUN_MINUTES) + FAILURES_EXPECTED * (
        goal.soft_share * own.soft_minutes + (1.0 - goal.soft_share) * own.crash_minutes
    )
    return gain / (minutes / 60.0)
