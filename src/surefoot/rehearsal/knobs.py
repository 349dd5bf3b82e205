"""Virtual units of several knobs, played through `plan` and `known_stable` as the guided session would.

A unit in the rehearsal of several knobs: a processor core voltage with its cache linked to it, a graphics core clock,
and a graphics memory clock that fails without a crash: errors are retried, and the score is found lower at the end of
the run. The hazards add; which of them comes first ends the run. Invented: it describes no product.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from surefoot.errors import BadInput
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.runs import Closing, Outcome, Purpose, Run, RunPlan
from surefoot.search import Goal, known_stable, plan
from surefoot.search.strategy import strategy_named
from surefoot.units import Knob, Setting, Unit

CORE = Knob("cpu-core", "cpu", "mV", "down", 5, 250)
CACHE = Knob("cpu-cache", "cpu", "mV", "down", 5, 250, linked_to="cpu-core")
GPU = Knob("gpu-core", "gpu", "MHz", "up", 15, 300)
MEMORY = Knob("gpu-memory", "gpu", "MHz", "up", 25, 1000)

CARDS: dict[str, Unit] = {
    "two": Unit(name="virtual", knobs=(CORE, CACHE, GPU)),
    "three": Unit(name="virtual", knobs=(CORE, CACHE, GPU, MEMORY)),
}
MOST_RUNS = 200
_LOAD = "virtual"
_BEGAN = datetime(2026, 1, 5, 9, 0, tzinfo=UTC)
SOFT_SHARE = 0.2


@dataclass(frozen=True)
class VirtualKnobs:
    """One unit's truth: for every knob of its card, linked ones too, the edge and the spread it fails by.

    ``sag_decades``: where the search's belief that hazards merely add is wrong: each knob's hazard is raised by so many
    decades for every other searched knob that stands at its limit, in proportion where it stands short of it (a shared
    supply that sags, a shared heat sink). 0: hazards add.
    """

    card: Unit
    truths: Mapping[str, VirtualUnit]
    sag_decades: float = 0.0

    def hazards(self, setting: Setting) -> dict[str, float]:
        """Failures per hour that each knob brings at a setting; a knob at stock brings none."""
        depths = self.card.depths(setting)
        shares = {knob.name: depths[knob.name] / knob.limit for knob in self.card.leaders()}
        found = {}
        for name, truth in self.truths.items():
            if depths[name] > 0:
                leader = self.card.knob(name).linked_to or name
                others = sum(share for other, share in shares.items() if other != leader)
                found[name] = truth.hazard(depths[name]) * 10.0 ** (self.sag_decades * others)
        return found

    def mttf_hours(self, setting: Setting) -> float:
        """The true MTTF of a setting, hours: the hazards add. Infinite at stock."""
        total = sum(self.hazards(setting).values())
        return 1.0 / total if total else math.inf

    def best_alone(self, knob: Knob, mttf_hours: float) -> float:
        """The deepest depth, not rounded, at which the knob with those linked to it meets a goal by itself."""
        low, high = 0.0, knob.limit
        for _ in range(40):
            middle = (low + high) / 2
            if self.mttf_hours(self.card.setting_at({knob.name: middle})) >= mttf_hours:
                low = middle
            else:
                high = middle
        return low

    def hold(self, setting: Setting, minutes: float, rng: np.random.Generator) -> Closing:
        """Make a run: which knob fails first, if any does within the time."""
        first, at = "", math.inf
        for name, hazard in self.hazards(setting).items():
            hours = rng.exponential() / hazard
            if hours < at:
                first, at = name, hours
        if at * 60.0 >= minutes:
            return Closing(outcome=Outcome.HELD, minutes=minutes, judged_by="virtual")
        if first == MEMORY.name:
            return Closing(outcome=Outcome.SLOW, minutes=minutes, judged_by="virtual: the score fell", timed=False)
        soft = rng.random() < SOFT_SHARE
        outcome = Outcome.MISCOMPUTE if soft else Outcome.DRIVER_RESET if first == GPU.name else Outcome.RESET
        return Closing(outcome=outcome, minutes=at * 60.0, judged_by=f"virtual: {first}")


def draw(card: Unit, rng: np.random.Generator, sag_decades: float = 0.0) -> VirtualKnobs:
    """A unit of a card: edges and spreads drawn anew."""
    core = _within(rng, 110.0, 30.0, 30.0, 220.0)
    truths = {
        CORE.name: VirtualUnit(core, float(rng.lognormal(math.log(5.0), 0.35))),
        CACHE.name: VirtualUnit(core + float(rng.normal(15.0, 10.0)), float(rng.lognormal(math.log(5.0), 0.35))),
        GPU.name: VirtualUnit(_within(rng, 150.0, 45.0, 45.0, 290.0), float(rng.lognormal(math.log(15.0), 0.35))),
        MEMORY.name: VirtualUnit(_within(rng, 500.0, 150.0, 150.0, 950.0), float(rng.lognormal(math.log(25.0), 0.35))),
    }
    return VirtualKnobs(card, {knob.name: truths[knob.name] for knob in card.knobs}, sag_decades)


@dataclass(frozen=True, slots=True)
class PlayedKnobs:
    """What one unit cost and what was said of it.

    ``claimed``: whether a setting was recommended off stock; ``honest``: whether the true MTTF of the whole setting
    meets the goal; ``piecewise``: the same of the setting made of each knob's own certificate, hazards not added up
    (None when nothing was claimed); ``held_together``: whether a joint run was held, or one knob alone is off stock;
    ``give_away``: by knob, its best depth alone less the recommended.
    """

    bench_hours: float
    crashes: int
    soft_failures: int
    runs: int
    joint_runs: int
    claimed: bool
    honest: bool
    piecewise: bool | None
    held_together: bool
    give_away: Mapping[str, float]
    why_stop: str


def play_knobs(
    card: Unit,
    seed: int,
    index: int,
    *,
    goal: Goal | None = None,
    strategy: str = "posterior",
    sag_decades: float = 0.0,
) -> PlayedKnobs:
    """Play unit ``index`` of a card from nothing to the stop. The unit and its luck depend on seed and index alone."""
    goal = goal or Goal()
    unit = draw(card, np.random.default_rng([seed, index, 0]), sag_decades)
    rng = np.random.default_rng([seed, index, 1])
    runs: list[Run] = []
    minutes_spent = 0.0
    crashes = soft = 0
    why_stop = "runs"
    for number in range(1, MOST_RUNS + 1):
        step = plan(card, runs, goal, strategy=strategy)
        if step.stop:
            why_stop = step.why_stop
            break
        closing = unit.hold(step.setting, step.minutes, rng)
        opened = _BEGAN + timedelta(minutes=minutes_spent)
        minutes_spent += goal.setup_minutes + closing.minutes
        if closing.outcome.is_crash:
            crashes += 1
            minutes_spent += goal.crash_minutes
        elif closing.outcome.is_soft:
            soft += 1
            minutes_spent += goal.soft_minutes
        runs.append(_run(number, opened, step.setting, step.minutes, step.purpose, step.knob, closing))
    known = known_stable(card, runs, goal, strategy=strategy)
    setting = known.setting if known else Setting()
    piecewise = None
    if known is not None and not known.setting.is_stock:
        own = {
            name: card.knob(name).depth_of(known.setting.value(name)) + known.back.get(name, 0.0)
            for name in {*known.certificates, *known.back}
        }
        piecewise = unit.mttf_hours(card.setting_at(own)) >= goal.mttf_hours
    return PlayedKnobs(
        bench_hours=minutes_spent / 60.0,
        crashes=crashes,
        soft_failures=soft,
        runs=len(runs),
        joint_runs=sum(run.plan.purpose == "joint" for run in runs),
        claimed=not setting.is_stock,
        honest=not setting.is_stock and unit.mttf_hours(setting) >= goal.mttf_hours,
        piecewise=piecewise,
        held_together=known is not None and not known.needs_joint_run,
        give_away={
            knob.name: unit.best_alone(knob, goal.mttf_hours) - knob.depth_of(setting.value(knob.name))
            for knob in card.leaders()
        },
        why_stop=why_stop,
    )


@dataclass(frozen=True)
class KnobsMeasures:
    """A rehearsal of several knobs summed up. Hours are bench hours a unit; ``told``: units with a claim off stock;
    ``honest``: the share of those whose true joint MTTF meets the goal, 95 % interval after Wilson; ``piecewise``: the
    same had each knob's own certificate been trusted together; ``give_away``: by knob, mean over honest claims, in the
    knob's unit, against the knob's best alone."""

    card: str
    strategy: str
    units: int
    seed: int
    hours: float
    hours_p90: float
    crashes: float
    soft_failures: float
    runs: float
    joint_runs: float
    told: int
    honest: float
    honest_low: float
    honest_high: float
    piecewise: float
    held_together: float
    give_away: Mapping[str, float]
    knob_units: Mapping[str, str]
    stops: Mapping[str, int]


def rehearse_knobs(
    units: int,
    seed: int,
    *,
    card: str = "three",
    goal: Goal | None = None,
    strategy: str = "posterior",
    sag_decades: float = 0.0,
    workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> KnobsMeasures:
    """Play many units of several knobs.

    ``card``: a name in `CARDS`; ``sag_decades``: see `VirtualKnobs`; ``workers``: processes, which do not change the
    result. Raises BadInput for an unknown card or fewer than one unit.
    """
    if card not in CARDS:
        raise BadInput(f"there is no card {card!r}.", where="rehearsal", remedy=f"Known: {', '.join(CARDS)}.")
    if units < 1:
        raise BadInput(f"units is {units}; it must be at least 1.", where="rehearsal")
    if seed < 0:
        raise BadInput(f"seed is {seed}; it must be at least 0.", where="rehearsal")
    played: dict[int, PlayedKnobs] = {}
    jobs = [(card, seed, index, goal, strategy, sag_decades) for index in range(units)]
    if workers <= 1:
        for job in jobs:
            played[job[2]] = _play_job(job)
            if progress is not None:
                progress(len(played), units)
    else:
        from concurrent.futures import ProcessPoolExecutor, as_completed

        with ProcessPoolExecutor(workers) as pool:
            waiting = {pool.submit(_play_job, job): job[2] for job in jobs}
            for future in as_completed(waiting):
                played[waiting[future]] = future.result()
                if progress is not None:
                    progress(len(played), units)
    return measure_knobs(card, strategy, seed, [played[index] for index in range(units)])


def compare_knobs(
    units: int,
    seed: int,
    *,
    card: str = "three",
    strategies: Sequence[str] = ("posterior", "ladder"),
    goal: Goal | None = None,
    workers: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> list[KnobsMeasures]:
    """Several strategies on the same units; ``workers``: None for one process a processor. Raises BadInput."""
    for name in strategies:
        strategy_named(name)
    found = []
    for at, name in enumerate(strategies):

        def told(done: int, of: int, before: int = at * units) -> None:
            if progress is not None:
                progress(before + done, of * len(strategies))

        found.append(
            rehearse_knobs(
                units, seed, card=card, goal=goal, strategy=name, workers=workers or os.cpu_count() or 1, progress=told
            )
        )
    return found


def measure_knobs(card: str, strategy: str, seed: int, played: Sequence[PlayedKnobs]) -> KnobsMeasures:
    """Sum up units played."""
    from surefoot.rehearsal.measures import wilson

    told = [one for one in played if one.claimed]
    honest = [one for one in told if one.honest]
    low, high = wilson(len(honest), len(told))
    stops: dict[str, int] = {}
    for one in played:
        stops[one.why_stop] = stops.get(one.why_stop, 0) + 1

    def mean(values: Sequence[float]) -> float:
        return float(np.mean(values)) if values else math.nan

    return KnobsMeasures(
        card=card,
        strategy=strategy,
        units=len(played),
        seed=seed,
        hours=mean([one.bench_hours for one in played]),
        hours_p90=float(np.quantile([one.bench_hours for one in played], 0.9)),
        crashes=mean([one.crashes for one in played]),
        soft_failures=mean([one.soft_failures for one in played]),
        runs=mean([one.runs for one in played]),
        joint_runs=mean([one.joint_runs for one in played]),
        told=len(told),
        honest=len(honest) / len(told) if told else math.nan,
        honest_low=low,
        honest_high=high,
        piecewise=mean([float(one.piecewise) for one in told if one.piecewise is not None]),
        held_together=mean([float(one.held_together) for one in told]),
        give_away={knob.name: mean([one.give_away[knob.name] for one in honest]) for knob in CARDS[card].leaders()},
        knob_units={knob.name: knob.unit for knob in CARDS[card].leaders()},
        stops=dict(sorted(stops.items())),
    )


def _play_job(job: tuple[str, int, int, Goal | None, str, float]) -> PlayedKnobs:
    card, seed, index, goal, strategy, sag_decades = job
    return play_knobs(CARDS[card], seed, index, goal=goal, strategy=strategy, sag_decades=sag_decades)


def _run(
    number: int, opened: datetime, setting: Setting, minutes: float, purpose: Purpose, knob: str, closing: Closing
) -> Run:
    return Run(
        id=number,
        opened_at=opened,
        plan=RunPlan(
            unit_name="virtual",
            setting=setting,
            load=_LOAD,
            planned_minutes=minutes,
            purpose=purpose,
            knob=knob or None,
            source="virtual",
        ),
        applied=setting,
        closed_at=opened + timedelta(minutes=closing.minutes),
        closing=closing,
    )


def _within(rng: np.random.Generator, mean: float, sd: float, low: float, high: float) -> float:
    """A normal draw, drawn again until it lies inside."""
    while True:
        value = float(rng.normal(mean, sd))
        if low <= value <= high:
            return value
