"""Up-and-down: one step deeper after each run that held, one shallower after each that failed.

Source: Dixon and Mood, A method for obtaining and analyzing sensitivity data, J. Amer. Statist. Assoc. 43 (1948).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

from surefoot.rehearsal.literature_claims import RUN_MINUTES, certificate
from surefoot.search.evidence import Certificate, Evidence, Goal, Proposal
from surefoot.search.prior import typical_per_decade
from surefoot.units import Knob

LEAST_SPREAD = 0.53
"""Spread in units of the spacing where the data are too regular for the formula (Dixon and Mood, section 4)."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """Median and spread of the tolerance distribution, in the knob's unit, and the number of events they rest on."""

    median: float
    spread: float
    events: int


@dataclass(frozen=True)
class UpAndDown:
    """The method with a spacing of ``spacing_decades`` typical decades; stops after ``failures`` failures."""

    name: str = "up-and-down"
    minutes: float = RUN_MINUTES
    spacing_decades: float = 2.0
    failures: int = 3

    def propose(self, knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Proposal:
        """One spacing deeper than a run that held, one shallower than a run that failed; or the stop."""
        failed = sum(piece.failed for piece in evidence)
        if failed >= min(self.failures, goal.max_failures):
            return _stop("certified", f"{failed} failures have been seen.")
        if not evidence:
            return self._run(knob, 0.0)
        last = evidence[-1]
        spacing = self.spacing(knob)
        depth = last.depth - spacing if last.failed else min(last.depth + spacing, knob.deepest)
        if not last.failed and last.depth >= knob.deepest - 1e-9:
            return _stop("limit", "the limit held.")
        return self._run(knob, max(depth, 0.0))

    def recommend(self, knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Certificate | None:
        """The percentile at which a run fails as seldom as the goal asks, less the median's standard error."""
        if not any(piece.failed for piece in evidence):
            return certificate(knob, knob.deepest, evidence, goal) if evidence else None
        found = dixon_mood(evidence, self.spacing(knob))
        chance = -math.expm1(-self.minutes / 60.0 / goal.mttf_hours)
        # Standard error of the median: spread / sqrt(events), about (their G is near 1 at this spacing).
        doubt = NormalDist().inv_cdf(goal.confidence) * found.spread / math.sqrt(found.events)
        return certificate(knob, found.median + NormalDist().inv_cdf(chance) * found.spread - doubt, evidence, goal)

    def spacing(self, knob: Knob) -> float:
        """Distance between levels, whole steps: about the spread, as the method wants it."""
        return max(1, round(self.spacing_decades * typical_per_decade(knob) / knob.step)) * knob.step

    def _run(self, knob: Knob, depth: float) -> Proposal:
        return Proposal(
            False, depth, self.minutes, 0.5, f"Up and down: {self.minutes:g} min at {knob.describe(depth)}."
        )


def dixon_mood(evidence: Sequence[Evidence], spacing: float) -> Estimate:
    """Estimate from the less frequent kind of ending: median y' + d (A / N -+ 1/2), spread 1.620 d ((N B - A^2) / N^2 +
    0.029), with A = sum i n_i, B = sum i^2 n_i over levels i from the lowest (Dixon and Mood, section 4).

    The climb before the first failure is left out, but for its last run: it starts far from the median.
    """
    first = next((at for at, piece in enumerate(evidence) if piece.failed), None)
    if first is None:
        raise ValueError("there is no failure to estimate from")
    used = evidence[max(first - 1, 0) :]
    fails = [piece.depth for piece in used if piece.failed]
    holds = [piece.depth for piece in used if not piece.failed]
    by_failures = not holds or len(fails) <= len(holds)
    events = fails if by_failures else holds
    lowest = min(events)
    levels = [(depth - lowest) / spacing for depth in events]
    count = len(events)
    first_moment = sum(levels)
    second_moment = sum(level * level for level in levels)
    median = lowest + spacing * (first_moment / count + (-0.5 if by_failures else 0.5))
    scatter = (count * second_moment - first_moment**2) / count**2
    spread = 1.620 * spacing * (scatter + 0.029) if scatter > 0.3 else LEAST_SPREAD * spacing
    return Estimate(median, spread, count)


def _stop(why: str, text: str) -> Proposal:
    return Proposal(True, 0.0, 0.0, 0.0, f"Stop: {text}", why_stop=why)
