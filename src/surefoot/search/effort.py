"""How much bench time and risk a search for depth is given: the three efforts and their constants, in one table.

The constants are found by simulation (`tests/benchmarks/policy_sweep.py` finds them and prints the trade-off); they
are what the planner weighs with, and nothing else in the search depends on the effort. What may be claimed on given
runs does not: a claim is as strict after a quick search as after a thorough one.
"""

from __future__ import annotations

from dataclasses import dataclass

from surefoot.errors import BadInput


@dataclass(frozen=True, slots=True)
class Effort:
    """What a search weighs with.

    ``crash_aversion``: how much heavier a crash weighs in the choice of a run than its minutes: it risks data (the
    bench hours that are reported count its minutes once). ``worth_decades_per_hour``: where the goal names no
    threshold, stop when an hour would gain less than this many typical depths per decade of hazard.
    """

    name: str
    crash_aversion: float
    worth_decades_per_hour: float


EFFORTS: dict[str, Effort] = {
    effort.name: effort
    for effort in (
        Effort("quick", crash_aversion=28.0, worth_decades_per_hour=0.36),
        Effort("usual", crash_aversion=4.7, worth_decades_per_hour=0.30),
        Effort("thorough", crash_aversion=3.4, worth_decades_per_hour=0.065),
    )
}


def effort_named(name: str) -> Effort:
    """The effort of that name. Raises BadInput naming those there are."""
    if name not in EFFORTS:
        raise BadInput(f"there is no effort {name!r}.", where="goal", remedy=f"Known: {', '.join(EFFORTS)}.")
    return EFFORTS[name]
