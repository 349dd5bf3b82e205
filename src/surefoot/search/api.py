"""The seams of the search: `next_step` and `certify`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from surefoot.search.evidence import Certificate, Evidence, Goal, Proposal
from surefoot.search.posterior import posterior
from surefoot.search.rules import allowed, enforce
from surefoot.search.strategy import strategy_named
from surefoot.units import Knob


def next_step(knob: Knob, evidence: Sequence[Evidence], goal: Goal, *, strategy: str = "posterior") -> Proposal:
    """The next run to make on a knob, or the stop.

    ``evidence``: in the order in which the runs were made. The safety rules have the last word, whatever the
    strategy. Raises BadInput for an unknown strategy.
    """
    evidence = tuple(evidence)
    wanted = strategy_named(strategy).propose(knob, evidence, goal)
    safe = enforce(wanted, knob, evidence, goal)
    if not safe.stop and safe.depth != wanted.depth:
        chance = posterior(knob, evidence, goal).failure_chance(safe.depth, safe.minutes)
        safe = replace(safe, failure_chance=chance)
    return safe


def certify(knob: Knob, evidence: Sequence[Evidence], goal: Goal, *, strategy: str = "posterior") -> Certificate | None:
    """What may be claimed on the evidence: the deepest depth that meets the goal, or None when nothing does.

    Nothing is claimed for a unit that failed at stock: it has a fault.
    """
    evidence = tuple(evidence)
    if allowed(knob, evidence, goal).stop == "faulty":
        return None
    return strategy_named(strategy).recommend(knob, evidence, goal)
