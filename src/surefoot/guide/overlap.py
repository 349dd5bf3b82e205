"""What a log would change of the samples that a run has already."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from surefoot.journal import Journal
from surefoot.journal.trace_merge import merged
from surefoot.runs import Channel, Run, Trace

_NAMED = 4


@dataclass(frozen=True)
class Overlap:
    """``channels``: those that both measured at the same time; ``changed``: values of the run that the log would
    replace by others; ``same``: the log holds nothing that the run has not; ``words``: all of it for a reader."""

    channels: tuple[str, ...]
    changed: int
    same: bool
    words: str


def overlap(there: Trace, log: Trace) -> Overlap:
    """What adding ``log`` to a run with the samples ``there`` would do to them."""
    if not len(there) or not len(log):
        return Overlap((), 0, False, "")
    together = merged([there, log])
    alone = merged([there])
    same = len(together) == len(there) and set(together.channels) == set(there.channels)
    both, changes, total = [], [], 0
    for name in sorted(set(there.channels) & set(log.channels)):
        span = _shared_seconds(there, log, name)
        if span is None:
            continue
        both.append(name)
        before = _at(alone, name, together)
        after = together.channels[name]
        with np.errstate(invalid="ignore"):
            other = np.isfinite(before) & (np.abs(after - before) > 1e-9 * np.maximum(1.0, np.abs(before)))
        count = int(other.sum())
        total += count
        if count:
            most = float(np.abs(after - before)[other].max())
            unit = Channel.parse(name).unit
            changes.append(f"{name} would change at {count} samples, by up to {most:.3g} {unit}".rstrip())
        else:
            changes.append(f"{name} from {span[0]:g} to {span[1]:g} s")
        same = same and count == 0
    if same:
        same = all(_says_no_more(there, together, name) for name in together.channels)
    more = f", and {len(changes) - _NAMED} more" if len(changes) > _NAMED else ""
    return Overlap(tuple(both), total, same, "; ".join(changes[:_NAMED]) + more)


def _shared_seconds(there: Trace, log: Trace, name: str) -> tuple[float, float] | None:
    """The stretch of the run's time in which both measured a channel."""
    # Where the log's second 0 lies on the run's scale is for the merging to say.
    only = Trace(log.seconds, {name: log.channels[name]}, log.started_at)
    reference = Trace(there.seconds[:1], {}, there.started_at)
    moved = merged([reference, only])
    ours = there.seconds[np.isfinite(there.channels[name])]
    theirs = moved.seconds[np.isfinite(moved.channels[name])]
    if not ours.size or not theirs.size:
        return None
    low, high = max(ours[0], theirs[0]), min(ours[-1], theirs[-1])
    return (float(low), float(high)) if low <= high else None


def _at(trace: Trace, name: str, grid: Trace) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    found = np.full(len(grid), np.nan)
    places = np.searchsorted(grid.seconds, trace.seconds)
    found[np.minimum(places, len(grid) - 1)] = trace.channels[name]
    return found


def _says_no_more(there: Trace, together: Trace, name: str) -> bool:
    return bool(np.isfinite(together.channels[name]).sum() == np.isfinite(there.channels[name]).sum())


def same_log(journal: Journal, runs: Iterable[Run], log: Trace, minutes: float) -> int | None:
    """The number of a run that holds exactly this trace already, or None."""
    for run in runs:
        if abs(run.minutes - minutes) > 1e-3 or not journal.has_trace(run.id):
            continue
        there = journal.trace(run.id)
        if len(there) != len(log) or set(there.channels) != set(log.channels):
            continue
        if (there.started_at is None) != (log.started_at is None):
            continue
        if there.started_at is not None and log.started_at is not None and there.started_at != log.started_at:
            continue
        if np.allclose(there.seconds, log.seconds, atol=1e-3) and all(
            np.allclose(there.channels[name], values, rtol=1e-4, atol=1e-3, equal_nan=True)
            for name, values in log.channels.items()
        ):
            return run.id
    return None
