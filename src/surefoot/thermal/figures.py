"""The figures that a tester reads off a trace: peaks, energy, clock per watt, episodes of throttling, cores."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.runs import Floats, Trace
from surefoot.thermal.channels import sample_weights, weighted_mean, whole
from surefoot.thermal.labels import CODE, HELD, LABEL_SAYS, LABELS

_SAME_EPISODE_SECONDS = 10.0
_SHORTEST_EPISODE_SECONDS = 5.0


@dataclass(frozen=True)
class Episodes:
    """How often and since when something held the clock: ``label``, ``count``, ``first_minute``, ``minutes`` in all."""

    label: str
    count: int
    first_minute: float
    minutes: float

    @property
    def sentence(self) -> str:
        """In words."""
        times = "once" if self.count == 1 else f"{self.count} times"
        return (
            f"{LABEL_SAYS[self.label]} {times}, first at minute {self.first_minute:.1f}, {self.minutes:.1f} min in all"
        )


@dataclass(frozen=True)
class Spread:
    """Between the cores, means under load: the highest and the lowest with their names, in the channel's unit."""

    quantity: str
    highest: float
    highest_core: str
    lowest: float
    lowest_core: str
    cores: int

    @property
    def width(self) -> float:
        """Highest less lowest."""
        return self.highest - self.lowest


@dataclass(frozen=True)
class Figures:
    """Of one domain over the whole trace; None: not measured.

    ``highest_celsius``, ``p95_celsius`` (of the samples by time); ``energy_joules``; ``mean_watts``, ``mean_mhz`` and
    ``mhz_per_watt`` under load, idling left out; ``episodes``: one entry a label that held; ``spreads``: between cores.
    """

    highest_celsius: float | None
    p95_celsius: float | None
    energy_joules: float | None
    mean_watts: float | None
    mean_mhz: float | None
    mhz_per_watt: float | None
    episodes: tuple[Episodes, ...]
    spreads: tuple[Spread, ...]

    @property
    def first_throttled_minute(self) -> float | None:
        """When heat first held the clock; None when it never did."""
        return next((one.first_minute for one in self.episodes if one.label == "thermal"), None)


def figures(trace: Trace, domain: str, labels: NDArray[np.int8]) -> Figures:
    """The figures of a domain. ``labels``: of its limiter, shape (n,)."""
    weights = sample_weights(trace.seconds)
    load = labels != CODE["idle"]
    celsius, power, clock = (whole(trace, domain, name) for name in ("temperature", "power", "clock"))
    watts = _under_load(power, weights, load)
    mhz = _under_load(clock, weights, load)
    return Figures(
        highest_celsius=None if celsius is None else float(np.nanmax(celsius)),
        p95_celsius=None if celsius is None else _percentile(celsius, weights, 0.95),
        energy_joules=None if power is None else float(np.nansum(power * weights)),
        mean_watts=watts,
        mean_mhz=mhz,
        mhz_per_watt=mhz / watts if mhz is not None and watts is not None and watts > 0 else None,
        episodes=_episodes(trace.seconds, weights, labels),
        spreads=tuple(
            found for name in ("temperature", "clock") if (found := _spread(trace, domain, name, weights, load))
        ),
    )


def _under_load(values: Floats | None, weights: Floats, load: NDArray[np.bool_]) -> float | None:
    if values is None:
        return None
    mean = weighted_mean(values[load], weights[load])
    return mean if math.isfinite(mean) else None


def _percentile(values: Floats, weights: Floats, share: float) -> float:
    """By time: the value below which the samples stand for that share of it."""
    there = np.flatnonzero(np.isfinite(values))
    order = there[np.argsort(values[there], kind="stable")]
    total = np.cumsum(weights[order])
    return float(values[order[min(int(np.searchsorted(total, share * total[-1])), order.size - 1)]])


def _episodes(seconds: Floats, weights: Floats, labels: NDArray[np.int8]) -> tuple[Episodes, ...]:
    made = []
    for label in HELD:
        at = np.flatnonzero(labels == CODE[label])
        if at.size == 0:
            continue
        cut = np.flatnonzero(np.diff(seconds[at]) > _SAME_EPISODE_SECONDS + float(np.median(weights)))
        parts = [part for part in np.split(at, cut + 1) if weights[part].sum() >= _SHORTEST_EPISODE_SECONDS]
        if parts:
            first = float(seconds[parts[0][0]] - seconds[0]) / 60.0
            made.append(Episodes(label, len(parts), first, float(sum(weights[part].sum() for part in parts)) / 60.0))
    return tuple(sorted(made, key=lambda one: (one.first_minute, LABELS.index(one.label))))


def _spread(trace: Trace, domain: str, quantity: str, weights: Floats, load: NDArray[np.bool_]) -> Spread | None:
    means = {
        part: weighted_mean(values[load], weights[load])
        for part, values in trace.parts(domain, quantity).items()
        if part.startswith("core-")
    }
    means = {part: mean for part, mean in means.items() if math.isfinite(mean)}
    if len(means) < 2:
        return None
    high, low = max(means, key=lambda part: means[part]), min(means, key=lambda part: means[part])
    return Spread(quantity, means[high], high, means[low], low, len(means))
