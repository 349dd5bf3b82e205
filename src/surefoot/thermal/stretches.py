"""Stretches of a trace over which every source draws about the same power: points for the coupling of heat."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from surefoot.runs import Floats, Trace
from surefoot.thermal.channels import DOMAINS, Windows, whole
from surefoot.thermal.heat import HeatPoint, heat_point

SHORTEST_MINUTES = 4.0
_STEP_WATTS = 4.0  # a change of power that starts a new stretch, or 15 % of the higher level
_STEP_SHARE = 0.15
_MOST = 6
_LONGEST_SECONDS = 5400.0


def stretches(trace: Trace) -> list[tuple[float, float]]:
    """Start and end in seconds of the stretches of constant power, at least 4 minutes each, oldest first."""
    if len(trace) < 8 or trace.duration_minutes < SHORTEST_MINUTES:
        return []
    step = max(5.0, trace.duration_minutes * 60 / 20_000)
    grid = np.arange(trace.seconds[0], trace.seconds[-1], step)
    changes = np.zeros(grid.size, dtype=bool)
    for domain in DOMAINS:
        power = whole(trace, domain, "power")
        if power is None:
            continue
        smooth = _on_grid(trace.seconds, Windows.of(trace.seconds, 30.0).mean(power), grid)
        changes |= _steps(grid, smooth)
    edges = [float(grid[0]), *grid[changes].tolist(), float(trace.seconds[-1])]
    found: list[tuple[float, float]] = []
    for start, end in pairwise(edges):
        # A step is placed to within a point of the grid: the edges are left out.
        inner = (start + step if start > edges[0] else start, end - 2 * step if end < edges[-1] else end)
        if inner[1] - inner[0] >= SHORTEST_MINUTES * 60:
            found.append(inner)
    return found


def heat_points(trace: Trace, room: float | None = None) -> list[HeatPoint]:
    """One settled point from each of the longest stretches (at most 6) at which all sources' ends are known."""
    chosen = sorted(stretches(trace), key=lambda bounds: bounds[0] - bounds[1])[:_MOST]
    points = []
    for start, end in sorted(chosen):
        # Of a very long stretch the end says it all, and is cheaper to fit.
        point = heat_point(trace.between(max(start, end - _LONGEST_SECONDS), end), room, one_load=True)
        if point.celsius:
            points.append(point)
    return points


def _on_grid(seconds: Floats, values: Floats, grid: Floats) -> Floats:
    there = np.isfinite(values)
    return np.interp(grid, seconds[there], values[there]) if there.any() else np.zeros(grid.size)


def _steps(grid: Floats, smooth: Floats) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Where the mean of the minute after differs clearly from that of the minute before, one mark a step."""
    width = float(grid[1] - grid[0]) if grid.size > 1 else 5.0
    count = max(2, round(60.0 / width))
    marks = np.zeros(grid.size, dtype=bool)
    if grid.size < 2 * count:
        return marks
    total = np.concatenate([[0.0], np.cumsum(smooth)])
    means = (total[count:] - total[:-count]) / count
    before, after = means[: -count or None], means[count:]
    size = min(before.size, after.size)
    before, after = before[:size], after[:size]
    jump = np.abs(after - before)
    big = jump > np.maximum(_STEP_WATTS, _STEP_SHARE * np.maximum(before, after))
    # Of each run of marks the largest jump is the step.
    flags = np.concatenate([[False], big, [False]]).astype(np.int8)
    for start, end in zip(np.flatnonzero(np.diff(flags) == 1), np.flatnonzero(np.diff(flags) == -1), strict=True):
        place = int(start) + int(jump[start:end].argmax())
        marks[min(place + count, grid.size - 1)] = True
    return marks
