"""Fans: what speed they ran at, and when they went over to another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surefoot.runs import Channel, Floats, Trace
from surefoot.thermal.channels import Windows

_FAN_STEP = 0.05


@dataclass(frozen=True)
class Fan:
    """One fan: its channel, speeds in rpm at the start, at the end and at most, and how often it changed speed."""

    channel: str
    first_rpm: float
    last_rpm: float
    highest_rpm: float
    steps: int


def fans(trace: Trace) -> tuple[Fan, ...]:
    """Every fan of the trace."""
    made = []
    for name, values in sorted(trace.channels.items()):
        if Channel.parse(name).quantity != "fan" or np.isfinite(values).sum() < 10:
            continue
        smooth = Windows.of(trace.seconds, 10.0).mean(values)
        smooth = smooth[np.isfinite(smooth)]
        if float(smooth.max()) <= 0:
            continue
        made.append(
            Fan(name, float(smooth[0]), float(smooth[-1]), float(smooth.max()), len(fan_changes(trace.seconds, values)))
        )
    return tuple(made)


def fan_changes(seconds: Floats, rpm: Floats, share: float = _FAN_STEP) -> list[float]:
    """Seconds at which a fan went over to another speed: the next ten seconds differ from the last ten by a share."""
    there = np.isfinite(rpm)
    if there.sum() < 10:
        return []
    times, values = seconds[there], rpm[there]
    reach = max(10.0, 3.2 * float(np.median(np.diff(times))) if times.size > 1 else 10.0)
    here = np.arange(times.size)
    low = np.searchsorted(times, times - reach, side="left")
    high = np.searchsorted(times, times + reach, side="left")
    total = np.concatenate([[0.0], np.cumsum(values)])
    before = (total[here] - total[low]) / np.maximum(here - low, 1)
    after = (total[high] - total[here]) / np.maximum(high - here, 1)
    scale = max(float(np.median(np.abs(values))), 1.0)
    jump = np.where((here - low >= 1) & (high - here >= 1), np.abs(after - before) / scale, 0.0)
    marks = np.flatnonzero(jump > share)
    if marks.size == 0:
        return []
    runs = np.split(marks, np.flatnonzero(np.diff(times[marks]) > reach) + 1)
    return [float(times[part[int(jump[part].argmax())]]) for part in runs]


def fan_series(trace: Trace) -> Floats | None:
    """The mean speed of all fans of a trace, rpm, shape (n,); None when none was measured or none turned."""
    found = [
        values
        for name, values in trace.channels.items()
        if Channel.parse(name).quantity == "fan" and np.isfinite(values).sum() >= 10 and np.nanmax(values) > 0
    ]
    if not found:
        return None
    stack = np.vstack(found)
    there = np.isfinite(stack)
    count = there.sum(axis=0)
    return np.where(count > 0, np.where(there, stack, 0.0).sum(axis=0) / np.maximum(count, 1), np.nan)
