"""The trade-off that the defaults sit on: bench hours against honesty against depth given up. Run by hand.

Two things are varied: what an hour must gain (the goal's ``worth_per_hour``), and the weight of soft edges in the
prior on the depth per decade (prior.py). Arguments: units, seed.
"""

from __future__ import annotations

import sys

from surefoot.rehearsal.measures import rehearse
from surefoot.search import Goal, posterior, prior

WEIGHTS = (0.05, 0.2, 0.35)
WORTH = (5.5, 2.75, 1.5)


def main(units: int, seed: int) -> None:
    print(f"{units} units, seed {seed}; prior: weight of soft edges")
    print("weight worth  | reference: hours crash honest  give | soft: hours crash honest  give")
    for weight in WEIGHTS:
        # One process, so that the constants set here are the ones that are used.
        prior.SOFT_WEIGHT = weight
        prior._grid.cache_clear()
        posterior._piece.cache_clear()
        for worth in WORTH:
            goal = Goal(worth_per_hour=worth)
            found = rehearse(
                units, seed, populations=("reference", "soft"), strategies=("posterior",), goal=goal, workers=1
            )
            cells = [f"{one.hours:5.2f} {one.crashes:5.2f} {one.honest:6.3f} {one.give_away:5.1f}" for one in found]
            print(f"{weight:6.2f} {worth:5.2f}  |            {cells[0]} |       {cells[1]}", flush=True)


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:3]) if len(sys.argv) == 3 else (100, 31))
