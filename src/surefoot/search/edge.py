"""The estimated edge: the depth at which the MTTF is one hour, one number for one set of runs whatever the goal."""

from __future__ import annotations

from collections.abc import Sequence

from surefoot.search.evidence import Evidence, Goal
from surefoot.search.own_evidence import AT_ONCE_MINUTES, believed
from surefoot.search.posterior import posterior
from surefoot.units import Knob

EDGE_HOURS = 1.0
"""The edge is where the MTTF is this, so its prior is flat in the edge itself, and no goal bends it."""


def estimated_edge(knob: Knob, evidence: Sequence[Evidence]) -> float:
    """Mean of the edge's posterior, in the knob's unit; never deeper than a failure seen at once.

    A failure in its first minute (`AT_ONCE_MINUTES`) speaks for a hazard far above one an hour.
    """
    trusted = believed(knob, evidence, Goal())
    middle = posterior(knob, trusted, Goal(mttf_hours=EDGE_HOURS)).edge_mean
    at_once = [piece.depth for piece in trusted if piece.failed and piece.timed and piece.minutes <= AT_ONCE_MINUTES]
    return min([middle, *at_once])
