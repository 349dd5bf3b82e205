"""The sweep that finds the constants of the search, by playing very many virtual units. Run by hand; needs `cc`.

    python tests/benchmarks/policy_sweep.py search --generations 60     # ten minutes on 16 cores
    python tests/benchmarks/policy_sweep.py each --generations 16 --units 600   # ten minutes on 16 cores
    python tests/benchmarks/policy_sweep.py pick --units 1500 --seed 9001   # a minute on 16 cores
    python tests/benchmarks/policy_sweep.py show --seed 777             # what ships, on other units: a minute
    python tests/benchmarks/policy_sweep.py trade --seed 777            # hours against depth around it: some minutes

`search` varies the prior, which all efforts share, and the constants of each effort together, by CMA-ES with a diagonal
covariance (Hansen and Ostermeier 2001; Ros and Hansen 2008): least given away on the reference, honest in the worst of
`WORST` first, hours and crashes as `BUDGET` has them, at usual the self-checking load, the clock and edges near stock
as well. Every generation meets units of its own (``--seed`` plus its number), so that no luck of theirs is learned.
Its result is the mean of the last generation: the same whatever ``--workers``, and whether it was made in one go or,
with ``--state``, in parts of ``--seconds`` each.

`each` holds the prior's shape, which thirty constants at once leave in the noise, and varies the constants of one
effort at a time from `START`, in the same way: usual first, together with what it shares (`SHARED`), then quick and
thorough with that.

`pick` has the last word, since both ended where luck was larger than a step. It plays what they found and `START` on
the same units, many more of them, each with the doubt at which the worst of `WORST` is as honest as `SETTLED`; takes
the least cost of each effort; and sets the doubt so that the worst at any effort is that honest. What it prints ships.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from policy_engine import DOUBTS, Bench, Constants, Model, Units, shipped, sum_up, units_of, varied
from scipy.special import ndtr

from surefoot.rehearsal.measures import rehearse
from surefoot.rehearsal.populations import GOAL, POPULATIONS, Population
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.search.effort import EFFORTS
from surefoot.search.joint_goal import goal_in_unit
from surefoot.search.prior import typical_per_decade
from surefoot.search.soft_share import SOFT_LOAD_SHARE, USUAL_SOFT_SHARE


def _reference(rng: np.random.Generator, **changes: Any) -> VirtualUnit:
    return replace(POPULATIONS["reference"].draw(rng), **changes)


def _slope_8(rng: np.random.Generator) -> VirtualUnit:
    return _reference(rng, per_decade=float(rng.lognormal(np.log(8.0), 0.1)))


def _skewed(rng: np.random.Generator) -> VirtualUnit:
    return _reference(rng, edge=min(35.0 + float(rng.gamma(1.3, 40.0)), 235.0))


def _bimodal(rng: np.random.Generator) -> VirtualUnit:
    low = rng.random() < 0.35
    return _reference(rng, edge=float(rng.uniform(40.0, 55.0) if low else rng.uniform(170.0, 210.0)),
                      per_decade=float(rng.lognormal(np.log(8.0 if low else 4.0), 0.15)))  # fmt: skip


def _floor(rng: np.random.Generator) -> VirtualUnit:
    return _reference(rng, background=1.0 / 250.0, most_per_hour=200.0)


def _correlated(rng: np.random.Generator) -> VirtualUnit:
    unit = POPULATIONS["reference"].draw(rng)
    return replace(unit, per_decade=float((2.0 + unit.edge / 20.0) * rng.lognormal(0.0, 0.15)))


OWN_POPULATIONS = (
    Population("slope 8", "8 mV per decade, lognormal(ln 8, 0.1)", _slope_8),
    Population("skewed", "edge 35 mV and a gamma of shape 1.3 and mean 52 past it", _skewed),
    Population("bimodal", "35 in 100 at 40 to 55 mV and 8 mV per decade, else 170 to 210 and 4", _bimodal),
    Population("floor", "one failure in 250 h at any depth, at most 200 an hour", _floor),
    Population("correlated", "2 mV per decade and a twentieth of the edge: softer the deeper", _correlated),
)
"""Not in the rehearsal. The sweep looks at the first alone; the others are unseen by it."""
EVERY = {**POPULATIONS, **{one.name: one for one in OWN_POPULATIONS}}
WORST = ("reference", "soft", "soft-tail", "jittered", "slope 8")
ALSO = ("self-checking", "near-stock", "clock")
BUDGET = {"quick": (0.25, 1.1), "usual": (0.40, 1.7), "thorough": (0.90, 2.5)}
"""Hours as a share of the ladder's, and crashes, on the reference."""
HONEST = 0.912
SETTLED = 0.92
"""What a search asks of the worst of `WORST`, and what the doubt is set to at last: 400 units show 0.90 then in nine
cases of ten."""
PRICES = {"quick": (0.6, 60.0, 10.0), "usual": (1.0, 40.0, 8.0), "thorough": (1.0, 15.0, 5.0)}
"""Weight of an effort; what hours and crashes past the budget count, in mV."""
ORDER = ("usual", "quick", "thorough")
"""One effort at a time, in this order."""
STEEP = 2.0
"""There the budget counts so many times as much: it comes before the give-away."""
SMOOTH_MV = 2.0
"""A claim so much past the truth counts half: which side of a step a unit fell on is luck."""
# Lowest, highest, start.
PRIOR = {
    "middle": (0.8, 1.3, 1.01), "spread": (0.18, 0.45, 0.28), "soft_multiple": (1.7, 2.8, 2.14),
    "soft_spread": (0.1, 0.4, 0.23), "soft_weight": (0.15, 0.65, 0.42), "steep_weight": (0.005, 0.3, 0.06),
    "steep_multiple": (0.4, 0.75, 0.61), "run_spread": (0.08, 1.2, 0.175), "doubt": (0.7, 2.5, 1.2),
    "most_gain": (2.5, 10.0, 3.8), "stock_short": (0.005, 0.3, 0.06), "unclaimed": (0.15, 1.0, 0.5),
}  # fmt: skip
OWN = {
    "crash_aversion": (1.0, 40.0, (10.3, 4.3, 8.5)), "worth": (0.03, 0.8, (0.5, 0.24, 0.09)),
    "plan_doubt": (0.7, 4.5, (2.35, 3.3, 2.1)), "careful_minutes": (1.0, 8.0, (2.7, 2.1, 2.0)),
    "careful_decades": (1.0, 4.5, (2.43, 3.1, 3.6)), "full_share": (0.15, 1.0, (0.195, 0.266, 0.33)),
}  # fmt: skip
BOUNDS: dict[str, tuple[float, float, float]] = {
    **{f"all/{name}": bound for name, bound in PRIOR.items()},
    **{
        f"{effort}/{name}": (low, high, starts[at])
        for at, effort in enumerate(EFFORTS)
        for name, (low, high, starts) in OWN.items()
    },
    "thorough/within": (0.4, 1.0, 0.85),
}

START = {
    "all/doubt": 1.12, "all/unclaimed": 0.5, "all/most_gain": 3.8,
    "quick/crash_aversion": 10.3, "quick/worth": 0.47, "quick/plan_doubt": 2.35, "quick/careful_minutes": 2.7,
    "quick/careful_decades": 2.43, "quick/full_share": 0.195,
    "usual/crash_aversion": 4.3, "usual/worth": 0.235, "usual/plan_doubt": 3.44, "usual/careful_minutes": 2.1,
    "usual/careful_decades": 3.1, "usual/full_share": 0.266,
    "thorough/crash_aversion": 8.5, "thorough/worth": 0.076, "thorough/plan_doubt": 2.08,
    "thorough/careful_minutes": 2.0, "thorough/careful_decades": 3.6, "thorough/full_share": 0.33,
    "thorough/within": 0.81,
}  # fmt: skip
"""Where `each` starts: the constants found for one run ahead, and what the first trials two ahead moved."""
FOUND: dict[str, dict[str, tuple[float, ...]]] = {
    "usual": {
        "start": (4.3, 0.235, 3.44, 2.1, 3.1, 0.266),
        "start, worth .25": (4.3, 0.25, 3.44, 2.1, 3.1, 0.266),
        "start, crash aversion 5.2": (5.2, 0.235, 3.44, 2.1, 3.1, 0.266),
        "search": (5.97, 0.307, 3.30, 2.09, 2.99, 0.225),
        "each": (7.71, 0.321, 2.42, 2.10, 3.27, 0.300),
    },
    "quick": {
        "start": (10.3, 0.47, 2.35, 2.7, 2.43, 0.195),
        "start, crash aversion 14": (14.0, 0.47, 2.35, 2.7, 2.43, 0.195),
        "search": (11.5, 0.334, 2.84, 2.57, 3.21, 0.222),
        "each": (11.7, 0.508, 1.85, 2.20, 2.40, 0.175),
    },
    "thorough": {
        "start": (8.5, 0.076, 2.08, 2.0, 3.6, 0.33, 0.81),
        "start, worth .068": (8.5, 0.068, 2.08, 2.0, 3.6, 0.33, 0.81),
        "start, crash aversion 11": (11.0, 0.076, 2.08, 2.0, 3.6, 0.33, 0.81),
    },
}
"""What `pick` chooses from, in the order of `OWN` and thorough's `within`: `START`, near it, and what `search` found in
34 generations and `each` in 16 of 600 units. Thorough was not reached by `each` in the time there was; what `search`
found for it stops before usual would where a crash weighs as much."""
SHARED = tuple(name for name in START if name.startswith("all/"))
"""Varied with usual: the allowed doubt, the worth of an hour without a claim, the most a run is credited with."""


def bench_of(population: Population) -> Bench:
    """The bench of a population, as the rehearsal has it."""
    knob = population.knob
    goal = goal_in_unit(knob, GOAL)
    share = SOFT_LOAD_SHARE if population.soft_load else USUAL_SOFT_SHARE
    return Bench(step=knob.step, limit=knob.limit, typical=typical_per_decade(knob), within=goal.within,
                 stride=goal.max_stride, soft_share=share)  # fmt: skip


@lru_cache(maxsize=24)
def units(name: str, seed: int, count: int) -> Units:
    """The units of a population."""
    drawn = [EVERY[name].draw(np.random.default_rng([seed, index, 0])) for index in range(count)]
    return units_of(drawn, bench_of(EVERY[name]), seed)


@lru_cache(maxsize=64)
def ladder_hours(name: str, seed: int) -> float:
    """Bench hours of the ladder, from 150 units; of a population that is the sweep's own, the reference's."""
    known = name if name in POPULATIONS else "reference"
    return rehearse(150, seed, populations=(known,), strategies=("ladder",), workers=1)[0].hours


def play(name: str, constants: Constants, seed: int, count: int, ladder: float | None = None) -> dict[str, Any]:
    """Play a population; the measures, and honesty smoothed over which side of a step a unit fell on.

    ``ladder``: its hours, else found with the same seed."""
    population = EVERY[name]
    played = Model(bench_of(population), constants).play(units(name, seed, count))
    found: dict[str, Any] = sum_up(played, population.knob.step)
    told = played["depth"] >= 0
    left = np.where(played["stock_short"], -50.0, played["best"] - played["depth"])[told]
    found["smooth"] = float(ndtr(left / SMOOTH_MV).mean()) if told.any() else 1.0
    found["of_ladder"] = found["hours"] / (ladder_hours(name, seed) if ladder is None else ladder)
    return found


def constants_of(values: Mapping[str, float], effort: str) -> Constants:
    """The constants of one effort."""
    mine = {key.split("/")[1]: value for key, value in values.items() if key.split("/")[0] in ("all", effort)}
    return varied(shipped(effort), **{"within": 1.0, **mine})


def _play_efforts(asked: tuple[Mapping[str, float], str, int, int, float, Sequence[str]]) -> dict[str, dict[str, Any]]:
    """One population with the constants of every effort that looks at it."""
    values, name, seed, count, ladder, efforts = asked
    if name in ALSO:
        efforts = [effort for effort in efforts if effort == "usual"]
    return {effort: play(name, constants_of(values, effort), seed, count, ladder) for effort in efforts}


def cost_of(
    found: Mapping[str, Mapping[str, Mapping[str, Any]]], efforts: Sequence[str] = tuple(PRICES)
) -> tuple[float, dict[str, Any]]:
    """What the search minimises, in mV, and the measures it is made of. ``found``: by population and effort; of one
    effort alone, hours and crashes past the budget weigh `STEEP` times as much."""
    total = 0.0
    said: dict[str, Any] = {}
    past: Callable[[float, float], float] = lambda value, most: max(0.0, value - most)  # noqa: E731
    steep = STEEP if len(efforts) == 1 else 1.0
    for effort in efforts:
        weight, hours, crashes = PRICES[effort][0], *(steep * price for price in PRICES[effort][1:])
        reference = found["reference"][effort]
        most_hours, most_crashes = BUDGET[effort]
        mine = reference["give"] + hours * past(reference["of_ladder"], most_hours - 0.008)
        mine += crashes * past(reference["crashes"], most_crashes - 0.04)
        mine += sum(150.0 * past(HONEST, found[name][effort]["smooth"]) for name in WORST)
        total += weight * mine
        said[effort] = {key: round(reference[key], 3) for key in ("give", "of_ladder", "crashes")}
        said[effort]["worst"] = round(min(found[name][effort]["smooth"] for name in WORST), 3)
    if "usual" not in efforts:
        return total, said
    checking, near, clock = (found[name]["usual"] for name in ALSO)
    total += 0.5 * past(checking["give"], 9.8) + 30.0 * past(checking["of_ladder"], 0.392)
    total += 8.0 * past(checking["crashes"], 0.57)
    total += 30.0 * past(0.87, near["room"]) + 30.0 * past(near["of_ladder"], 0.44) + 5.0 * past(near["crashes"], 1.66)
    total += 0.2 * past(clock["give"], 34.0)
    for name in ALSO:
        said[name] = {key: round(found[name]["usual"][key], 3) for key in ("give", "of_ladder", "crashes", "room")}
    return total, said


class Player:
    """Plays many sets of constants at once."""

    def __init__(self, workers: int, seed: int, count: int) -> None:
        self.pool, self.count = ProcessPoolExecutor(workers), count
        names = (*WORST, *ALSO)
        self.ladder = dict(zip(names, self.pool.map(ladder_hours, names, [seed] * len(names)), strict=True))

    def costs(self, tried: Sequence[Mapping[str, float]], seed: int, times: int = 1,
              efforts: Sequence[str] = tuple(PRICES)) -> list[tuple[float, dict[str, Any]]]:  # fmt: skip
        """The cost of each."""
        looked = {name: hours for name, hours in self.ladder.items() if name in WORST or "usual" in efforts}
        asked = [(values, name, seed, self.count * times, hours, efforts)
                 for name, hours in looked.items() for values in tried]  # fmt: skip
        made = list(self.pool.map(_play_efforts, asked))
        return [cost_of({name: made[place * len(tried) + at] for place, name in enumerate(looked)}, efforts)
                for at in range(len(tried))]  # fmt: skip

    def settled(self, tried: Sequence[Mapping[str, float]], efforts: Sequence[str], seed: int, times: int,
                turns: int) -> list[tuple[float, dict[str, float]]]:  # fmt: skip
        """Of each, the doubt at which the worst of `WORST` at any of the efforts is as honest as `SETTLED`, and
        give-away, hours, crashes on the reference at the last of the efforts with it."""
        own = [dict(values) for values in tried]
        for _ in range(turns):
            asked = [(values, name, effort, seed, self.count * times, self.ladder["reference"])
                     for values in own for effort in efforts for name in WORST]  # fmt: skip
            made = list(self.pool.map(_profile, asked))
            each = len(efforts) * len(WORST)
            found = []
            for at, values in enumerate(own):
                mine = made[at * each : (at + 1) * each]
                worst = np.min([one["smooth_at"] for one in mine], axis=0)
                # The last doubt before the first that is not honest enough, and the share of the way to that.
                past = next((i for i, one in enumerate(worst) if one < SETTLED), len(worst) - 1)
                low = max(past - 1, 0)
                share = float(np.clip((worst[low] - SETTLED) / max(worst[low] - worst[past], 1e-9), 0.0, 1.0))
                between = lambda row: float(row[low] * (1.0 - share) + row[past] * share)  # noqa: B023, E731
                values["all/doubt"] = between(DOUBTS)
                reference = mine[-len(WORST) :][WORST.index("reference")]
                found.append((values["all/doubt"], {"give": between(reference["give_at"]), **{
                    key: reference[key] for key in ("of_ladder", "crashes")}}))  # fmt: skip
        return found


def _profile(asked: tuple[Mapping[str, float], str, str, int, int, float]) -> dict[str, Any]:
    """A population's honesty and give-away at each of `DOUBTS`, played with the doubt of the constants."""
    values, name, effort, seed, count, ladder = asked
    met = units(name, seed, count)
    played = Model(bench_of(EVERY[name]), constants_of(values, effort)).play(met)
    smooth, give = [], []
    for depth in played["depth_at"].T:
        told = depth >= 0
        left = np.where(met.stock_short, -50.0, met.best - depth)[told]
        smooth.append(float(ndtr(left / SMOOTH_MV).mean()) if told.any() else 1.0)
        give.append(float(left[left >= -1e-9].mean()) if (left >= -1e-9).any() else math.nan)
    hours = float(played["hours"].mean()) / ladder
    return {"smooth_at": smooth, "give_at": give, "of_ladder": hours, "crashes": float(played["crashes"].mean())}


def decode(x: np.ndarray, names: Sequence[str] = tuple(BOUNDS)) -> dict[str, float]:
    """A point of the unit box as constants; every one on a log scale."""
    pairs = ((name, *BOUNDS[name][:2], share) for name, share in zip(names, np.clip(x, 0.0, 1.0), strict=True))
    return {name: float(low * (high / low) ** share) for name, low, high, share in pairs}


def search(player: Player, generations: int, seed: int, luck: int, sigma: float, state: Path | None, seconds: float,
           begin: Mapping[str, float] | None = None, held: Mapping[str, float] | None = None,
           efforts: Sequence[str] = tuple(PRICES)) -> dict[str, float]:  # fmt: skip
    """CMA-ES, diagonal covariance, on the unit box; the mean of the last generation.

    ``begin``: the constants to vary and where they start (none: all of `BOUNDS`); ``held``: others, not varied;
    ``efforts``: those looked at."""
    begin = begin or {name: bound[2] for name, bound in BOUNDS.items()}
    names, held = tuple(begin), dict(held or {})
    start = [math.log(at / BOUNDS[name][0]) / math.log(BOUNDS[name][1] / BOUNDS[name][0]) for name, at in begin.items()]
    n, size, parents = len(start), 16, 8
    w = math.log(parents + 0.5) - np.log(np.arange(1, parents + 1))
    w /= w.sum()
    eff = 1.0 / float((w**2).sum())
    cc, cs = 4.0 / (n + 4.0), (eff + 2.0) / (n + eff + 5.0)
    c1 = 2.0 / ((n + 1.3) ** 2 + eff)
    cmu = min(1.0 - c1, 2.0 * (eff - 2.0 + 1.0 / eff) / ((n + 2.0) ** 2 + eff))
    c1 *= (n + 2.0) / 3.0
    cmu = min(1.0 - c1, cmu * (n + 2.0) / 3.0)
    damps, chi = 1.0 + cs, math.sqrt(n) * (1.0 - 1.0 / (4.0 * n) + 1.0 / (21.0 * n * n))
    at = {"mean": np.clip(np.array(start), 0.03, 0.97), "pc": np.zeros(n), "ps": np.zeros(n), "spread": np.ones(n)}
    done = 0
    if state is not None and state.exists():
        kept = json.loads(state.read_text())
        done, sigma = kept["generations"], kept["sigma"]
        at = {name: np.array(kept[name]) for name in at}
    began = time.monotonic()
    for generation in range(done, generations):
        if time.monotonic() - began > seconds:
            break
        # A draw for each generation, so that a search made in parts meets the same luck.
        draws = np.random.default_rng([luck, generation]).normal(size=(size, n))
        asked = [at["mean"] + sigma * np.sqrt(at["spread"]) * draw for draw in draws]
        inside = [np.clip(x, 0.0, 1.0) for x in asked]
        costs = player.costs([{**held, **decode(x, names)} for x in inside], seed + generation, efforts=efforts)
        tried = [
            (score + 5.0 * float(((x - kept_in) ** 2).sum()), x, said)
            for (score, said), x, kept_in in zip(costs, asked, inside, strict=True)
        ]
        tried.sort(key=lambda one: one[0])
        old = at["mean"]
        at["mean"] = np.sum([share * x for share, (_, x, _) in zip(w, tried, strict=False)], axis=0)
        y = (at["mean"] - old) / sigma
        at["ps"] = (1 - cs) * at["ps"] + math.sqrt(cs * (2 - cs) * eff) * y / np.sqrt(at["spread"])
        length = float(np.linalg.norm(at["ps"]))
        h = float(length / math.sqrt(1 - (1 - cs) ** (2 * (generation + 1))) / chi < 1.4 + 2 / (n + 1))
        at["pc"] = (1 - cc) * at["pc"] + h * math.sqrt(cc * (2 - cc) * eff) * y
        steps = np.array([(x - old) / sigma for _, x, _ in tried[:parents]])
        at["spread"] = (1 - c1 - cmu) * at["spread"] + c1 * at["pc"] ** 2 + cmu * (w[:, None] * steps**2).sum(axis=0)
        sigma *= math.exp((cs / damps) * (length / chi - 1))
        print(f"# {generation + 1}: best {tried[0][0]:.2f} median {tried[parents][0]:.2f} sigma {sigma:.3f} "
              f"{time.monotonic() - began:.0f} s {json.dumps(tried[0][2])}", file=sys.stderr, flush=True)  # fmt: skip
        if state is not None:
            kept = {name: value.tolist() for name, value in at.items()}
            found = {"generations": generation + 1, "sigma": sigma, **kept, "constants": decode(at["mean"], names)}
            state.write_text(json.dumps(found, indent=1))
    return decode(at["mean"], names)


def each(player: Player, generations: int, seed: int, luck: int, sigma: float) -> dict[str, float]:
    """One effort at a time, then the doubt; see the head of this file."""
    found = dict(START)
    for place, effort in enumerate(ORDER):
        varied_now = [name for name in START if name.startswith(f"{effort}/") or (place == 0 and name in SHARED)]
        found |= search(
            player, generations, seed + 100 * place, luck + place, sigma, None, math.inf,
            {name: found[name] for name in varied_now}, dict(found), (effort,),
        )  # fmt: skip
        print(f"# {effort}: {json.dumps({name: round(found[name], 4) for name in varied_now})}", flush=True)
    return {name: float(f"{value:.3g}") for name, value in found.items()}


def pick(player: Player, seed: int) -> dict[str, float]:
    """Of `FOUND`, the least cost of each effort, and the doubt that goes with them; see the head of this file."""
    chosen = {name: START[name] for name in SHARED}
    for effort in ORDER:
        names = [name for name in START if name.startswith(f"{effort}/")]
        tried = [{**chosen, **dict(zip(names, values, strict=True))} for values in FOUND[effort].values()]
        made = player.settled(tried, (effort,), seed, 1, 1)
        asked = [({**values, "all/doubt": doubt}, name, seed, player.count, player.ladder[name], ("usual",))
                 for values, (doubt, _) in zip(tried, made, strict=True) for name in ALSO]  # fmt: skip
        also = list(player.pool.map(_play_efforts, asked)) if effort == "usual" else []
        costs = []
        for at, (label, (doubt, one)) in enumerate(zip(FOUND[effort], made, strict=True)):
            found: dict[str, Any] = {name: {effort: {**one, "smooth": HONEST}} for name in WORST}
            found |= {name: also[at * len(ALSO) + place] for place, name in enumerate(ALSO) if also}
            cost, said = cost_of(found, (effort,))
            costs.append(cost)
            print(f"# {effort}, {label}: cost {cost:.2f} at doubt {doubt:.3f} {json.dumps(said)}", flush=True)
        chosen |= tried[int(np.argmin(costs))]
    chosen["all/doubt"] = player.settled([chosen], ORDER, seed, 1, 2)[0][0]
    return {name: float(f"{value:.3g}") for name, value in chosen.items()}


def line(name: str, one: Mapping[str, Any]) -> str:
    """A line of the trade-off."""
    return (f"{name:26s} hours {one['hours']:5.2f} of the ladder's {one['of_ladder']:.3f} crashes {one['crashes']:.2f} "
            f"honest {one['honest']:.3f} gives away {one['give']:5.2f} room {one['room']:.2f}")  # fmt: skip


def trade(player: Player, effort: str, seed: int) -> None:
    """Hours, crashes and depth about what ships, each with the doubt at which the worst of `WORST` is as honest as
    `SETTLED`; one run ahead as well."""
    tried: dict[str, Mapping[str, float]] = {"as it ships": {}}
    for factor in (0.5, 0.7, 1.4, 2.0):
        tried[f"worth times {factor:g}"] = {"worth": factor}
    for factor in (0.5, 2.0):
        tried[f"crash aversion times {factor:g}"] = {"crash_aversion": factor}
    base = shipped(effort)
    asked: list[Mapping[str, float]] = [
        {f"{effort}/{name}": getattr(base, name) * factor for name, factor in changes.items()}
        for changes in tried.values()
    ]
    asked.append({f"{effort}/few": 0.0})
    asked = [{f"{effort}/within": base.within, **values} for values in asked]
    made = player.settled(asked, (effort,), seed, 1, 2)
    for name, (doubt, one) in zip((*tried, "one run ahead"), made, strict=True):
        print(f"{effort + ', ' + name:34s} of the ladder's hours {one['of_ladder']:.3f} crashes {one['crashes']:.2f} "
              f"gives away {one['give']:5.2f} at doubt {doubt:.2f}", flush=True)  # fmt: skip


def _show(asked: tuple[str, str, int, int]) -> str:
    effort, name, seed, count = asked
    return line(f"{effort}, {name}", play(name, shipped(effort), seed, count))


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("what", choices=("search", "each", "pick", "show", "trade"))
    ask.add_argument("--generations", type=int, default=60)
    ask.add_argument("--workers", type=int, default=os.cpu_count())
    ask.add_argument("--seconds", type=float, default=math.inf, help="start no generation after these")
    ask.add_argument("--state", type=Path, help="a file to go on from, written after every generation")
    ask.add_argument("--units", type=int, default=300)
    ask.add_argument("--seed", type=int, default=501, help="of the units")
    ask.add_argument("--luck", type=int, default=1, help="of the search")
    ask.add_argument("--sigma", type=float, default=0.1)
    args = ask.parse_args()
    if args.what == "search":
        player = Player(args.workers, args.seed, args.units)
        made = search(player, args.generations, args.seed, args.luck, args.sigma, args.state, args.seconds)
        print(json.dumps(made, indent=1))
        print(json.dumps(player.costs([made], args.seed + 5000, times=4)[0][1]))
    elif args.what == "each":
        player = Player(args.workers, args.seed, args.units)
        made = each(player, args.generations, args.seed, args.luck, args.sigma)
        print(json.dumps(made, indent=1), flush=True)
        print(json.dumps(player.costs([made], args.seed + 6000, times=4)[0][1]))
    elif args.what == "pick":
        player = Player(args.workers, args.seed, args.units)
        print(json.dumps(pick(player, args.seed), indent=1))
    elif args.what == "trade":
        player = Player(args.workers, args.seed, args.units)
        for effort in EFFORTS:
            trade(player, effort, args.seed)
    else:
        with ProcessPoolExecutor(args.workers) as pool:
            for said in pool.map(
                _show, [(effort, name, args.seed, args.units) for effort in EFFORTS for name in EVERY]
            ):
                print(said, flush=True)


if __name__ == "__main__":
    main()
