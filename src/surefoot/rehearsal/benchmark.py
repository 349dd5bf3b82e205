"""The benchmark of the search: every population, with the ladder, its widened like and the literature beside it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from surefoot.rehearsal.literature import NAMES as LITERATURE
from surefoot.rehearsal.measures import Measures, rehearse
from surefoot.rehearsal.populations import POPULATIONS
from surefoot.search.effort import EFFORTS

BACK_OFFS = (15, 20, 25, 30, 35, 40)
"""Back-offs of the widened ladder that are tried, mV."""


def benchmark(
    units: int,
    seed: int,
    *,
    workers: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> list[Measures]:
    """The posterior search at each effort and the ladder on every population; all others on the reference and on soft
    edges.

    ``progress`` is told units played and in all.
    """
    widened = tuple(f"ladder-back-{back}" for back in BACK_OFFS)
    others = ("bisection", *LITERATURE, *widened)
    compared = ("reference", "soft")
    own = len(EFFORTS) + 1
    total = units * (own * len(POPULATIONS) + len(others) * len(compared))
    done = 0

    def told(now: int, _of: int) -> None:
        if progress is not None:
            progress(done + now, total)

    found = rehearse(
        units,
        seed,
        populations=tuple(POPULATIONS),
        strategies=("posterior", "ladder"),
        efforts=tuple(EFFORTS),
        workers=workers,
        progress=told,
    )
    done = units * own * len(POPULATIONS)
    found += rehearse(units, seed, populations=compared, strategies=others, workers=workers, progress=told)
    order = {name: at for at, name in enumerate(POPULATIONS)}
    return sorted(found, key=lambda one: order[one.population])


def as_honest(found: Sequence[Measures], population: str, effort: str = "usual") -> Measures | None:
    """The ladder with the least back-off whose claims on a population are as honest as the search's at an effort.

    None when even the widest that was tried is not.
    """
    there = [one for one in found if one.population == population]
    own = next(one for one in there if one.strategy == "posterior" and one.effort == effort)
    ladders = [one for one in there if one.strategy.startswith("ladder")]
    enough = [one for one in ladders if one.honest >= own.honest]
    return min(enough, key=lambda one: one.give_away, default=None)
