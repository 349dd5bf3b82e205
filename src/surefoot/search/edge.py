"""The estimated edge: the depth at which the MTTF is one hour, one number for one set of runs whatever the goal."""

from __future__ import annotations

from collections.abc import Sequence

from surefoot.search.evidence import Evidence, Goal
from surefoot.search.own_evidence import AT_ONCE_MINUTES, believed
from surefoot.search.posterior import posterior
from surefoot.units import Knob

ANY_GOAL = Goal()
"""One goal for all, so that none bends the edge; the usual one. A goal of an hour would take one failure in ten hours
for no doing of the setting's, and put the edge past the only depth that failed."""


def estimated_edge(knob: Knob, evidence: Sequence[Evidence]) -> float:
    """Median of the edge's posterior, in the knob's unit; never deeper than a failure seen at once.

    A failure in its first minute (`AT_ONCE_MINUTES`) speaks for a hazard far above one an hour.
    """
    trusted = believed(knob, evidence, ANY_GOAL)
    middle = posterior(knob, trusted, ANY_GOAL).edge_middle
    at_once = [piece.depth for piece in trusted if piece.failed and piece.timed and piece.minutes <= AT_ONCE_MINUTES]
    return min([middle, *at_once])
