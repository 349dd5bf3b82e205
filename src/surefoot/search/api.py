"""The seams of the search: `next_step` and `certify`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from surefoot.search.certificate import borne_by_model, certify_from
from surefoot.search.evidence import Certificate, Evidence, Goal, Proposal
from surefoot.search.own_evidence import SENSIBLE_MINUTES, SENSIBLE_RUNS, believed
from surefoot.search.posterior import posterior
from surefoot.search.rules import ROUNDING, allowed, enforce, held
from surefoot.search.strategy import strategy_named
from surefoot.search.words import chance_words, claim_text
from surefoot.units import Knob

OWN = "posterior"
"""The product's own search; another strategy stops by its own rule."""
OWED_MINUTES = 2.0
"""Least length of a run that only makes up for what was not held yet."""


def next_step(knob: Knob, evidence: Sequence[Evidence], goal: Goal, *, strategy: str = "posterior") -> Proposal:
    """The next run to make on a knob, or the stop.

    ``evidence``: in the order in which the runs were made. The safety rules have the last word, whatever the
    strategy. Raises BadInput for an unknown strategy.
    """
    evidence = tuple(evidence)
    # A strategy goes on from what is believed: a hold that nothing bears out is no foothold for the next stride.
    trusted = believed(knob, evidence, goal)
    wanted = strategy_named(strategy).propose(knob, trusted, goal)
    if wanted.stop and strategy == OWN and (owed := _owed(knob, trusted, goal)) is not None:
        wanted = owed
    safe = enforce(wanted, knob, evidence, goal)
    if not safe.stop and safe.depth != wanted.depth:
        chance = posterior(knob, trusted, goal).failure_chance(safe.depth, safe.minutes)
        safe = replace(safe, failure_chance=chance)
    return safe


def _owed(knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Proposal | None:
    """The run still owed before a search may stop: what the model certifies must have held for a sensible time."""
    if allowed(knob, evidence, goal).stop:
        return None
    after = posterior(knob, evidence, goal)
    depth = borne_by_model(after, knob, evidence, goal)
    known = certify_from(after, knob, evidence, goal)
    if depth is None or (known is not None and known.depth >= depth - ROUNDING):
        return None
    there = [piece.minutes for piece in evidence if held(piece) and piece.depth >= depth - ROUNDING]
    minutes = max(SENSIBLE_MINUTES - sum(there), OWED_MINUTES)
    chance = after.failure_chance(depth, minutes)
    return Proposal(
        False,
        depth,
        minutes,
        chance,
        f"{minutes:g} min at {knob.describe(depth)} ({chance_words(chance)}): it would be certified, but was not held "
        f"there or deeper for {SENSIBLE_MINUTES:g} min in {SENSIBLE_RUNS} runs yet.",
        claim=claim_text(known, knob, goal),
        settles=f"Whether {knob.describe(depth)} holds for a sensible time.",
    )


def certify(knob: Knob, evidence: Sequence[Evidence], goal: Goal, *, strategy: str = "posterior") -> Certificate | None:
    """What may be claimed on the evidence: the deepest depth that meets the goal, or None when nothing does.

    Nothing is claimed for a unit that failed at stock: it has a fault.
    """
    evidence = tuple(evidence)
    if allowed(knob, evidence, goal).stop == "faulty":
        return None
    return strategy_named(strategy).recommend(knob, believed(knob, evidence, goal), goal)
