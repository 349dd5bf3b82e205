"""The runs of a unit, read once: what the step, the claim and the certificate are all worked out from."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from surefoot.errors import BadInput
from surefoot.runs import Run
from surefoot.search.api import next_step
from surefoot.search.belief import believe
from surefoot.search.evidence import Certificate, Evidence, Goal, Proposal
from surefoot.search.joint import JointPosterior
from surefoot.search.joint_goal import goal_in_unit
from surefoot.search.joint_setting import SteppedBack, own_certificates, step_back
from surefoot.search.own_evidence import likely_ceiling
from surefoot.search.run_evidence import CountedRun, RunsRead, alone, plain_evidence, read_runs
from surefoot.search.soft_share import USUAL_SOFT_SHARE, expected_soft_share
from surefoot.units import Conditions, Knob, Unit


@dataclass(frozen=True, eq=False)
class Reckoning:
    """All that a decision needs, each part worked out once and when it is asked for.

    ``read``: the runs that count and are believed; ``contradictions``: those that are not, in words; ``named``: the
    knobs that the user asked to search, or None for all.
    """

    unit: Unit
    goal: Goal
    strategy: str
    read: RunsRead
    contradictions: tuple[str, ...]
    named: tuple[str, ...] | None

    @property
    def counted(self) -> tuple[CountedRun, ...]:
        """The runs, oldest first."""
        return self.read.counted

    @cached_property
    def knobs(self) -> dict[str, Knob]:
        """The leaders by name."""
        return {knob.name: knob for knob in self.unit.leaders()}

    @cached_property
    def searched(self) -> tuple[Knob, ...]:
        """The knobs to search. Raises BadInput for an unknown or linked one, or a unit without any."""
        return searched(self.unit, self.named)

    @cached_property
    def joint(self) -> JointPosterior:
        """The posterior of all knobs together."""
        return JointPosterior(self.unit.leaders(), self.counted, self.goal)

    @cached_property
    def own(self) -> dict[str, Certificate]:
        """Each knob's own certificate where it has one off stock."""
        if self.faulty:
            return {}
        return own_certificates(self.unit.leaders(), self.counted, self.joint, self.goal, self.strategy)

    @property
    def certified(self) -> dict[str, float]:
        """Depth of each knob's own certificate, those off stock only."""
        return {name: known.depth for name, known in self.own.items()}

    @cached_property
    def target(self) -> SteppedBack:
        """The joint setting that the hazards allow together."""
        return step_back(self.knobs, self.certified, self.counted, self.joint, self.goal, strategy=self.strategy)

    @cached_property
    def faulty(self) -> bool:
        """Whether it failed at stock."""
        return any(item.failed and item.at_stock for item in self.counted)

    def evidence(self, knob: str) -> tuple[Evidence, ...]:
        """A knob's evidence, each shared failure given to the knob most to blame."""
        return plain_evidence(self.counted, knob, self.joint.most_blamed())

    def proposal(self, knob: Knob) -> Proposal:
        """The next step of a knob's own search."""
        goal = goal_in_unit(knob, self.goal)
        if goal.soft_share == USUAL_SOFT_SHARE:
            goal = replace(goal, soft_share=expected_soft_share(self.unit, self.counted, knob))
        return next_step(knob, self.evidence(knob.name), goal, strategy=self.strategy)

    def likely(self, name: str) -> float:
        """The depth that as likely as not would meet the goal, on a whole step, no deeper than what held."""
        knob = self.knobs[name]
        middle = self.joint.marginal(name).goal_quantile(0.5)
        return knob.whole(min(middle, likely_ceiling(knob, alone(self.counted, name), goal_in_unit(knob, self.goal))))

    def without(self, items: Sequence[CountedRun]) -> Reckoning:
        """The same before some of the runs were made."""
        left = tuple(item for item in self.counted if item not in items)
        return replace(self, read=RunsRead(left, self.read.left_out))


def reckon(
    unit: Unit,
    runs: Iterable[Run],
    goal: Goal,
    *,
    knobs: Sequence[str] | None = None,
    strategy: str = "posterior",
    conditions: Conditions | None = None,
) -> Reckoning:
    """Read the runs of a unit."""
    read = read_runs(unit, runs, conditions=conditions)
    counted, contradictions = believe(unit, read.counted, goal)
    named = None if knobs is None else tuple(knobs)
    return Reckoning(unit, goal, strategy, RunsRead(counted, read.left_out), contradictions, named)


def searched(unit: Unit, names: Sequence[str] | None) -> tuple[Knob, ...]:
    """The knobs to search. Raises BadInput for an unknown or linked one, or a unit without any."""
    if not unit.leaders():
        raise BadInput("the card has no knobs, so there is nothing to tune.", where=f"unit {unit.name!r}")
    if names is None:
        return unit.leaders()
    for name in names:
        knob = unit.knob(name)
        if knob.linked_to is not None:
            raise BadInput(
                f"knob {name!r} moves with {knob.linked_to!r}.",
                where=f"unit {unit.name!r}",
                remedy=f"Search {knob.linked_to!r} instead.",
            )
    if not names:
        raise BadInput("no knob was named.", where=f"unit {unit.name!r}", remedy="Name at least one, or leave it out.")
    return tuple(knob for knob in unit.leaders() if knob.name in names)
