"""Everything the report is made from, worked out once from the journal."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from surefoot.runs import Outcome, Run, Trace
from surefoot.scores.comparison import Comparison
from surefoot.search import EdgePosterior, Evidence, Goal
from surefoot.search.known import KnownStable
from surefoot.units import Unit

if TYPE_CHECKING:
    from surefoot.journal import Journal


@dataclass(frozen=True, eq=False)
class Material:
    """What the journal holds of a unit and what follows from it.

    ``runs``: closed ones, oldest first; ``open_runs``: how many are not closed; ``evidence``, ``edges``: by searched
    knob that has any; ``comparison``: None when nothing was measured; ``traces``: by configuration key, the run whose
    thermals are shown and its trace; ``limiter_rules``: by configuration key and domain, how it was judged.
    """

    unit: Unit
    goal: Goal
    runs: tuple[Run, ...]
    known: KnownStable | None = None
    evidence: dict[str, tuple[Evidence, ...]] = field(default_factory=dict)
    edges: dict[str, EdgePosterior] = field(default_factory=dict)
    comparison: Comparison | None = None
    traces: dict[str, tuple[Run, Trace]] = field(default_factory=dict)
    open_runs: int = 0

    def runs_of(self, knob: str) -> list[Run]:
        """The runs of a knob's search, oldest first, with the joint runs that moved it."""
        return [
            run
            for run in self.runs
            if run.plan.knob == knob
            or (run.plan.knob is None and run.plan.purpose in ("joint", "soak") and run.setting.value(knob) != 0)
        ]


def representative(runs: list[Run]) -> list[Run]:
    """Runs of one configuration, the one to show first: held to the end before others, the longest, then the latest."""
    return sorted(
        runs, key=lambda run: (run.outcome is Outcome.HELD, round(run.minutes), run.opened_at, run.id), reverse=True
    )
