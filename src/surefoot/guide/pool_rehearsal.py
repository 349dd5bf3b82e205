"""The search with a pool rehearsed: a pool played, then new units with it and without."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from surefoot.pool.build import write_rows
from surefoot.pool.evidence import code, frame
from surefoot.pool.lending import lent_to
from surefoot.rehearsal.measures import Measures, measure
from surefoot.rehearsal.play import play, tune
from surefoot.rehearsal.populations import GOAL, Population, population_named
from surefoot.search import Evidence, Goal
from surefoot.search.joint_goal import goal_in_unit
from surefoot.units import Unit

PLATFORM = "third arch 4"
LOAD = "gear-check"
POOL_UNITS = 30
FEW_UNITS = 3
MISLOGGED = 0.05
POOLS = 4
"""Pools drawn for each row: the new units are shared out among them, so that one lucky pool decides nothing."""
_CHUNK = 10


@dataclass(frozen=True, slots=True)
class Case:
    """A row: ``pooled``, the population that the pool is drawn from, ``new``: that of the new units; ``units`` in the
    pool; ``mislogged``: share of its outcomes turned round."""

    name: str
    pooled: str
    new: str
    units: int = POOL_UNITS
    mislogged: float = 0.0


CASES = (
    Case("reference platform", "reference", "reference"),
    Case("all-soft platform", "soft", "soft"),
    Case("another platform under the wrong name", "reference", "shallow"),
    Case("the same, deeper than the pool", "shallow", "reference"),
    Case("the same edges, but soft", "reference", "soft"),
    Case(f"pool of {FEW_UNITS} units", "reference", "reference", FEW_UNITS),
    Case(f"{MISLOGGED:.0%} of the pool mislogged", "reference", "reference", POOL_UNITS, MISLOGGED),
)


@dataclass(frozen=True, slots=True)
class Rehearsed:
    """A case played: the measures with the pool and without; ``hours``, ``given``: with over without."""

    case: Case
    lent: Measures
    alone: Measures

    @property
    def hours(self) -> float:
        """Bench hours with the pool over those without."""
        return self.lent.hours / self.alone.hours

    @property
    def given(self) -> float:
        """Depth given away with the pool over that without."""
        return self.lent.give_away / self.alone.give_away


def unit_of(population: Population, name: str = "new") -> Unit:
    """The card of a unit of a population."""
    return Unit(name=name, parts={"platform": PLATFORM}, knobs=(replace(population.knob, load=LOAD),))


def rows_of_play(
    population: Population,
    evidence: Sequence[Evidence],
    name: str,
    *,
    platform: str = PLATFORM,
    source: str = "shop",
    month: str = "2026-10",
) -> list[dict[str, Any]]:
    """The evidence of a unit played as rows of a pool."""
    knob = population.knob
    shared = {
        "unit": code(name), "source": code(source), "month": month, "platform": platform,
        "family": platform.rsplit(" ", 1)[0], "domain": knob.domain, "knob": knob.name, "measure": knob.unit,
        "toward": knob.toward, "step": float(knob.step), "most": float(knob.limit), "load": LOAD,
        "ambient_celsius": 22.0, "power_mode": "workbench", "firmware": "R-0.93", "driver": None,
    }  # fmt: skip
    return [
        {
            **shared, "number": number, "depth": piece.depth, "minutes": piece.minutes, "failed": piece.failed,
            "timed": piece.timed, "soft": piece.soft, "use": piece.use,
            "outcome": ("miscompute" if piece.soft else "reset") if piece.failed else "held",
        }
        for number, piece in enumerate(evidence, 1)
    ]  # fmt: skip


def play_pool(
    population: str, units: int, seed: int, *, mislogged: float = 0.0, goal: Goal = GOAL
) -> list[dict[str, Any]]:
    """The rows of a pool of virtual units tuned without one."""
    drawn = population_named(population)
    rng = np.random.default_rng([seed, 999])
    rows = []
    for index in range(units):
        evidence = tune(drawn, seed, index, goal_in_unit(drawn.knob, goal)).evidence
        turned = [replace(piece, failed=piece.failed != bool(rng.random() < mislogged)) for piece in evidence]
        rows += rows_of_play(drawn, turned, f"{population} {seed} {index}")
    return rows


def rehearse_pool(
    units: int,
    seed: int,
    *,
    cases: Sequence[Case] = CASES,
    goal: Goal = GOAL,
    workers: int | None = None,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> list[Rehearsed]:
    """Play every case: pools of other units, then the same new units with the pool and without.

    ``executor``: where to play (a cluster's); None: ``workers`` processes here. The result depends on neither.
    """
    if executor is None:
        with ProcessPoolExecutor(workers or os.cpu_count() or 1) as own:
            return rehearse_pool(units, seed, cases=cases, goal=goal, executor=own, progress=progress)
    pools = min(POOLS, units)
    asked = []
    for case in cases:
        for start in range(0, units, _CHUNK):
            indices = tuple(range(start, min(start + _CHUNK, units)))
            asked.append((case, indices, seed, pools, goal))
    waiting = [executor.submit(_play_chunk, one) for one in asked]
    found: dict[str, tuple[list[Any], list[Any]]] = {case.name: ([], []) for case in cases}
    done = 0
    for one, future in zip(asked, waiting, strict=True):
        lent, alone = future.result()
        found[one[0].name][0].extend(lent)
        found[one[0].name][1].extend(alone)
        done += len(lent)
        if progress:
            progress(done, units * len(cases))
    return [
        Rehearsed(
            case,
            measure(case.new, "posterior", seed, found[case.name][0], goal.effort),
            measure(case.new, "posterior", seed, found[case.name][1], goal.effort),
        )
        for case in cases
    ]


_LENT: dict[tuple[Case, int, Goal], Goal] = {}


def _play_chunk(asked: tuple[Case, tuple[int, ...], int, int, Goal]) -> tuple[list[Any], list[Any]]:
    case, indices, seed, pools, goal = asked
    population = population_named(case.new)
    lent = [
        play(population, "posterior", seed, index, goal=_goal(case, seed + 1 + index // _CHUNK % pools, goal))
        for index in indices
    ]
    return lent, [play(population, "posterior", seed, index, goal=goal) for index in indices]


def _goal(case: Case, seed: int, goal: Goal) -> Goal:
    """The goal with what a pool of another seed lends, by the same path as a user's file."""
    key = (case, seed, goal)
    if key not in _LENT:
        with tempfile.TemporaryDirectory(prefix="surefoot-pool-") as folder:
            path = Path(folder) / "pool.parquet"
            write_rows(frame(play_pool(case.pooled, case.units, seed, mislogged=case.mislogged, goal=goal)), path)
            _LENT[key] = replace(goal, lent=lent_to(path, unit_of(population_named(case.new))))
    return _LENT[key]
