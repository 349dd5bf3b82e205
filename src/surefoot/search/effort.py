"""How much bench time and risk a search for depth is given: the three efforts and their constants, in one table.

The constants are found by simulation (`tests/benchmarks/policy_sweep.py pick` prints them, `trade` the trade-off); they
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
    threshold, stop when an hour would gain less than this many typical depths per decade of hazard. ``plan_doubt``: the
    doubt at which a run's worth is reckoned, as a multiple of the claim's. ``full_stride_share``: the share of the
    knob's range in which the climb takes full strides; past it they are ``careful_decades`` typical depths per decade
    long and last ``careful_minutes``. ``within_share``: of the goal's ``within``, how near the likely best the claim
    must be for the search to stop.
    """

    name: str
    crash_aversion: float
    worth_decades_per_hour: float
    plan_doubt: float
    full_stride_share: float
    careful_decades: float
    careful_minutes: float
    within_share: float = 1.0


EFFORTS: dict[str, Effort] = {
    effort.name: effort
    for effort in (
        Effort("quick", 14.0, 0.47, 2.35, 0.195, 2.43, 2.7),
        Effort("usual", 7.71, 0.321, 2.42, 0.3, 3.27, 2.1),
        Effort("thorough", 11.0, 0.076, 2.08, 0.33, 3.6, 2.0, within_share=0.81),
    )
}


def effort_named(name: str) -> Effort:
    """The effort of that name. Raises BadInput naming those there are."""
    if name not in EFFORTS:
        raise BadInput(f"there is no effort {name!r}.", where="goal", remedy=f"Known: {', '.join(EFFORTS)}.")
    return EFFORTS[name]
