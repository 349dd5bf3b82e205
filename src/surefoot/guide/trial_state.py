"""Where a trial stands, from the journal alone: what was run, what comes next, how long, whether it may stop."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from surefoot.guide.measure import WORK_SCORE
from surefoot.journal import Journal
from surefoot.journal.records import ScoreEntry, TrialEntry
from surefoot.runs import Floats, Outcome, Run
from surefoot.scores.blocks import within_blocks
from surefoot.scores.configurations import is_measurement, key_of, parts_of
from surefoot.scores.design import Trial, Turn, design_says
from surefoot.scores.means import resolution_of
from surefoot.scores.power import Power, power
from surefoot.scores.trial_plan import TrialPlan
from surefoot.units import validated

BETWEEN_RUNS_MINUTES = 4.0
"""Setting up and cooling down between two runs, until the trial's own runs say better."""


@dataclass(frozen=True, slots=True)
class TrialState:
    """``turns``: the whole order; ``done``: those run, by (block, position), with the run that counts; ``failed``: runs
    of the trial that ended badly; ``minutes_left``: about so long for the rest; ``ended``: why no run is to come."""

    number: int
    plan: TrialPlan
    design: Trial
    turns: tuple[Turn, ...]
    done: dict[tuple[int, int], Run]
    failed: tuple[Run, ...]
    minutes_left: float
    ended: str | None

    @property
    def next(self) -> Turn | None:
        """The run that comes next; None where none does."""
        if self.ended is not None:
            return None
        return next((turn for turn in self.turns if (turn.block, turn.position) not in self.done), None)

    @property
    def blocks_done(self) -> int:
        """Blocks in which every configuration was run."""
        of: dict[int, list[Turn]] = {}
        for turn in self.turns:
            of.setdefault(turn.block, []).append(turn)
        return sum(all((turn.block, turn.position) in self.done for turn in turns) for turns in of.values())

    @property
    def says(self) -> str:
        """The design in one sentence."""
        arms = self.plan.arms
        return design_says(self.design, [arm.name for arm in arms], [arm.cooling or "" for arm in arms])

    def next_says(self) -> str:
        """What comes next and how long it all takes, in words."""
        turn = self.next
        if turn is None:
            return f"Trial {self.number}: no run is to come ({self.ended or 'every block is in'})."
        blocks = self.turns[-1].block
        in_block = sum(one.block == turn.block for one in self.turns)
        left = len(self.turns) - len(self.done)
        return (
            f"Trial {self.number}, block {turn.block} of {blocks}, run {turn.position} of {in_block}:"
            f" {self.plan.arms[turn.configuration].name}, {self.plan.minutes:g} min."
            f" {left} run{'s' if left > 1 else ''} to go, about {_hours(self.minutes_left)}."
        )


@dataclass(frozen=True, slots=True)
class Look:
    """What was seen of the deciding metric in ``blocks`` complete blocks.

    ``spread_percent``: between runs of a block; ``adjusted``: corrected chances of error, ``level``: what they must
    reach now; ``power``: of the plan for the difference looked for, at this spread.
    """

    blocks: int
    metric: str
    spread_percent: float
    adjusted: tuple[float, ...]
    level: float | None
    power: Power | None

    @property
    def all_shown(self) -> bool:
        """Whether every configuration differs from the baseline, so that nothing is left to be seen."""
        return self.level is not None and all(p <= self.level for p in self.adjusted)


def states(journal: Journal, unit_name: str) -> list[TrialState]:
    """The trials of a unit, oldest first."""
    runs = journal.runs(unit_name)
    touched = {entry.run_id for entry in journal.scores(unit_name)}
    return [_state(entry, runs, touched) for entry in journal.trials(unit_name)]


def _state(entry: TrialEntry, runs: Sequence[Run], touched: set[int | None]) -> TrialState:
    plan = validated(TrialPlan, entry.plan, f"trial {entry.number}")
    design = plan.design(entry.number, ended=entry.ended is not None)
    turns = design.order()
    mine = [run for run in runs if run.plan.place is not None and run.plan.place.trial == entry.number]
    done: dict[tuple[int, int], Run] = {}
    for run in mine:
        if run.plan.place is not None and is_measurement(run, run.id in touched):
            done.setdefault((run.plan.place.block, run.plan.place.position), run)
    failed = tuple(
        run for run in mine if run.outcome is not None and run.outcome not in (Outcome.HELD, Outcome.SLOW, Outcome.VOID)
    )
    took = [
        (after.opened_at - run.opened_at).total_seconds() / 60
        for run, after in pairwise(mine)
        if run.closing is not None
    ]
    # A night between two runs is no part of a run's length.
    took = [minutes for minutes in took if minutes <= 3 * (plan.minutes + BETWEEN_RUNS_MINUTES)]
    each = float(np.median(took)) if took else plan.minutes + BETWEEN_RUNS_MINUTES
    left = sum((turn.block, turn.position) not in done for turn in turns)
    return TrialState(entry.number, plan, design, turns, done, failed, each * left, entry.ended)


def look(state: TrialState, scores: Sequence[ScoreEntry], alpha: float = 0.05) -> Look | None:
    """What the complete blocks say of the deciding metric; None before two of them, or where there is no such score.

    Only of the stratum that the baseline belongs to: the others are never in a block with it.
    """
    members = state.design.strata[0]
    table = _table(state, scores, members)
    if table is None or table.shape[0] < 2 or len(members) < 2:
        return None
    found = within_blocks(table, resolution=resolution_of(table.ravel()))
    mean = abs(float(table[:, 0].mean()))
    spread = 100 * found.spread / mean if mean else math.nan
    planned = None
    if state.plan.to_see is not None and spread > 0:
        planned = power(state.plan.blocks, len(members), state.plan.to_see, spread, early=state.plan.early)
    return Look(
        blocks=table.shape[0],
        metric=deciding_score(state.plan, scores, [run.id for run in state.done.values()]),
        spread_percent=spread,
        adjusted=tuple(float(p) for p in found.adjusted),
        level=state.design.level(table.shape[0], len(members) - 1, alpha),
        power=planned,
    )


def _table(state: TrialState, scores: Sequence[ScoreEntry], members: Sequence[int]) -> Floats | None:
    """The deciding metric by complete block and configuration, shape (blocks, members)."""
    name = deciding_score(state.plan, scores, [run.id for run in state.done.values()])
    values: dict[int, float] = {}
    for entry in scores:
        if entry.run_id is not None and entry.score.name == name:
            values.setdefault(entry.run_id, entry.score.value)
    rows = []
    for block in sorted({turn.block for turn in state.turns if turn.stratum == 0}):
        at = {
            turn.configuration: values.get(state.done[turn.block, turn.position].id)
            for turn in state.turns
            if turn.block == block and (turn.block, turn.position) in state.done
        }
        row = [at.get(which) for which in members]
        if all(value is not None for value in row):
            rows.append(row)
    return np.array(rows, dtype=np.float64) if rows else None


def usual_score(load: str) -> str:
    """What decides where the user named nothing: the rate of verified work."""
    return f"{WORK_SCORE} ({load})"


def deciding_score(plan: TrialPlan, scores: Sequence[ScoreEntry], runs: Collection[int]) -> str:
    """The name of the score that decides a trial: the one that was named; else the usual one, or, of a load that tells
    scores of its own, the first that it tells. ``runs``: ids of those made under its load."""
    if plan.metric != usual_score(plan.load):
        return plan.metric
    return own_score(plan.load, scores, runs)


def own_score(load: str, scores: Sequence[ScoreEntry], runs: Collection[int]) -> str:
    """The usual score of a load, or the first of its own in the runs that have none of that name."""
    names = [entry.score.name for entry in scores if entry.run_id is not None and entry.run_id in runs]
    usual = usual_score(load)
    return usual if usual in names or not names else names[0]


def spread_seen(journal: Journal, unit_name: str, metric: str) -> tuple[float, int] | None:
    """The spread of a score between runs of one configuration, percent of its mean, and the runs it was seen in.

    Pooled over configurations. None before any has two runs.
    """
    runs = {run.id: run for run in journal.runs(unit_name)}
    groups: dict[str, list[float]] = {}
    for entry in journal.scores(unit_name):
        run = runs.get(entry.run_id) if entry.run_id is not None else None
        if run is not None and entry.score.name == metric and is_measurement(run, True):
            groups.setdefault(key_of(parts_of(run)), []).append(entry.score.value)
    squares = degrees = 0.0
    count = 0
    for values in groups.values():
        mean = float(np.mean(values))
        if len(values) > 1 and mean:
            squares += float(np.sum((np.array(values) / mean - 1) ** 2))
            degrees += len(values) - 1
            count += len(values)
    return (100 * math.sqrt(squares / degrees), count) if degrees and squares > 0 else None


def _hours(minutes: float) -> str:
    return f"{minutes:.0f} min" if minutes < 90 else f"{minutes / 60:.1f} h"
