"""Which core is the weakest, from runs whose load could tell on which processor a failure was seen."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from surefoot.runs import Outcome
from surefoot.search.run_evidence import CountedRun, failed_core
from surefoot.units import Knob, Unit


@dataclass(frozen=True, slots=True)
class CoreFailures:
    """A processor's failures: how many, and at which depth of the knob the shallowest."""

    core: int
    failures: int
    shallowest: float


def failures_by_core(counted: Iterable[CountedRun], knob: Knob) -> tuple[CoreFailures, ...]:
    """Failures under a knob by processor, the weakest first: by the shallowest depth, then by how many.

    Crashes that took the machine down name no processor and are not here.
    """
    found: dict[int, list[float]] = {}
    for item in counted:
        core = failed_core(item.run)
        if core is None or not item.failed or knob.name not in item.causes or item.run.outcome is Outcome.SLOW:
            continue
        found.setdefault(core, []).append(item.depths[knob.name])
    weakest = [CoreFailures(core, len(depths), min(depths)) for core, depths in found.items()]
    return tuple(sorted(weakest, key=lambda one: (one.shallowest, -one.failures, one.core)))


def weakest_core_words(unit: Unit, counted: Sequence[CountedRun]) -> tuple[str, ...]:
    """For each knob that moves several cores at once, which core rules it; () where no failure named a core."""
    sentences = []
    for knob in unit.leaders():
        found = failures_by_core(counted, knob)
        if not found or len(knob.cores) == 1:
            continue
        first = found[0]
        times = "once" if first.failures == 1 else f"{first.failures} times"
        others = f"; the next, processor {found[1].core}, at {knob.describe(found[1].shallowest)}" if found[1:] else ""
        sentences.append(
            f"Weakest core: processor {first.core} failed {times}, first at {knob.describe(first.shallowest)}{others}. "
            f"It rules {knob.name}, which moves them all."
        )
    return tuple(sentences)
