"""How long `plan` and `known_stable` think over four knobs with 100 runs, as a ratio to one pass over their grids.

Run by hand: ``python tests/benchmarks/plan_speed.py``. The pass is the hazard of every knob on its grid once, with
numpy; ratios within one run compare machines, milliseconds do not.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "search_knobs"))

from knobs_bench import CORE, GPU, MEMORY, at_depths, run_of, unit_of

from surefoot.runs import Outcome
from surefoot.search import Goal, known_stable, plan
from surefoot.search.prior import grid_for
from surefoot.units import Knob

GOAL = Goal()
VOLTS = Knob("gpu-volts", "gpu", "mV", "down", 5, 250)
UNIT = unit_of(CORE, VOLTS, GPU, MEMORY)


def history(shared_failures: int) -> list:
    """100 runs in which all four knobs are off stock, with so many failures that any of them may have caused."""
    rng = np.random.default_rng(0)
    runs = [run_of(1, {}, 2)]
    every = 99 // shared_failures if shared_failures else 1000
    for number in range(2, 101):
        failed = number % every == 0
        depths = {
            "cpu-core": 60.0,
            "gpu-volts": float(rng.integers(6, 10) * 5),
            "gpu-core": float(rng.integers(2, 6) * 15),
            "gpu-memory": 400.0 if failed else float(rng.integers(2, 6) * 50),
        }
        outcome = Outcome.RESET if failed else Outcome.HELD
        runs.append(run_of(number, at_depths(UNIT, depths), 5, outcome, knob="gpu-memory"))
    return runs


def best_of(times: int, work: Callable[[], object]) -> float:
    """Milliseconds of the quickest of some tries."""
    spent = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        spent.append(time.perf_counter() - began)
    return 1000 * min(spent)


def main() -> None:
    grids = [grid_for(knob, GOAL) for knob in UNIT.leaders()]
    one_pass = best_of(50, lambda: [grid.hazard(50.0) for grid in grids])
    print(f"one pass over the grids of 4 knobs: {one_pass:.2f} ms")
    for failures in (0, 3, 5, 9):
        runs = history(failures)
        for name, work in (("plan", plan), ("known_stable", known_stable)):
            spent = best_of(5, partial(work, UNIT, runs, GOAL))
            print(f"{failures} shared failures, {name}: {spent:.0f} ms, {spent / one_pass:.0f} passes")


if __name__ == "__main__":
    main()
