"""The sweep that finds the constants of the search, by playing very many virtual units. Run by hand; needs `cc`.

    python tests/benchmarks/policy_sweep.py search --generations 55     # a quarter of an hour on one core
    python tests/benchmarks/policy_sweep.py show --seed 777             # what ships, on other units: a minute
    python tests/benchmarks/policy_sweep.py trade --seed 777            # hours against depth around it: some minutes

`search` varies the prior, which all efforts share, and the constants of each effort together, by CMA-ES with a diagonal
covariance (Hansen and Ostermeier 2001; Ros and Hansen 2008): least given away on the reference, honest in the worst of
`WORST` first, hours and crashes as `BUDGET` has them. What ships is the mean of its last generation with the arguments
above, rounded, but for what README.md names as set by hand afterwards.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
from policy_engine import Bench, Constants, Model, Units, shipped, sum_up, units_of, varied

from surefoot.rehearsal.measures import rehearse
from surefoot.rehearsal.populations import GOAL, POPULATIONS, Population
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.search.effort import EFFORTS
from surefoot.search.joint_goal import goal_in_unit
from surefoot.search.prior import typical_per_decade
from surefoot.search.soft_share import SOFT_LOAD_SHARE, USUAL_SOFT_SHARE


def _slope_8(rng: np.random.Generator) -> VirtualUnit:
    return replace(POPULATIONS["reference"].draw(rng), per_decade=float(rng.lognormal(np.log(8.0), 0.1)))


EVERY = {**POPULATIONS, "slope 8": Population("slope 8", "8 mV per decade, lognormal(ln 8, 0.1)", _slope_8)}
WORST = ("reference", "soft", "soft-tail", "jittered", "slope 8")
BUDGET = {"quick": (0.25, 1.1), "usual": (0.40, 1.7), "thorough": (0.90, 2.5)}
"""Hours as a share of the ladder's, and crashes, on the reference."""
HONEST = 0.909
PRICES = {"quick": (0.6, 60.0, 10.0), "usual": (1.0, 40.0, 8.0), "thorough": (1.0, 15.0, 5.0)}
"""Weight of an effort; what hours and crashes past the budget count, in mV."""
SMOOTH_MV = 2.0
"""A claim so much past the truth counts half: which side of a step a unit fell on is luck."""
# Lowest, highest, start.
PRIOR = {
    "middle": (0.8, 1.3, 1.02), "spread": (0.18, 0.45, 0.27), "soft_multiple": (1.7, 2.8, 2.24),
    "soft_spread": (0.1, 0.4, 0.2), "soft_weight": (0.15, 0.65, 0.47), "steep_weight": (0.005, 0.3, 0.06),
    "steep_multiple": (0.4, 0.75, 0.6), "run_spread": (0.08, 1.2, 0.3), "doubt": (0.7, 2.5, 1.45),
    "most_gain": (3.0, 10.0, 5.3),
}  # fmt: skip
OWN = {
    "crash_aversion": (1.0, 40.0, (20.0, 4.7, 4.0)), "worth": (0.03, 0.8, (0.33, 0.3, 0.06)),
    "plan_doubt": (0.7, 4.0, (2.0, 2.0, 2.0)), "careful_minutes": (1.0, 8.0, (3.5, 2.5, 4.0)),
    "careful_decades": (2.0, 4.5, (3.2, 3.2, 3.2)), "full_share": (0.15, 1.0, (0.33, 0.33, 0.33)),
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


def bench_of(population: Population) -> Bench:
    """The bench of a population, as the rehearsal has it."""
    knob = population.knob
    goal = goal_in_unit(knob, GOAL)
    share = SOFT_LOAD_SHARE if population.soft_load else USUAL_SOFT_SHARE
    return Bench(step=knob.step, limit=knob.limit, typical=typical_per_decade(knob), within=goal.within,
                 stride=goal.max_stride, soft_share=share)  # fmt: skip


@lru_cache(maxsize=64)
def units(name: str, seed: int, count: int) -> Units:
    """The units of a population."""
    drawn = [EVERY[name].draw(np.random.default_rng([seed, index, 0])) for index in range(count)]
    return units_of(drawn, bench_of(EVERY[name]), seed)


@lru_cache(maxsize=64)
def ladder_hours(name: str, seed: int) -> float:
    """Bench hours of the ladder, from 150 units; of a population that is the sweep's own, the reference's."""
    known = name if name in POPULATIONS else "reference"
    return rehearse(150, seed, populations=(known,), strategies=("ladder",), workers=1)[0].hours


def play(name: str, constants: Constants, seed: int, count: int) -> dict[str, Any]:
    """Play a population; the measures, and honesty smoothed over which side of a step a unit fell on."""
    population = EVERY[name]
    played = Model(bench_of(population), constants).play(units(name, seed, count))
    found: dict[str, Any] = sum_up(played, population.knob.step)
    told = played["depth"] >= 0
    left = np.where(played["stock_short"], -50.0, played["best"] - played["depth"])[told]
    smooth: Callable[[float], float] = lambda value: 0.5 * (1.0 + math.erf(value / SMOOTH_MV / math.sqrt(2.0)))  # noqa: E731
    found["smooth"] = float(np.mean([smooth(float(value)) for value in left]))
    found["of_ladder"] = found["hours"] / ladder_hours(name, seed)
    return found


def constants_of(values: Mapping[str, float], effort: str) -> Constants:
    """The constants of one effort."""
    mine = {key.split("/")[1]: value for key, value in values.items() if key.split("/")[0] in ("all", effort)}
    return varied(shipped(effort), **{"within": 1.0, "mode": 1.0, **mine})


def cost(values: Mapping[str, float], seed: int, count: int) -> tuple[float, dict[str, Any]]:
    """What the search minimises, in mV, and the measures it is made of."""
    total = 0.0
    said: dict[str, Any] = {}
    for effort, (weight, hours, crashes) in PRICES.items():
        found = {name: play(name, constants_of(values, effort), seed, count) for name in WORST}
        reference = found["reference"]
        most_hours, most_crashes = BUDGET[effort]
        mine = reference["give"] + hours * max(0.0, reference["of_ladder"] - most_hours + 0.008)
        mine += crashes * max(0.0, reference["crashes"] - most_crashes + 0.04)
        mine += sum(150.0 * max(0.0, HONEST - one["smooth"]) for one in found.values())
        total += weight * mine
        said[effort] = {key: round(reference[key], 3) for key in ("give", "of_ladder", "crashes")}
        said[effort]["worst"] = round(min(one["smooth"] for one in found.values()), 3)
    return total, said


def decode(x: np.ndarray) -> dict[str, float]:
    """A point of the unit box as constants; every one on a log scale."""
    pairs = zip(np.clip(x, 0.0, 1.0), BOUNDS.items(), strict=True)
    return {name: float(low * (high / low) ** share) for share, (name, (low, high, _)) in pairs}


def search(generations: int, seed: int, count: int, luck: int, sigma: float) -> dict[str, float]:
    """CMA-ES, diagonal covariance, on the unit box; the mean of the last generation."""
    rng = np.random.default_rng(luck)
    start = [math.log(at / low) / math.log(high / low) for low, high, at in BOUNDS.values()]
    mean = np.clip(np.array(start), 0.03, 0.97)
    n, size, parents = len(start), 14, 7
    w = math.log(parents + 0.5) - np.log(np.arange(1, parents + 1))
    w /= w.sum()
    eff = 1.0 / float((w**2).sum())
    cc, cs = 4.0 / (n + 4.0), (eff + 2.0) / (n + eff + 5.0)
    c1 = 2.0 / ((n + 1.3) ** 2 + eff)
    cmu = min(1.0 - c1, 2.0 * (eff - 2.0 + 1.0 / eff) / ((n + 2.0) ** 2 + eff))
    c1 *= (n + 2.0) / 3.0
    cmu = min(1.0 - c1, cmu * (n + 2.0) / 3.0)
    damps, chi = 1.0 + cs, math.sqrt(n) * (1.0 - 1.0 / (4.0 * n) + 1.0 / (21.0 * n * n))
    pc, ps, spread = np.zeros(n), np.zeros(n), np.ones(n)
    began = time.time()
    for generation in range(generations):
        tried: list[tuple[float, np.ndarray, dict[str, Any]]] = []
        for at in range(size):
            x = mean + sigma * np.sqrt(spread) * rng.normal(size=n)
            if generation == 0 and at == 0:
                x = mean.copy()
            inside = np.clip(x, 0.0, 1.0)
            score, said = cost(decode(inside), seed, count)
            tried.append((score + 5.0 * float(((x - inside) ** 2).sum()), x, said))
        tried.sort(key=lambda one: one[0])
        old = mean
        mean = np.sum([share * x for share, (_, x, _) in zip(w, tried, strict=False)], axis=0)
        y = (mean - old) / sigma
        ps = (1 - cs) * ps + math.sqrt(cs * (2 - cs) * eff) * y / np.sqrt(spread)
        length = float(np.linalg.norm(ps))
        h = float(length / math.sqrt(1 - (1 - cs) ** (2 * (generation + 1))) / chi < 1.4 + 2 / (n + 1))
        pc = (1 - cc) * pc + h * math.sqrt(cc * (2 - cc) * eff) * y
        steps = np.array([(x - old) / sigma for _, x, _ in tried[:parents]])
        spread = (1 - c1 - cmu) * spread + c1 * pc**2 + cmu * (w[:, None] * steps**2).sum(axis=0)
        sigma *= math.exp((cs / damps) * (length / chi - 1))
        print(f"# {generation + 1}: best {tried[0][0]:.2f} median {tried[parents][0]:.2f} {time.time() - began:.0f} s "
              f"{json.dumps(tried[0][2])}", file=sys.stderr, flush=True)  # fmt: skip
    return decode(mean)


def line(name: str, one: Mapping[str, Any]) -> str:
    """A line of the trade-off."""
    return (f"{name:26s} hours {one['hours']:5.2f} of the ladder's {one['of_ladder']:.3f} crashes {one['crashes']:.2f} "
            f"honest {one['honest']:.3f} gives away {one['give']:5.2f} room {one['room']:.2f}")  # fmt: skip


def trade(effort: str, seed: int, count: int) -> None:
    """Hours, crashes and depth about what ships, each with the least honest of `WORST`; two runs ahead as well."""
    base = shipped(effort)
    tried: dict[str, Constants] = {"as it ships": base}
    for factor in (0.7, 1.4):
        tried[f"worth times {factor:g}"] = replace(base, worth=base.worth * factor)
        tried[f"crash aversion times {factor:g}"] = replace(base, crash_aversion=base.crash_aversion * factor)
    for factor in (0.8, 1.2):
        tried[f"doubt times {factor:g}"] = replace(base, doubt=base.doubt * factor)
    tried["two runs ahead"] = replace(base, mode=2)
    for name, constants in tried.items():
        found = {one: play(one, constants, seed, count) for one in WORST}
        worst = min(WORST, key=lambda one: float(found[one]["honest"]))
        print(f"{line(f'{effort}, {name}', found['reference'])} least honest {worst} {found[worst]['honest']:.3f}")


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("what", choices=("search", "show", "trade"))
    ask.add_argument("--generations", type=int, default=55)
    ask.add_argument("--units", type=int, default=300)
    ask.add_argument("--seed", type=int, default=501, help="of the units")
    ask.add_argument("--luck", type=int, default=1, help="of the search")
    ask.add_argument("--sigma", type=float, default=0.1)
    args = ask.parse_args()
    if args.what == "search":
        made = search(args.generations, args.seed, args.units, args.luck, args.sigma)
        print(json.dumps(made, indent=1))
        print(json.dumps(cost(made, args.seed, args.units)[1]))
    elif args.what == "trade":
        for effort in EFFORTS:
            trade(effort, args.seed, args.units)
    else:
        for effort in EFFORTS:
            for name in EVERY:
                print(line(f"{effort}, {name}", play(name, shipped(effort), args.seed, args.units)), flush=True)


if __name__ == "__main__":
    main()
