"""One strategy played against one virtual unit, and what it cost."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from surefoot.rehearsal.populations import GOAL, Population
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.search import Evidence, Goal, certify, next_step
from surefoot.search.joint_goal import goal_in_unit
from surefoot.search.soft_share import SOFT_LOAD_SHARE, USUAL_SOFT_SHARE

MOST_RUNS = 120


@dataclass(frozen=True, slots=True)
class Played:
    """What one unit cost and what was said of it.

    ``bench_hours``: setting up, minutes under load, crashes and caught failures; ``depth``: the recommended depth, or
    None when nothing was claimed; ``honest``: whether its true MTTF meets the goal; ``give_away``: the true best depth
    (not rounded to a step) less the recommended; ``best``: that true best depth; ``overshoot``: the deepest
    run less the edge.
    """

    bench_hours: float
    crashes: int
    soft_failures: int
    runs: int
    depth: float | None
    honest: bool
    give_away: float
    best: float
    overshoot: float
    why_stop: str


@dataclass(frozen=True, slots=True)
class Tuned:
    """A unit after its tuning: what was written down, and what it cost in minutes and crashes."""

    unit: VirtualUnit
    evidence: tuple[Evidence, ...]
    minutes: float
    crashes: int
    soft_failures: int
    why_stop: str


def tune(population: Population, seed: int, index: int, goal: Goal, strategy: str = "posterior") -> Tuned:
    """Tune unit ``index`` of a population. ``goal``: in the unit of the population's knob.

    The unit and the luck of its runs depend on ``seed`` and ``index`` alone: every strategy meets the same units.
    """
    knob = population.knob
    if population.soft_load and goal.soft_share == USUAL_SOFT_SHARE:
        goal = replace(goal, soft_share=SOFT_LOAD_SHARE)
    unit = population.draw(np.random.default_rng([seed, index, 0]))
    rng = np.random.default_rng([seed, index, 1])
    evidence: list[Evidence] = []
    minutes_spent = 0.0
    crashes = soft = 0
    why_stop = "runs"
    for _ in range(MOST_RUNS):
        step = next_step(knob, evidence, goal, strategy=strategy)
        if step.stop:
            why_stop = step.why_stop
            break
        seen, lasted, failed = unit.run(step.depth, step.minutes, minutes_spent + goal.setup_minutes, rng)
        minutes_spent += goal.setup_minutes + lasted
        if failed and seen.soft:
            soft += 1
            minutes_spent += goal.soft_minutes
        elif failed:
            crashes += 1
            minutes_spent += goal.crash_minutes
        evidence.append(seen)
    return Tuned(unit, tuple(evidence), minutes_spent, crashes, soft, why_stop)


def play(
    population: Population,
    strategy: str,
    seed: int,
    index: int,
    *,
    goal: Goal = GOAL,
) -> Played:
    """Play a strategy against unit ``index`` of a population (`tune`) and judge its claim.

    ``goal`` is meant for mV and is put into the unit of the population's knob, as `plan` does.
    """
    knob = population.knob
    goal = goal_in_unit(knob, goal)
    tuned = tune(population, seed, index, goal, strategy)
    unit, evidence = tuned.unit, tuned.evidence
    known = certify(knob, evidence, goal, strategy=strategy)
    best = unit.best_depth(goal.mttf_hours, knob.limit)
    return Played(
        bench_hours=tuned.minutes / 60.0,
        crashes=tuned.crashes,
        soft_failures=tuned.soft_failures,
        runs=len(evidence),
        depth=known.depth if known else None,
        honest=known is not None and unit.mttf_hours(known.depth) >= goal.mttf_hours,
        give_away=best - known.depth if known else best,
        best=best,
        overshoot=max((piece.depth for piece in evidence), default=0.0) - unit.edge,
        why_stop=tuned.why_stop,
    )
