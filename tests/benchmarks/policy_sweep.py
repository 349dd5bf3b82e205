"""The sweep that finds the constants of the search, by playing very many virtual units. Run by hand.

    python tests/benchmarks/policy_units.py 400 501 train.npz      # the units; needs Surefoot
    python tests/benchmarks/policy_sweep.py search train.npz --effort usual --seconds 240 [--from FILE] > found.jsonl
    python tests/benchmarks/policy_sweep.py show check.npz --from constants.json

`search` varies the constants by CMA-ES (Hansen and Ostermeier 2001, Completely derandomized self-adaptation in
evolution strategies) to give the least away, honest in the worst population first. Needs NumPy, and CuPy to be quick.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import policy_engine as engine
from policy_engine import Bench, Constants, Model, Units, play, sum_up
from policy_engine import xp as xp

TYPICAL = {0: 5.0, 1: 12.0, 2: 25.0}
TARGETS = {
    "quick": {"hours": 0.25, "crashes": 1.1, "give": 16.0},
    "usual": {"hours": 0.40, "crashes": 1.7, "give": 10.0},
    "thorough": {"hours": 0.90, "crashes": 2.5, "give": 8.5},
}
HONEST = 0.905
# name: lowest, highest, scale (log or plain)
BOUNDS: dict[str, tuple[float, float, str]] = {
    "middle": (0.7, 1.5, "log"),
    "spread": (0.15, 0.6, "log"),
    "soft_multiple": (1.5, 3.0, "log"),
    "soft_spread": (0.08, 0.5, "log"),
    "soft_weight": (0.03, 0.6, "log"),
    "run_spread": (0.03, 3.0, "log"),
    "doubt": (0.4, 2.5, "log"),
    "crash_aversion": (1.0, 40.0, "log"),
    "worth": (0.05, 1.5, "log"),
    "within": (0.3, 1.5, "log"),
    "unclaimed": (0.05, 1.0, "log"),
    "most_gain": (2.0, 12.0, "log"),
    "plan_doubt": (0.3, 3.0, "log"),
    "careful_decades": (1.0, 4.0, "log"),
    "careful_minutes": (1.0, 8.0, "log"),
    "stride_minutes": (1.0, 6.0, "log"),
    "full_share": (0.15, 1.0, "log"),
    "soft_prior": (0.3, 3.0, "log"),
    "background": (0.02, 0.2, "log"),
}
PRIOR = ("middle", "spread", "soft_multiple", "soft_spread", "soft_weight", "run_spread", "doubt")
POLICY = tuple(name for name in BOUNDS if name not in (*PRIOR, "background"))


class Bundle:
    """The units of a file, grouped by bench so that each group is played at once."""

    def __init__(self, path: str, seed: int, units: int | None = None, names: list[str] | None = None) -> None:
        read = np.load(path)
        every = list(dict.fromkeys(key.split("/")[0] for key in read.files))
        self.names = [name for name in every if names is None or name in names]
        self.ladder: dict[str, float] = {}
        self.step: dict[str, float] = {}
        groups: dict[tuple[float, ...], list[str]] = {}
        for name in self.names:
            bench = read[f"{name}/bench"]
            self.ladder[name], self.step[name] = float(bench[4]), float(bench[0])
            groups.setdefault(tuple(bench[:4].tolist()), []).append(name)
        self.groups = []
        for key, members in groups.items():
            columns: dict[str, list[np.ndarray]] = {}
            for name in members:
                for entry in (entry for entry in read.files if entry.startswith(f"{name}/") and entry[-5:] != "bench"):
                    columns.setdefault(entry.split("/")[1], []).append(read[entry][:units])
            size = [len(part) for part in columns["best"]]
            joined = {field: np.concatenate(parts) for field, parts in columns.items()}
            best = joined.pop("best")
            luck = luck_of(len(best), seed)
            self.groups.append(
                (key, members, size, Units({k: xp.asarray(v) for k, v in joined.items()}, luck, xp.asarray(best)))
            )

    def at_equal_honesty(self, constants: Constants) -> tuple[float, dict[str, dict[str, float]]]:
        """The share of the doubt that may be spent with every population still honest, and the measures there."""
        columns = self.columns(constants)
        best = (0.0, 0.0)
        found: dict[str, dict[str, float]] = {}
        for at, doubt in enumerate(engine.DOUBTS):
            made = {}
            for name, part in columns.items():
                made[name] = sum_up({**part, "depth": part["depth_at"][:, at]}, self.step[name])
                made[name]["of_ladder"] = made[name]["hours"] / self.ladder[name]
            short = sum(max(0.0, HONEST - one["honest"]) for one in made.values())
            if at == 0 or short <= 0.004:
                best, found = (doubt, short), made
        return best[0], found

    def columns(self, constants: Constants) -> dict[str, dict[str, np.ndarray]]:
        """What each unit cost and got, by population."""
        found = {}
        for (step, limit, hours, kind), members, sizes, units in self.groups:
            typical = TYPICAL[int(kind)]
            scale = typical / 5.0
            bench = Bench(step=step, limit=limit, typical=typical, mttf_hours=hours,
                          within=max(8.0 * scale, 1.6 * step), stride=max(20.0 * scale, step))  # fmt: skip
            columns = play(Model(bench, constants), units)
            start = 0
            for name, size in zip(members, sizes, strict=True):
                found[name] = {key: value[start : start + size] for key, value in columns.items()}
                start += size
        return {name: found[name] for name in self.names}

    def played(self, constants: Constants) -> dict[str, dict[str, float]]:
        """Measures by population."""
        found = {}
        for (step, limit, hours, kind), members, sizes, units in self.groups:
            typical = TYPICAL[int(kind)]
            scale = typical / 5.0
            bench = Bench(step=step, limit=limit, typical=typical, mttf_hours=hours,
                          within=max(8.0 * scale, 1.6 * step), stride=max(20.0 * scale, step))  # fmt: skip
            columns = play(Model(bench, constants), units)
            start = 0
            for name, size in zip(members, sizes, strict=True):
                part = {key: value[start : start + size] for key, value in columns.items()}
                start += size
                found[name] = sum_up(part, step)
                found[name]["of_ladder"] = found[name]["hours"] / self.ladder[name]
        return {name: found[name] for name in self.names}


def luck_of(count: int, seed: int) -> dict[str, Any]:
    rng = np.random.default_rng([seed, 77])
    shape = (count, engine.MOST_RUNS)
    return {
        "target": xp.asarray(rng.exponential(size=shape)),
        "stray": xp.asarray(rng.exponential(size=shape)),
        "jitter": xp.asarray(rng.normal(size=shape)),
        "phase": xp.asarray(rng.uniform(size=shape)),
        "soft": xp.asarray(rng.uniform(size=shape)),
        "mislogged": xp.asarray(rng.uniform(size=shape)),
    }


def cost(found: dict[str, dict[str, float]], effort: str) -> float:
    """What a search minimises: mV given away, and what breaks a measure weighed so that it is mended first."""
    target = TARGETS[effort]
    ref = found["reference"]
    total = ref["give"]
    for one in found.values():
        total += 250.0 * max(0.0, HONEST - one["honest"])
    total += 60.0 * max(0.0, ref["of_ladder"] - target["hours"] + 0.005)
    total += 15.0 * max(0.0, ref["crashes"] - target["crashes"] + 0.03)
    if effort == "usual":
        if "clock" in found:
            mine = found["clock"]
            total += 0.1 * max(0.0, mine["give"] - 33.0) + 20 * max(0.0, mine["of_ladder"] - 0.58)
            total += 5.0 * max(0.0, mine["crashes"] - 1.65)
        if "near-stock" in found:
            near = found["near-stock"]
            total += 10.0 * max(0.0, 0.87 - near["room"]) + 20.0 * max(0.0, near["of_ladder"] - 0.44)
            total += 5.0 * max(0.0, near["crashes"] - 1.65)
        if "self-checking" in found:
            mine = found["self-checking"]
            total += 0.3 * max(0.0, mine["give"] - 9.8) + 20.0 * max(0.0, mine["of_ladder"] - 0.4)
            total += 15.0 * max(0.0, mine["crashes"] - 0.57)
    return total


def encode(values: dict[str, float], names: tuple[str, ...]) -> np.ndarray:
    out = []
    for name in names:
        low, high, _ = BOUNDS[name]
        out.append((math.log(values[name]) - math.log(low)) / (math.log(high) - math.log(low)))
    return np.array(out)


def decode(x: np.ndarray, names: tuple[str, ...]) -> dict[str, float]:
    found = {}
    for value, name in zip(np.clip(x, 0.0, 1.0), names, strict=True):
        low, high, _ = BOUNDS[name]
        found[name] = float(math.exp(math.log(low) + value * (math.log(high) - math.log(low))))
    return found


def search(
    bundle: Bundle, effort: str, start: Constants, names: tuple[str, ...], seconds: float, sigma: float, seed: int
) -> Constants:
    """CMA-ES with rank-mu update, on the unit box."""
    rng = np.random.default_rng(seed)
    n = len(names)
    mean = np.clip(encode(vars(start), names), 0.02, 0.98)
    size = 4 + int(3 * math.log(n)) + 3
    parents = size // 2
    w = math.log(parents + 0.5) - np.log(np.arange(1, parents + 1))
    w /= w.sum()
    eff = 1.0 / (w**2).sum()
    cc, cs = 4.0 / (n + 4.0), (eff + 2.0) / (n + eff + 5.0)
    c1 = 2.0 / ((n + 1.3) ** 2 + eff)
    cmu = min(1 - c1, 2.0 * (eff - 2 + 1 / eff) / ((n + 2) ** 2 + eff))
    damps = 1 + cs
    chi = math.sqrt(n) * (1 - 1 / (4 * n) + 1 / (21 * n * n))
    pc, ps, cov = np.zeros(n), np.zeros(n), np.eye(n)
    began = time.time()
    best: tuple[float, Constants] = (math.inf, start)
    generation = 0
    while time.time() - began < seconds:
        values, vectors = np.linalg.eigh(cov)
        root = vectors * np.sqrt(np.maximum(values, 1e-12))
        tried = []
        for at in range(size):
            z = rng.normal(size=n)
            x = mean + sigma * (root @ z)
            if generation == 0 and at == 0:
                x = mean.copy()
            inside = np.clip(x, 0.0, 1.0)
            made = engine.varied(start, **decode(inside, names))
            doubt, found = bundle.at_equal_honesty(made)
            score = cost(found, effort) + 5.0 * float(((x - inside) ** 2).sum())
            tried.append((score, x))
            if score < best[0]:
                best = (score, made)
                line = {
                    "score": score,
                    "at": time.time() - began,
                    "doubt": doubt,
                    "constants": vars(made),
                    "found": found,
                }
                print(json.dumps(line), flush=True)
            if time.time() - began > seconds:
                break
        if len(tried) < size:
            break
        tried.sort(key=lambda pair: pair[0])
        old = mean
        mean = sum(weight * x for weight, (_, x) in zip(w, tried, strict=False))
        y = (mean - old) / sigma
        ps = (1 - cs) * ps + math.sqrt(cs * (2 - cs) * eff) * (vectors @ ((vectors.T @ y) / np.sqrt(values)))
        h = float(np.linalg.norm(ps) / math.sqrt(1 - (1 - cs) ** (2 * (generation + 1))) / chi < 1.4 + 2 / (n + 1))
        pc = (1 - cc) * pc + h * math.sqrt(cc * (2 - cc) * eff) * y
        steps = np.array([(x - old) / sigma for _, x in tried[:parents]])
        cov = (1 - c1 - cmu) * cov + c1 * np.outer(pc, pc) + cmu * (steps.T * w) @ steps
        sigma *= math.exp((cs / damps) * (np.linalg.norm(ps) / chi - 1))
        generation += 1
        print(f"# {effort} gen {generation} sigma {sigma:.3f} best {best[0]:.2f} gen-best {tried[0][0]:.2f} "
              f"median {tried[size // 2][0]:.2f} {time.time() - began:.0f}s", file=sys.stderr, flush=True)  # fmt: skip
    return best[1]


def show(found: dict[str, dict[str, float]]) -> None:
    for name, one in found.items():
        print(f"{name:15s} " + " ".join(f"{key} {value:7.3f}" for key, value in one.items()), flush=True)


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("what", choices=("search", "show"))
    ask.add_argument("units")
    ask.add_argument("--effort", default="usual")
    ask.add_argument("--seconds", type=float, default=60.0)
    ask.add_argument("--count", type=int, default=None)
    ask.add_argument("--from", dest="start", default=None)
    ask.add_argument("--vary", default="all", choices=("all", "policy", "core"))
    ask.add_argument("--sigma", type=float, default=0.15)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--names", default=None)
    args = ask.parse_args()
    names = args.names.split(",") if args.names else None
    bundle = Bundle(args.units, args.seed, args.count, names)
    start = Constants(crash_aversion=6.0, worth=0.35)
    if args.start and args.start.startswith("{"):
        start = Constants(**json.loads(args.start))
    elif args.start:
        start = Constants(**json.loads(Path(args.start).read_text()).get(args.effort, {}))
    if args.what == "show":
        began = time.time()
        doubt, found = bundle.at_equal_honesty(start)
        print("doubt", doubt)
        show(found)
        print(f"{time.time() - began:.2f} s")
        return
    core = tuple(
        n for n in BOUNDS if n not in ("within", "unclaimed", "most_gain", "soft_prior", "background", "doubt")
    )
    vary = {"all": tuple(BOUNDS), "policy": POLICY, "core": core}[args.vary]
    made = search(bundle, args.effort, start, vary, args.seconds, args.sigma, args.seed)
    print(f"# {args.effort} {made}")
    show(bundle.played(made))


if __name__ == "__main__":
    main()
