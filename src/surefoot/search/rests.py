"""What a claim rests on: the hours held, by load and by what checked them, and what they bear out by themselves."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from surefoot.runs import USE, Run
from surefoot.search.bounds import mttf_lower_bound
from surefoot.search.rules import covers, within
from surefoot.search.run_evidence import CountedRun
from surefoot.units import Unit

RESULTS = "results checked"
EXIT_CODE = "exit code checked"
BY_HAND = "told by hand"
STAYING_UP = "nothing checked but that the machine stayed up"


@dataclass(frozen=True, slots=True)
class HoursUnder:
    """Hours held under one load, and what would have noticed a wrong result there; ``runs``: how many."""

    load: str
    checked_by: str
    hours: float
    runs: int


@dataclass(frozen=True, slots=True)
class Rests:
    """What a claim rests on.

    ``hours``: held at this depth or deeper under a load that bears on it (for a whole setting: on every knob at once);
    ``failures``: there or shallower; ``alone_mttf_hours``: what those hours bear out by themselves (chi-square, at the
    goal's confidence); ``mttf_hours``: what is claimed; ``beyond``: whether that is as far as the model can tell at
    all; ``use_hours``: hours of ordinary use among ``hours``; ``without_pool_mttf_hours``: what would be claimed
    for the same setting without what a pool lends, None when none was asked.
    """

    hours: float
    failures: int
    alone_mttf_hours: float
    mttf_hours: float
    beyond: bool
    by_load: tuple[HoursUnder, ...]
    use_hours: float = 0.0
    without_pool_mttf_hours: float | None = None

    @property
    def use_share(self) -> float:
        """Share of ``hours`` that came from ordinary use, 0 to 1."""
        return self.use_hours / self.hours if self.hours > 0 else 0.0


def rests_on(
    unit: Unit,
    counted: Sequence[CountedRun],
    depths: Mapping[str, float],
    mttf_hours: float,
    *,
    confidence: float,
    most_hours: float,
    causes: Mapping[int, str],
) -> Rests:
    """What a claim of ``mttf_hours`` for some knobs at ``depths`` rests on.

    ``most_hours``: the longest MTTF that the model can tell; ``causes``: run id to the knob most to blame, for
    failures that several knobs may have caused.
    """
    there = [
        item
        for item in counted
        if not item.failed and covers(item, depths) and all(name in item.bears_on for name in depths)
    ]
    failures = sum(_speaks_against(item, depths, causes) for item in counted)
    hours = sum(_together(item, depths) for item in there) / 60.0
    return Rests(
        hours=hours,
        failures=failures,
        alone_mttf_hours=mttf_lower_bound(hours, failures, confidence),
        mttf_hours=mttf_hours,
        beyond=mttf_hours >= BEYOND_SHARE * most_hours,
        by_load=_by_load(unit, there),
        use_hours=sum(_together(item, depths) for item in there if item.is_use) / 60.0,
    )


def _together(item: CountedRun, depths: Mapping[str, float]) -> float:
    """Minutes of a run under a load that works every one of some knobs."""
    return min((item.minutes_on(name) for name in depths), default=item.minutes)


BEYOND_SHARE = 0.9
"""A bound within a tenth of the longest MTTF that the model can tell is no figure any more."""


def _speaks_against(item: CountedRun, depths: Mapping[str, float], causes: Mapping[int, str]) -> bool:
    """Whether a run failed no deeper than ``depths`` by what one of those knobs may have caused."""
    if not item.failed:
        return False
    if len(depths) != 1:
        return within(item, depths)
    name, depth = next(iter(depths.items()))
    mine = item.causes == (name,) or causes.get(item.run.id) == name
    return mine and item.depths[name] <= depth + 1e-9


def _by_load(unit: Unit, items: Iterable[CountedRun]) -> tuple[HoursUnder, ...]:
    found: dict[tuple[str, str], list[float]] = {}
    for item in items:
        found.setdefault((item.run.plan.load, checked_by(unit, item.run)), []).append(item.minutes / 60.0)
    made = [HoursUnder(load, checked, sum(hours), len(hours)) for (load, checked), hours in found.items()]
    return tuple(sorted(made, key=lambda one: -one.hours))


def checked_by(unit: Unit, run: Run) -> str:
    """What would have noticed a wrong result in a run."""
    if run.plan.source == "hand":
        return BY_HAND
    detail = run.closing.detail if run.closing else {}
    parts = detail.get("loads")
    each = list(parts.values()) if isinstance(parts, Mapping) and parts else [detail]
    if all(isinstance(one, Mapping) and one.get("verified_units") is not None for one in each):
        return RESULTS
    if run.plan.source == "virtual" and run.plan.purpose != USE:
        return RESULTS
    card = next((card for card in unit.loads if card.name == run.plan.load), None)
    if card is not None and card.command:
        return EXIT_CODE
    return STAYING_UP
