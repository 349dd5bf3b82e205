"""How often nothing is called a difference, and how often a difference is found: trials, and runs one after the other.

    python tests/benchmarks/trial.py            # everything; about a quarter of an hour
    python tests/benchmarks/trial.py --sets 300 # quick, for the shape

Null data: 3 to 8 configurations, 2 to 10 blocks (or repeats); normal, skewed, outliers, unequal spread; no drift, a
straight one, a room that warms and cools, a slow wander, a step, a warm-up. Rates are of *any* difference called in a
data set. Trials are judged by `adjusted_many`, which tests hold to what `compare` does; runs one after the other by
`judge` itself.
"""

from __future__ import annotations

import argparse
import itertools

import numpy as np

from surefoot.runs import Floats
from surefoot.scores.judging import Value, judge
from surefoot.scores.power import adjusted_many, blocks_for, power
from surefoot.scores.spending import levels, looks

SHAPES = ("normal", "skewed", "outliers", "unequal spread", "baseline spreads thrice")
DRIFTS = ("none", "linear", "room", "wander", "step", "warm-up")
SLOPE = 0.25
"""Of a linear drift: spreads a run, about what makes 39 % of null comparisons at five repeats look real."""


def noise(shape: str, sets: int, many: int, each: int, rng: np.random.Generator) -> Floats:
    """Runs of each configuration without drift, spread about 1, shape (sets, each, many)."""
    size = (sets, each, many)
    if shape == "skewed":
        return rng.exponential(size=size) - 1
    made = rng.standard_normal(size)
    if shape == "outliers":
        return made * np.where(rng.random(size) < 0.1, 5.0, 1.0)
    if shape == "unequal spread":
        return made * np.linspace(0.5, 2.0, many)
    if shape == "baseline spreads thrice":
        return made * np.r_[3.0, np.ones(many - 1)]
    return made


def drift(kind: str, sets: int, count: int, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """A drift over the runs in their order, and the room then, each of shape (sets, count)."""
    at = np.arange(count, dtype=np.float64)
    room = np.full((sets, count), 21.0)
    if kind == "linear":
        return np.broadcast_to(SLOPE * at, (sets, count)), room
    if kind == "room":
        phase, turns = rng.random((sets, 1)), rng.uniform(0.3, 1.5, (sets, 1))
        swing = np.sin(2 * np.pi * (at / count * turns + phase))
        return 2.0 * swing, 21 + 2 * swing + rng.normal(0, 0.1, (sets, count))
    if kind == "wander":
        made = np.empty((sets, count))
        made[:, 0] = rng.standard_normal(sets)
        for i in range(1, count):
            made[:, i] = 0.9 * made[:, i - 1] + np.sqrt(1 - 0.81) * rng.standard_normal(sets)
        return 2.0 * made, room
    if kind == "step":
        return 2.0 * (at >= rng.integers(1, count, (sets, 1))).astype(np.float64), room
    if kind == "warm-up":
        return np.broadcast_to(3.0 * np.exp(-at / (count / 5)), (sets, count)), room
    return np.zeros((sets, count)), room


def trial_tables(shape: str, kind: str, sets: int, many: int, blocks: int, rng: np.random.Generator) -> Floats:
    """Null trials: each block in a random order over the drift."""
    made = noise(shape, sets, many, blocks, rng)
    moved, _ = drift(kind, sets, many * blocks, rng)
    order = np.argsort(rng.random(made.shape), axis=2)
    return made + np.take_along_axis(moved.reshape(sets, blocks, many), order, axis=2)


def after_one_another(shape: str, kind: str, sets: int, many: int, repeats: int, rng: np.random.Generator) -> float:
    """The rate of any difference in runs of one configuration after the other, the room known."""
    made = noise(shape, sets, many, repeats, rng).transpose(0, 2, 1).reshape(sets, many * repeats)
    moved, room = drift(kind, sets, many * repeats, rng)
    called = 0
    for values, warm in zip(100 + made + moved, room, strict=True):
        runs = [Value(float(v), at=float(i), room=float(r)) for i, (v, r) in enumerate(zip(values, warm, strict=True))]
        sides = [runs[i : i + repeats] for i in range(0, len(runs), repeats)]
        found = judge(sides[0], {str(i): side for i, side in enumerate(sides[1:])}, alpha=0.05, trials={})
        called += any(one.adjusted <= 0.05 and (np.isnan(one.drift_p) or one.drift_p <= 0.05) for one in found.values())
    return called / sets


def main() -> None:
    """Print everything."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sets", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=2026)
    asked = parser.parse_args()
    rng = np.random.default_rng(asked.seed)
    error = 100 * 2 * np.sqrt(0.05 * 0.95 / asked.sets)
    print(f"{asked.sets} data sets each; two standard errors of 5 % are {error:.1f} points\n")
    print("A trial: any difference called in null data, percent: worst and mean over 3 to 8 configurations")
    counts = (2, 3, 4, 5, 6, 8, 10)
    print(f"{'':36}" + "".join(f"{f'{blocks} blocks':>14}" for blocks in counts))
    everything = []
    for shape, kind in itertools.product(SHAPES, DRIFTS):
        line = []
        for blocks in counts:
            rates = [
                100
                * float((adjusted_many(trial_tables(shape, kind, asked.sets, many, blocks, rng)) <= 0.05).any(1).mean())
                for many in range(3, 9)
            ]
            everything += [(rate, shape, kind, blocks) for rate in rates]
            line.append(f"{max(rates):8.1f} ({np.mean(rates):3.1f})")
        print(f"{shape + ', ' + kind:36}" + "".join(line), flush=True)
    over = [one for one in everything if one[0] > 6]
    print(f"worst {max(everything)[0]:.1f} %; {len(over)} of {len(everything)} cases over 6 %\n")

    print("One after the other, room known: any difference called in null data, percent")
    places = [(3, 2), (3, 5), (3, 10), (5, 5), (8, 3), (8, 10)]
    print(f"{'':36}" + "".join(f"{f'{many} x {each}':>8}" for many, each in places))
    worst = 0.0
    for shape, kind in itertools.product(SHAPES[:4], DRIFTS):
        rates = [100 * after_one_another(shape, kind, asked.sets, many, each, rng) for many, each in places]
        worst = max(worst, *rates)
        print(f"{shape + ', ' + kind:36}" + "".join(f"{rate:8.1f}" for rate in rates), flush=True)
    print(f"worst {worst:.1f} %\n")

    print("Power: 2 % at 1 % spread found by a trial, percent (stated by `power`), one configuration differing")
    apart = 0.0
    for kind in ("none", "linear"):
        for many in range(2, 9):
            cells = []
            for blocks in (3, 5, 8):
                tables = trial_tables("normal", kind, 2 * asked.sets, many, blocks, rng)
                tables[:, :, -1] += 2.0
                found = float((adjusted_many(tables)[:, -1] <= 0.05).mean())
                stated = power(blocks, many, 2, 1).chance
                apart = max(apart, abs(found - stated)) if kind == "none" else apart
                cells.append(f"{blocks} blocks {100 * found:5.1f} ({100 * stated:5.1f})")
            print(f"  drift {kind:7} {many} configurations: " + "   ".join(cells))
    print(f"stated and true power differ by at most {100 * apart:.1f} points without drift\n")

    print("Early stop: blocks planned for 2 % at 1 % spread, chance stated, chance played, blocks taken, null rate")
    for many in (2, 4, 6):
        plan = blocks_for(many, 2, 1, early=True, at_least=3)
        assert plan is not None
        steps = levels(plan.blocks, many - 1)
        real = np.zeros((2, 2 * asked.sets), dtype=bool)
        for which, gain in enumerate((2.0, 0.0)):
            tables = rng.standard_normal((2 * asked.sets, plan.blocks, many))
            tables[:, :, -1] += gain
            for look in looks(plan.blocks):
                passed = adjusted_many(tables[:, :look]) <= steps[look]
                real[which] |= passed[:, -1] if gain else passed.any(axis=1)
        print(
            f"  {many} configurations: {plan.blocks} blocks, {100 * plan.chance:.1f} %, {100 * real[0].mean():.1f} %,"
            f" {plan.mean_blocks:.1f}, {100 * real[1].mean():.1f} %"
        )


if __name__ == "__main__":
    main()
