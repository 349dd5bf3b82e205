"""Everything the report is made from, worked out once from the journal."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from surefoot.pool.door import lent_by_card
from surefoot.runs import Outcome, Run, Trace
from surefoot.scores.comparison import Comparison
from surefoot.scores.configurations import parts_from
from surefoot.scores.design import Trial, design_says
from surefoot.scores.efficiency import EqualScore
from surefoot.scores.frame_curves import FrameCurve
from surefoot.scores.own_share import Pair, pairs_of
from surefoot.scores.supply import SupplyCheck
from surefoot.search import Assessment, EdgePosterior, Evidence, Goal, KnownStable, assess, edge_posterior, run_evidence
from surefoot.units import Conditions, Unit

if TYPE_CHECKING:
    from surefoot.journal.reader import JournalReader
    from surefoot.report.gather import SurfaceAt


@dataclass(frozen=True, eq=False)
class Material:
    """What the journal holds of a unit and what follows from it.

    ``runs``: closed ones, oldest first; ``open_runs``: how many are not closed; ``evidence``, ``edges``: by searched
    knob that has any; ``comparison``: None when nothing was measured; ``own``: the pairs that show
    what the known-stable setting brought, each with its comparison, the likest first; ``since``: that setting beside
    the baseline that was asked for, else beside how the unit was first measured; None where that is one of the likest
    pair; ``designs``: of its trials, a sentence each; ``traces``: by configuration key, the run whose thermals are
    shown and its trace; ``curves``: of the frame times of runs; ``problems``: what could not be used and why, in words.
    """

    unit: Unit
    goal: Goal
    runs: tuple[Run, ...]
    known: KnownStable | None = None
    assessment: Assessment | None = None
    evidence: dict[str, tuple[Evidence, ...]] = field(default_factory=dict)
    edges: dict[str, EdgePosterior] = field(default_factory=dict)
    comparison: Comparison | None = None
    own: tuple[tuple[Pair, Comparison], ...] = ()
    since: Comparison | None = None
    designs: tuple[str, ...] = ()
    traces: dict[str, tuple[Run, Trace]] = field(default_factory=dict)
    surfaces: tuple[SurfaceAt, ...] = ()
    supply: tuple[SupplyCheck, ...] = ()
    equal_scores: tuple[EqualScore, ...] = ()
    curves: tuple[FrameCurve, ...] = ()
    problems: tuple[str, ...] = ()
    open_runs: int = 0

    def runs_of(self, knob: str) -> list[Run]:
        """The runs of a knob's search, oldest first, with the joint runs that moved it."""
        return [
            run
            for run in self.runs
            if run.plan.knob == knob
            or (run.plan.knob is None and run.plan.purpose in ("joint", "soak") and run.setting.value(knob) != 0)
        ]


def collect(
    journal: JournalReader, unit: Unit | str, *, baseline: str | None = None, tell: Callable[[str], None] | None = None
) -> Material:
    """Read the journal once and work everything out; ``tell`` is called with what is being done.

    Raises BadInput for an unknown unit or baseline.
    """
    from surefoot.report.gather import comparison_of, equal_scores, gather

    card = journal.unit(unit) if isinstance(unit, str) else unit
    gathered = gather(journal, card, tell=tell)
    goal = Goal(mttf_hours=card.goal.mttf_hours, confidence=card.goal.confidence, effort=card.goal.effort)
    # The claim is the one that recall gives: with what the card's pool lends.
    goal, why_no_pool = lent_by_card(card, goal, journal.identity(card.name))
    # As recall asks: runs under another firmware or driver than the card's do not count.
    present = Conditions(firmware=card.firmware, driver=card.driver)
    closed = tuple(run for run in gathered.runs if not run.is_open)
    evidence = {knob.name: tuple(run_evidence(card, closed, knob, conditions=present)) for knob in card.leaders()}
    evidence = {name: pieces for name, pieces in evidence.items() if pieces}
    comparison = comparison_of(gathered, baseline=baseline) if gathered.comparable or baseline else None
    assessment = assess(card, closed, goal, conditions=present)
    known = assessment.known
    pairs: tuple[Pair, ...] = ()
    if known is not None:
        pairs = pairs_of(gathered.comparable, known.setting, power_mode=card.power_mode, cooling=card.cooling)
    since = None
    if pairs and comparison is not None:
        # The trial's baseline is what the trial asks about; what a user paid for began where the unit was first seen.
        first = comparison.baseline if baseline else gathered.comparable[0].key
        if first not in (pairs[0].tuned.key, pairs[0].stock.key):
            since = comparison_of(gathered, [pairs[0].tuned.key], baseline=first)
    by_id = {run.id: run for run in gathered.measured}
    traces = {}
    for one in comparison.configurations if comparison else ():
        with_trace = [by_id[run] for run in one.run_ids if run in by_id and journal.has_trace(run)]
        if with_trace:
            chosen = representative(with_trace)[0]
            traces[one.key] = (chosen, journal.trace(chosen.id))
    return Material(
        unit=card,
        goal=goal,
        runs=closed,
        known=known,
        assessment=assessment,
        evidence=evidence,
        edges={name: edge_posterior(card.knob(name), pieces, goal) for name, pieces in evidence.items()},
        comparison=comparison,
        own=tuple((pair, comparison_of(gathered, [pair.tuned.key], baseline=pair.stock.key)) for pair in pairs),
        since=since,
        designs=tuple(_design(trial) for trial in gathered.trials),
        traces=traces,
        surfaces=gathered.surfaces,
        supply=gathered.supply,
        equal_scores=equal_scores(comparison) if comparison else (),
        curves=gathered.curves,
        problems=(*gathered.problems, *((f"{card.name}: {why_no_pool}",) if why_no_pool else ())),
        open_runs=len(gathered.runs) - len(closed),
    )


def _design(trial: Trial) -> str:
    coolings = [parts_from(key).cooling or "" for key in trial.configurations]
    return design_says(trial, trial.configurations, coolings)


def representative(runs: list[Run]) -> list[Run]:
    """Runs of one configuration, the one to show first: held to the end before others, the longest, then the latest."""
    return sorted(
        runs, key=lambda run: (run.outcome is Outcome.HELD, round(run.minutes), run.opened_at, run.id), reverse=True
    )
