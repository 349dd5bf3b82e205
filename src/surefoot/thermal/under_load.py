"""Whether a part of a machine is under load: busy and drawing power, held against what the bench runs drew."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from surefoot.runs import Floats, Trace

SHARE_OF_BENCH = 0.4
"""A part is under load while it is as busy, and draws as much power, as this share of what it was and drew in the bench
runs (their medians). The one place where that is stated."""
BUSY_WITHOUT_BENCH = 50.0
"""Percent busy that counts as under load where no bench run tells."""
PARTS = ("cpu", "gpu")


@dataclass(frozen=True, slots=True)
class Level:
    """What a part was like in the bench runs: ``busy`` in percent, ``watts``; None where it was not measured."""

    busy: float | None = None
    watts: float | None = None


def bench_levels(traces: Iterable[Trace]) -> dict[str, Level]:
    """The level of each part in runs under load: medians over all samples of them."""
    kept: dict[str, list[Floats]] = {}
    for trace in traces:
        for part in PARTS:
            for quantity in ("busy", "power"):
                values = trace.get(f"{part}.{quantity}")
                if values is not None:
                    kept.setdefault(f"{part}.{quantity}", []).append(values[np.isfinite(values)])

    def middle(name: str) -> float | None:
        values = np.concatenate(kept.get(name, [np.zeros(0)]))
        return float(np.median(values)) if values.size else None

    found = {part: Level(middle(f"{part}.busy"), middle(f"{part}.power")) for part in PARTS}
    return {part: level for part, level in found.items() if level.busy or level.watts}


def under_load(sample: Mapping[str, float], part: str, levels: Mapping[str, Level]) -> bool:
    """Whether a part is under load now. What cannot be measured now does not speak for it: without ``busy`` it is not.

    ``sample``: canonical channels. A part that the bench runs do not tell of is under load from `BUSY_WITHOUT_BENCH`.
    """
    level = levels.get(part, Level())
    busy, watts = sample.get(f"{part}.busy"), sample.get(f"{part}.power")
    if busy is None:
        return False
    if busy < (SHARE_OF_BENCH * level.busy if level.busy else BUSY_WITHOUT_BENCH):
        return False
    return watts is None or level.watts is None or watts >= SHARE_OF_BENCH * level.watts
