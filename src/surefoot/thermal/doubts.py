"""What makes the numbers of a trace doubtful: gaps, stuck sensors, a wandering room, a weak supply."""

from __future__ import annotations

import numpy as np

from surefoot.runs import Channel, Floats, Trace
from surefoot.thermal.channels import DOMAINS, Windows, whole
from surefoot.thermal.limits import Limits

_HOTTEST_BELIEVABLE = 125.0
_COLDEST_BELIEVABLE = -20.0


def doubts(trace: Trace, limits: Limits | None = None) -> list[str]:
    """What to mind, in words, worst first; [] when nothing is wrong."""
    if len(trace) == 0:
        return []
    known = limits or Limits()
    said = [*_hardware_errors(trace), *_supply(trace)]
    for domain in DOMAINS:
        said += _temperature(trace, domain, known)
    said += [*_room(trace), *_gaps(trace.seconds), *_missing(trace)]
    if trace.duration_minutes < 2.0:
        said.append(f"the trace is {trace.duration_minutes:.1f} minutes long: too short to speak for a run")
    return said


def _hardware_errors(trace: Trace) -> list[str]:
    said = []
    for name, values in trace.channels.items():
        channel = Channel.parse(name)
        if channel.quantity == "count" and channel.part in ("corrected", "uncorrected"):
            seen = values[np.isfinite(values)]
            if seen.size > 1 and seen[-1] > seen[0]:
                said.append(f"{name} rose by {seen[-1] - seen[0]:.0f}: the hardware reported {channel.part} errors")
    return said


def _supply(trace: Trace) -> list[str]:
    online, draining = trace.get("supply.count.online"), trace.get("battery.count.discharging")
    if online is None or draining is None:
        return []
    both = (online > 0.5) & (draining > 0.5)
    there = np.isfinite(online) & np.isfinite(draining)
    share = float(both[there].mean()) if there.any() else 0.0
    if share > 0.05:
        return [f"the battery was drained for {share:.0%} of the time on mains: the supply may be what limits power"]
    return []


def _temperature(trace: Trace, domain: str, limits: Limits) -> list[str]:
    celsius = whole(trace, domain, "temperature")
    if celsius is None:
        return []
    seen = celsius[np.isfinite(celsius)]
    said = []
    if seen.max() > _HOTTEST_BELIEVABLE or seen.min() < _COLDEST_BELIEVABLE:
        said.append(
            f"{domain} temperature reads from {seen.min():.0f} to {seen.max():.0f} °C: a sensor or its unit is wrong"
        )
    ceiling = limits.ceilings_celsius.get(domain)
    if ceiling is not None and seen.max() > ceiling:
        said.append(f"{domain} temperature passed the ceiling of {ceiling:g} °C on the card: {seen.max():.0f} °C")
    power = whole(trace, domain, "power")
    if power is not None and seen.size > 30 and float(np.ptp(seen)) == 0.0:
        drawn = power[np.isfinite(power)]
        if drawn.size and float(np.ptp(drawn)) > 5.0:
            said.append(f"{domain} temperature never moved while power did: the sensor looks stuck")
    return said


def _room(trace: Trace) -> list[str]:
    room = whole(trace, "room", "temperature")
    if room is None:
        return []
    smooth = Windows.of(trace.seconds, 60.0).mean(room)
    smooth = smooth[np.isfinite(smooth)]
    moved = float(np.ptp(smooth)) if smooth.size else 0.0
    return [f"the room moved by {moved:.1f} °C during the run: its median is used"] if moved > 2.0 else []


def _gaps(seconds: Floats) -> list[str]:
    gaps = np.diff(seconds)
    positive = gaps[gaps > 0]
    if positive.size < 5:
        return []
    usual = float(np.median(positive))
    long = gaps > max(10 * usual, 5.0)
    if not long.any():
        return []
    return [f"{int(long.sum())} gaps in the log, the longest {gaps.max() / 60:.1f} minutes: nothing is known of them"]


def _missing(trace: Trace) -> list[str]:
    return [
        f"{name} has readings for {share:.0%} of the samples"
        for name, values in trace.channels.items()
        if (share := float(np.isfinite(values).mean())) < 0.5 and Channel.parse(name).domain in DOMAINS
    ]
