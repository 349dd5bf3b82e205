"""The trade-off that the defaults sit on: bench hours against honesty against depth given up. Run by hand.

Two things are varied: what an hour must gain (the goal's ``worth_per_hour``), and how far on the soft side of the
typical the prior on the depth per decade sits (prior.py). Arguments: units, seed.
"""

from __future__ import annotations

import sys

from surefoot.rehearsal.measures import rehearse
from surefoot.search import Goal, posterior, prior

PRIORS = ((1.0, 0.36), (1.2, 0.42), (1.4, 0.42))
WORTH = (5.5, 2.75, 1.5)


def main(units: int, seed: int) -> None:
    print(f"{units} units, seed {seed}; prior: middle of s as a multiple of the typical, and spread of ln s")
    print("prior      worth  | reference: hours crash honest  give | soft: hours crash honest  give")
    for soft_side, spread in PRIORS:
        # One process, so that the constants set here are the ones that are used.
        prior.SOFT_SIDE, prior.PER_DECADE_SPREAD = soft_side, spread
        prior._grid.cache_clear()
        posterior._piece.cache_clear()
        for worth in WORTH:
            goal = Goal(worth_per_hour=worth)
            found = rehearse(
                units, seed, populations=("reference", "soft"), strategies=("posterior",), goal=goal, workers=1
            )
            cells = [f"{one.hours:5.2f} {one.crashes:5.2f} {one.honest:6.3f} {one.give_away:5.1f}" for one in found]
            print(
                f"{soft_side:.1f}, {spread:.2f}  {worth:5.2f}  |            {cells[0]} |       {cells[1]}", flush=True
            )


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:3]) if len(sys.argv) == 3 else (100, 31))
