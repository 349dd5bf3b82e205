"""Ordinary use rehearsed: virtual units tuned quickly, then lived with, and what the days of use bring and cost."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, replace

import numpy as np

from surefoot.errors import BadInput
from surefoot.rehearsal.measures import wilson
from surefoot.rehearsal.play import tune
from surefoot.rehearsal.populations import GOAL, Population, population_named
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.search import Evidence, Goal, certify
from surefoot.search.joint_goal import goal_in_unit
from surefoot.search.use_plan import depth_to_live_with, trial_is_over

HOURS_A_DAY = 4.0
WAYS: dict[str, float | None] = {"careful": None, "trial 0.7": 0.7, "trial 0.5": 0.5}
"""Ways of living with a unit: by name, the chance that a trial's setting meets the goal, None for the certified one."""
USES: dict[str, float] = {"as the bench": 1.0, "a tenth": 0.1, "three times": 3.0}
"""Kinds of use: the hazard of an hour under load, as a multiple of the bench load's."""
_SHORT = {"bench": "as the bench", "tenth": "a tenth", "three": "three times"}


def uses_named(names: Sequence[str] | None) -> tuple[str, ...]:
    """Kinds of use by their short names: ``bench`` (also for none), ``tenth``, ``three``, ``all``. Raises BadInput."""
    if not names:
        return ("as the bench",)
    if "all" in names:
        return tuple(USES)
    for name in names:
        if name not in _SHORT:
            known = ", ".join((*_SHORT, "all"))
            raise BadInput(f"there is no kind of use {name!r}.", where="rehearsal of use", remedy=f"Known: {known}.")
    return tuple(dict.fromkeys(_SHORT[name] for name in names))


def days_told(days: int) -> tuple[int, ...]:
    """The days of which a table of so many days tells: the first, a quarter of the way, and the last."""
    return tuple(sorted({0, max(days // 4, 1), days}))


@dataclass(frozen=True, slots=True)
class Day:
    """What was claimed on a day: ``depth`` None when nothing was; ``crashes``: in use so far; ``honest``: whether the
    bench load's true MTTF there meets the goal, ``honest_in_use``: whether that of the use does; ``give_away``: the
    true best depth of the bench load less the claimed; ``hours``: of use under load so far; ``trial``: whether it goes
    on."""

    day: int
    depth: float | None
    crashes: int
    honest: bool
    honest_in_use: bool
    give_away: float
    hours: float
    trial: bool


@dataclass(frozen=True)
class UseMeasures:
    """A population lived with in one way, on one day. Means over units; ``honest`` over those with a claim, as in
    `Measures`, with its 95 % interval; ``give_away`` over the honest claims, knob's unit."""

    population: str
    way: str
    use: str
    day: int
    units: int
    seed: int
    told: int
    honest: float
    honest_low: float
    honest_high: float
    honest_in_use: float
    give_away: float
    crashes: float
    hours: float
    in_trial: float


def as_used(unit: VirtualUnit, hazard_share: float) -> VirtualUnit:
    """The unit's truth under ordinary use: its hazard times a share; a crash is known to the minute, and no load checks
    results. What no depth explains happens in use as well."""
    shift = unit.per_decade * math.log10(hazard_share)
    return replace(unit, edge=unit.edge - shift, late=False, soft_share=0.0)


def live_with(
    population: Population,
    seed: int,
    index: int,
    way: str,
    days: Sequence[int],
    *,
    hazard_share: float = 1.0,
    goal: Goal = GOAL,
    tuned: Sequence[Evidence] | None = None,
) -> list[Day]:
    """Live with unit ``index`` of a population after quick tuning; what is claimed on each of ``days``.

    ``tuned``: its bench evidence where it is known already. The luck of the use depends on ``seed``, ``index`` and the
    way. A crash taken for a restart on purpose (`mislogged`) is written down as hours that held.
    """
    knob = population.knob
    goal = goal_in_unit(knob, replace(goal, effort="quick"))
    unit = population.draw(np.random.default_rng([seed, index, 0]))
    evidence = list(tune(population, seed, index, goal).evidence if tuned is None else tuned)
    lived = as_used(unit, hazard_share)
    rng = np.random.default_rng([seed, index, 2, list(WAYS).index(way)])
    best = unit.best_depth(goal.mttf_hours, knob.limit)
    chance = WAYS[way]
    crashes, hours = 0, 0.0
    found: list[Day] = []
    for day in range(max(days) + 1):
        known = certify(knob, evidence, goal)
        if day in days:
            depth = known.depth if known else None
            found.append(
                Day(
                    day,
                    depth,
                    crashes,
                    depth is not None and unit.mttf_hours(depth) >= goal.mttf_hours,
                    depth is not None and lived.mttf_hours(depth) >= goal.mttf_hours,
                    best - (depth or 0.0),
                    hours,
                    chance is not None,
                )
            )
        left = HOURS_A_DAY
        while left > 1e-6:
            certified = known.depth if known else 0.0
            at = depth_to_live_with(knob, evidence, goal, chance, certified=certified)
            if chance is not None and trial_is_over(knob, evidence, goal, at, certified):
                chance, at = None, certified
            lasted = lived.hours_to_failure(at, left * 60.0, 0.0, rng)
            failed = math.isfinite(lasted)
            lasted = min(lasted, left)
            told = failed and rng.random() >= unit.mislogged
            evidence = with_use(evidence, Evidence(at, lasted * 60.0, told, use=True))
            crashes += failed
            hours += lasted
            left -= lasted
            if failed:
                known = certify(knob, evidence, goal)
    return found


def with_use(evidence: Sequence[Evidence], piece: Evidence) -> list[Evidence]:
    """With one more stretch; one that held at the depth of the last that did lengthens that one (the same evidence)."""
    last = evidence[-1] if evidence else None
    if last is not None and last.use and not last.failed and not piece.failed and last.depth == piece.depth:
        return [*evidence[:-1], replace(last, minutes=last.minutes + piece.minutes)]
    return [*evidence, piece]


def rehearse_use(
    units: int,
    seed: int,
    *,
    days: Sequence[int] = (0, 15, 60),
    populations: Sequence[str] = ("reference",),
    ways: Sequence[str] = tuple(WAYS),
    uses: Sequence[str] = ("as the bench",),
    goal: Goal = GOAL,
    workers: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> list[UseMeasures]:
    """Live with ``units`` of each population in each way; one `UseMeasures` each and day, populations outermost.

    The result does not depend on ``workers``. Raises BadInput for an unknown name or a number out of range.
    """
    if units < 1 or seed < 0 or min(days) < 0:
        raise BadInput("units must be at least 1, the seed and the days at least 0.", where="rehearsal of use")
    for name in populations:
        population_named(name)
    chunks = [
        (name, start, min(start + 5, units), seed, tuple(days), tuple(ways), tuple(uses), goal)
        for name in populations
        for start in range(0, units, 5)
    ]
    workers = min(workers or os.cpu_count() or 1, len(chunks))
    made: dict[tuple[str, str, str, int], list[Day]] = {}
    done = 0

    def note(found: dict[tuple[str, str, str, int], list[Day]], count: int) -> None:
        nonlocal done
        for key, some in found.items():
            made.setdefault(key, []).extend(some)
        done += count
        if progress is not None:
            progress(done, units * len(populations))

    if workers == 1:
        for chunk in chunks:
            note(_live_chunk(chunk), chunk[2] - chunk[1])
    else:
        with ProcessPoolExecutor(workers) as pool:
            waiting = {pool.submit(_live_chunk, chunk): chunk for chunk in chunks}
            for future in as_completed(waiting):
                note(future.result(), waiting[future][2] - waiting[future][1])
    return [
        _measure(population, way, use, day, seed, made[population, way, use, day])
        for population in populations
        for use in uses
        for way in ways
        for day in days
    ]


_Chunk = tuple[str, int, int, int, tuple[int, ...], tuple[str, ...], tuple[str, ...], Goal]


def _live_chunk(chunk: _Chunk) -> dict[tuple[str, str, str, int], list[Day]]:
    name, start, end, seed, days, ways, uses, goal = chunk
    population = population_named(name)
    found: dict[tuple[str, str, str, int], list[Day]] = {}
    bench = goal_in_unit(population.knob, replace(goal, effort="quick"))
    for index in range(start, end):
        tuned = tune(population, seed, index, bench).evidence
        for way in ways:
            for use in uses:
                for one in live_with(
                    population, seed, index, way, days, hazard_share=USES[use], goal=goal, tuned=tuned
                ):
                    found.setdefault((name, way, use, one.day), []).append(one)
    return found


def _measure(population: str, way: str, use: str, day: int, seed: int, lived: Sequence[Day]) -> UseMeasures:
    told = [one for one in lived if one.depth is not None]
    honest = [one for one in told if one.honest]
    low, high = wilson(len(honest), len(told))

    def share(count: int) -> float:
        return count / len(told) if told else math.nan

    return UseMeasures(
        population=population,
        way=way,
        use=use,
        day=day,
        units=len(lived),
        seed=seed,
        told=len(told),
        honest=share(len(honest)),
        honest_low=low,
        honest_high=high,
        honest_in_use=share(sum(one.honest_in_use for one in told)),
        give_away=float(np.mean([one.give_away for one in honest])) if honest else math.nan,
        crashes=float(np.mean([one.crashes for one in lived])),
        hours=float(np.mean([one.hours for one in lived])),
        in_trial=float(np.mean([one.trial for one in lived])),
    )
