"""The one assessment of a unit: its runs read once, and from them the step, the claim and the certificate."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from surefoot.runs import Run
from surefoot.search.edge import estimated_edge
from surefoot.search.evidence import Certificate, Evidence, Goal
from surefoot.search.known import KnownStable, known_of
from surefoot.search.plan import Step, claim_of, step_of
from surefoot.search.reckoning import Reckoning, reckon
from surefoot.search.run_evidence import alone
from surefoot.search.words import likely_words
from surefoot.units import Conditions, Unit


@dataclass(frozen=True, eq=False)
class Assessment:
    """What the runs of a unit say now. Every part is worked out when it is asked for, once, from the same reading.

    ``contradictions``: in words, the runs that are not believed and why; they lower what is claimed.
    """

    unit: Unit
    goal: Goal
    _reckoning: Reckoning = field(repr=False)

    @cached_property
    def step(self) -> Step:
        """The next run, or the stop. Raises BadInput for a unit without knobs."""
        return step_of(self._reckoning)

    @cached_property
    def known(self) -> KnownStable | None:
        """The known-stable setting with its certificates, or None when nothing is certified."""
        return known_of(self._reckoning)

    @cached_property
    def claim(self) -> str:
        """What may be claimed, in one sentence; where nothing is certified, what is likely."""
        return claim_of(self._reckoning)

    @cached_property
    def rests_on(self) -> tuple[str, ...]:
        """For each tuned knob the hours held by load and by what checked them, and its edge, a sentence each."""
        return self.known.basis if self.known else ()

    @cached_property
    def likely(self) -> Mapping[str, float]:
        """By knob, the depth that as likely as not would meet the goal; the claim says it beside the certified one."""
        return {name: self._reckoning.likely(name) for name in self._reckoning.knobs}

    @cached_property
    def likely_words(self) -> str:
        """What is likely where nothing is certified, in words; "" otherwise."""
        return "" if self.known or not self._reckoning.counted else likely_words(self.unit, self.likely)

    @cached_property
    def edges(self) -> Mapping[str, float]:
        """By knob that has evidence, the estimated depth at which the MTTF is one hour, whatever the goal."""
        found = {name: alone(self._reckoning.counted, name) for name in self._reckoning.knobs}
        return {name: estimated_edge(self.unit.knob(name), pieces) for name, pieces in found.items() if pieces}

    @property
    def certificates(self) -> Mapping[str, Certificate]:
        """Each tuned knob's claim, {} when nothing is certified."""
        return self.known.certificates if self.known else {}

    @property
    def contradictions(self) -> tuple[str, ...]:
        """The runs that are not believed, each with why, in words."""
        return self._reckoning.contradictions

    @property
    def left_out(self) -> tuple[str, ...]:
        """The runs that do not count, in words."""
        return self._reckoning.read.sentences()

    def evidence(self, knob: str) -> tuple[Evidence, ...]:
        """What is believed of one knob, shared failures given to the knob most to blame."""
        return self._reckoning.evidence(knob)


def assess(
    unit: Unit,
    runs: Iterable[Run],
    goal: Goal,
    *,
    knobs: Sequence[str] | None = None,
    strategy: str = "posterior",
    conditions: Conditions | None = None,
) -> Assessment:
    """Read the runs of a unit once. Pure: the same runs give the same answers; one knob is the case of one.

    ``knobs``: names of those to search (None: all that are not linked), which concerns the step alone;
    ``conditions``: what is installed now; runs under another firmware or graphics driver do not count. ``strategy``:
    whose step and recommendation.
    """
    return Assessment(unit, goal, reckon(unit, runs, goal, knobs=knobs, strategy=strategy, conditions=conditions))


def plan(
    unit: Unit,
    runs: Iterable[Run],
    goal: Goal,
    *,
    knobs: Sequence[str] | None = None,
    strategy: str = "posterior",
    conditions: Conditions | None = None,
) -> Step:
    """The step of `assess`."""
    return assess(unit, runs, goal, knobs=knobs, strategy=strategy, conditions=conditions).step


def known_stable(
    unit: Unit,
    runs: Iterable[Run],
    goal: Goal,
    *,
    conditions: Conditions | None = None,
    strategy: str = "posterior",
) -> KnownStable | None:
    """The known-stable setting of `assess`."""
    return assess(unit, runs, goal, strategy=strategy, conditions=conditions).known
