"""Which knob to search next: the one that pays most for the bench hours it takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from surefoot.search.evidence import Goal
from surefoot.search.joint import JointPosterior
from surefoot.search.joint_goal import goal_in_unit
from surefoot.search.run_evidence import CountedRun, part_of
from surefoot.units import Knob

RUN_MINUTES = 8.0
"""A usual run of a search, for the reckoning of hours only."""
FAILURES_EXPECTED = 1.5
MORE_RUNS = 3.0
"""Failures of a usual search, and its runs besides the strides. *Common practice, no source.*"""


@dataclass(frozen=True, slots=True)
class Turn:
    """What searching a knob is expected to bring and to cost.

    ``gain``: depth expected past what is certified, in the knob's unit; ``share``: the same as a share of its limit;
    ``hours``: bench hours.
    """

    knob: str
    gain: float
    share: float
    hours: float

    @property
    def rate(self) -> float:
        """Share of the limit gained per bench hour."""
        return self.share / self.hours


def payoff_order(
    knobs: Sequence[Knob],
    joint: JointPosterior,
    counted: Sequence[CountedRun],
    certified: Mapping[str, float],
    goal: Goal,
) -> list[Turn]:
    """The knobs in the order in which their search pays: gain per bench hour, voltages before clocks of one part.

    The gain is the depth still expected past what is certified (as likely as not), as a share of the knob's limit, so
    that mV and MHz compare; the hours are the strides to get there, the failures of a usual search, and a few runs
    more. A voltage offset comes before a clock of the same part: it is found with the clock at stock, and a clock
    found on top of it needs no second look. Ties keep the card's order.
    """
    turns = {knob.name: _turn(knob, joint, counted, certified, goal) for knob in knobs}
    order = sorted(knobs, key=lambda knob: -turns[knob.name].rate)
    for knob in [knob for knob in order if not knob.is_voltage]:
        place = order.index(knob)
        voltages = [
            at for at, other in enumerate(order) if other.is_voltage and part_of(other.domain) == part_of(knob.domain)
        ]
        if voltages and max(voltages) > place:
            order.insert(max(voltages), order.pop(place))
    return [turns[knob.name] for knob in order]


def _turn(
    knob: Knob, joint: JointPosterior, counted: Sequence[CountedRun], certified: Mapping[str, float], goal: Goal
) -> Turn:
    own = goal_in_unit(knob, goal)
    middle = min(joint.marginal(knob.name).goal_quantile(0.5), knob.deepest)
    gain = max(middle - certified.get(knob.name, 0.0), 0.0)
    held = max((item.depths[knob.name] for item in counted if not item.failed), default=0.0)
    strides = max(middle - held, 0.0) / own.max_stride + MORE_RUNS
    minutes = strides * (own.setup_minutes + RUN_MINUTES) + FAILURES_EXPECTED * (
        goal.soft_share * own.soft_minutes + (1.0 - goal.soft_share) * own.crash_minutes
    )
    return Turn(knob.name, gain, gain / knob.limit, minutes / 60.0)
