"""How long one proposal takes with 100 pieces of evidence, against one numpy pass over the same grid. Run by hand."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np

from surefoot.search import Evidence, Goal, next_step
from surefoot.search import posterior as posterior_room
from surefoot.search.posterior import posterior
from surefoot.search.prior import grid_for
from surefoot.units import Knob

KNOB = Knob("core", "cpu", "mV", "down", 5, 250)
GOAL = Goal(max_failures=99, within=0.1, worth_per_hour=0.0)


def best_of(action: Callable[[], object], times: int = 30) -> float:
    """Median seconds."""
    taken = []
    for _ in range(times):
        started = time.perf_counter()
        action()
        taken.append(time.perf_counter() - started)
    return statistics.median(taken)


def main() -> None:
    rng = np.random.default_rng(1)
    evidence = [Evidence(0.0, 2.0, False)]
    for _ in range(99):
        depth = float(rng.integers(12, 24) * 5)
        life = rng.exponential() / 10 ** ((depth - 110) / 5) * 60
        minutes = float(rng.uniform(2, 30))
        evidence.append(Evidence(depth, min(life, minutes), bool(life < minutes)))
    grid = grid_for(KNOB, GOAL)
    step = next_step(KNOB, evidence, GOAL)
    assert not step.stop

    def cold() -> None:
        posterior_room._piece.cache_clear()
        next_step(KNOB, evidence, GOAL)

    one_pass = best_of(lambda: np.exp(-grid.hazard(95.0) * 0.25), 200)
    warm = best_of(lambda: next_step(KNOB, evidence, GOAL))
    nothing_kept = best_of(cold)
    weighing = best_of(lambda: posterior(KNOB, evidence, GOAL))
    print(f"grid {grid.log_prior.shape}, {len(evidence)} pieces of evidence; medians within this run")
    print(f"one numpy pass over the grid  {one_pass * 1e3:8.3f} ms   1")
    for name, taken in (("posterior", weighing), ("proposal", warm), ("proposal, caches empty", nothing_kept)):
        print(f"{name:29s} {taken * 1e3:8.3f} ms   {taken / one_pass:.0f} passes")


if __name__ == "__main__":
    main()
