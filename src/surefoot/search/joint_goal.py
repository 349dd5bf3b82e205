"""The goal in a knob's own unit."""

from __future__ import annotations

from dataclasses import fields, replace

from surefoot.search.evidence import Goal
from surefoot.search.prior import TYPICAL_PER_DECADE, typical_per_decade
from surefoot.units import Knob

_DEFAULT = {field.name: field.default for field in fields(Goal)}
STEPS_WITHIN = 1.6
"""``within`` is at least so many steps of the knob: a claim on a whole step is up to one step shy by rounding alone."""


def goal_in_unit(knob: Knob, goal: Goal) -> Goal:
    """The goal with ``within`` and ``max_stride`` fit for one knob of several.

    One `Goal` cannot mean 8 mV and 8 MHz at once. Left at their defaults, which are meant for mV, the two are scaled
    by what is typical of the knob's unit (depth per decade of hazard); a value that was given is taken literally, in
    the knob's own unit. Neither is less than the knob's step can show.
    """
    scale = typical_per_decade(knob) / TYPICAL_PER_DECADE["mV"]
    within = goal.within * scale if goal.within == _DEFAULT["within"] else goal.within
    stride = goal.max_stride * scale if goal.max_stride == _DEFAULT["max_stride"] else goal.max_stride
    return replace(goal, within=max(within, STEPS_WITHIN * knob.step), max_stride=max(stride, knob.step))
