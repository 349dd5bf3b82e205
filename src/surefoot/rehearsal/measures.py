"""A rehearsal: many units, several strategies, in parallel; and the measures of each."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor, as_completed
from dataclasses import dataclass, replace

import numpy as np

from surefoot.errors import BadInput
from surefoot.rehearsal.literature import NAMES as LITERATURE
from surefoot.rehearsal.literature import register_literature
from surefoot.rehearsal.play import Played, play
from surefoot.rehearsal.populations import GOAL, population_named
from surefoot.search import Goal
from surefoot.search.ladder import LadderStrategy
from surefoot.search.strategy import register, strategy_named
from surefoot.search.strategy import strategies as strategies_known

_CHUNK = 10


@dataclass(frozen=True)
class Measures:
    """What a strategy cost on a population and what its claims were worth.

    Hours are bench hours a unit. ``told``: units for which a claim was made, ``honest``: the share of those whose true
    MTTF meets the goal, with a 95 % interval (Wilson 1927). ``give_away``: mean over the honest claims, knob's unit.
    ``overshoot``: the deepest run past the edge, over all units. ``roomy``: the share of units with room (their best
    depth is a step of the knob or more) that got a claim of a step or more. ``effort``: of the posterior search; ""
    for a strategy that knows none.
    """

    population: str
    strategy: str
    units: int
    seed: int
    hours: float
    hours_p90: float
    crashes: float
    crashes_p90: float
    soft_failures: float
    runs: float
    runs_p90: float
    told: int
    honest: float
    honest_low: float
    honest_high: float
    give_away: float
    overshoot: float
    stops: dict[str, int]
    roomy: float = math.nan
    effort: str = ""

    @property
    def title(self) -> str:
        """The strategy with its effort, as a line of a table names it."""
        return f"{self.strategy} {self.effort}".rstrip()


def make_known(strategy: str) -> None:
    """See that a strategy can be asked for by name: the literature's, and ``ladder-back-N`` for a back-off of N mV.

    Raises BadInput for a name that means nothing.
    """
    if strategy in LITERATURE and strategy not in strategies_known():
        register_literature()
    widened = re.fullmatch(r"ladder-back-(\d{1,3})", strategy)
    if widened:
        register(LadderStrategy(back_off_mv=float(widened[1]), name=strategy))
    strategy_named(strategy)


def wilson(successes: int, trials: int, z: float = 1.959963984540054) -> tuple[float, float]:
    """95 % interval of a share (Wilson 1927); (nan, nan) without trials."""
    if trials == 0:
        return math.nan, math.nan
    share = successes / trials
    middle = (share + z * z / (2 * trials)) / (1 + z * z / trials)
    half = z / (1 + z * z / trials) * math.sqrt(share * (1 - share) / trials + z * z / (4 * trials * trials))
    return max(0.0, middle - half), min(1.0, middle + half)


def measure(population: str, strategy: str, seed: int, played: Sequence[Played], effort: str = "") -> Measures:
    """Sum up units played."""
    step = population_named(population).knob.step
    room = [one for one in played if one.best >= step]
    hours = np.array([one.bench_hours for one in played])
    crashes = np.array([one.crashes for one in played])
    runs = np.array([one.runs for one in played])
    told = [one for one in played if one.depth is not None]
    honest = [one for one in told if one.honest]
    low, high = wilson(len(honest), len(told))
    stops: dict[str, int] = {}
    for one in played:
        stops[one.why_stop] = stops.get(one.why_stop, 0) + 1
    return Measures(
        population=population,
        strategy=strategy,
        units=len(played),
        seed=seed,
        hours=float(hours.mean()),
        hours_p90=float(np.quantile(hours, 0.9)),
        crashes=float(crashes.mean()),
        crashes_p90=float(np.quantile(crashes, 0.9)),
        soft_failures=float(np.mean([one.soft_failures for one in played])),
        runs=float(runs.mean()),
        runs_p90=float(np.quantile(runs, 0.9)),
        told=len(told),
        honest=len(honest) / len(told) if told else math.nan,
        honest_low=low,
        honest_high=high,
        give_away=float(np.mean([one.give_away for one in honest])) if honest else math.nan,
        overshoot=max(one.overshoot for one in played),
        stops=dict(sorted(stops.items())),
        roomy=sum((one.depth or 0.0) >= step for one in room) / len(room) if room else math.nan,
        effort=effort,
    )


def rehearse(
    units: int,
    seed: int,
    *,
    populations: Sequence[str] = ("reference",),
    strategies: Sequence[str] = ("posterior", "ladder"),
    efforts: Sequence[str] = (),
    goal: Goal = GOAL,
    workers: int | None = None,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> list[Measures]:
    """Play strategies against populations; one `Measures` a pair, populations outermost.

    ``efforts``: the posterior search is played once with each; none: with the goal's.

    The result does not depend on ``workers`` (processes; None: one a processor), nor on ``executor``: where to play
    instead (a cluster's). ``progress`` is told units played and
    in all. Raises BadInput for an unknown name or fewer than one unit.
    """
    if units < 1:
        raise BadInput(f"units is {units}; it must be at least 1.", where="rehearsal")
    if seed < 0:
        raise BadInput(f"seed is {seed}; it must be at least 0.", where="rehearsal")
    for name in populations:
        population_named(name)
    for name in strategies:
        make_known(name)
    goals = {effort: replace(goal, effort=effort) for effort in efforts or (goal.effort,)}
    pairs = [
        (population, strategy, effort)
        for population in populations
        for strategy in strategies
        for effort in (goals if strategy == "posterior" else ("",))
    ]
    chunks = [
        (pair, start, min(start + _CHUNK, units), seed, goals.get(pair[2], goal))
        for pair in pairs
        for start in range(0, units, _CHUNK)
    ]
    workers = min(workers or os.cpu_count() or 1, len(chunks))
    played: dict[tuple[str, str, str], dict[int, list[Played]]] = {pair: {} for pair in pairs}
    done = 0

    def note(pair: tuple[str, str, str], start: int, made: list[Played]) -> None:
        nonlocal done
        played[pair][start] = made
        done += len(made)
        if progress is not None:
            progress(done, units * len(pairs))

    if executor is not None:
        asked = [(chunk, executor.submit(_play_chunk, chunk)) for chunk in chunks]
        for chunk, future in asked:
            note(chunk[0], chunk[1], future.result())
    elif workers == 1:
        for chunk in chunks:
            note(chunk[0], chunk[1], _play_chunk(chunk))
    else:
        with ProcessPoolExecutor(workers) as pool:
            waiting = {pool.submit(_play_chunk, chunk): chunk for chunk in chunks}
            for future in as_completed(waiting):
                chunk = waiting[future]
                note(chunk[0], chunk[1], future.result())
    found = []
    for pair in pairs:
        in_order = [one for start in sorted(played[pair]) for one in played[pair][start]]
        found.append(measure(pair[0], pair[1], seed, in_order, pair[2]))
    return found


def _play_chunk(chunk: tuple[tuple[str, str, str], int, int, int, Goal]) -> list[Played]:
    (population, strategy, _), start, end, seed, goal = chunk
    make_known(strategy)
    return [play(population_named(population), strategy, seed, index, goal=goal) for index in range(start, end)]
