"""Several traces of one run as one."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from surefoot.runs import Floats, Trace


def merged(traces: Sequence[Trace]) -> Trace:
    """The traces in one, in order of time; the first one's second 0 is that of the result.

    A later trace is moved by the difference of their wall-clock starts when both are known. Samples of equal time are
    joined into one; where both measured a channel, the later trace's value is taken. A time that stands twice in one
    trace stays twice.
    """
    if not traces:
        return Trace(np.empty(0))
    if len(traces) == 1:
        return traces[0]
    times = [_aligned(trace, traces[0]) for trace in traces]
    occurrence = np.concatenate([_occurrence(seconds) for seconds in times])
    seconds = np.concatenate(times)
    order = np.lexsort((occurrence, seconds))
    ordered, turn = seconds[order], occurrence[order]
    is_new = np.ones(ordered.size, dtype=bool)
    is_new[1:] = (np.diff(ordered) != 0) | (np.diff(turn) != 0)
    row = np.empty(ordered.size, dtype=np.intp)
    row[order] = np.cumsum(is_new) - 1
    channels: dict[str, Floats] = {}
    size = int(is_new.sum())
    first = 0
    for trace in traces:
        rows = row[first : first + len(trace)]
        first += len(trace)
        for name, values in trace.channels.items():
            target = channels.setdefault(name, np.full(size, np.nan))
            measured = ~np.isnan(values)
            target[rows[measured]] = values[measured]
    began = next((trace.started_at for trace in traces if trace.started_at), None)
    return Trace(ordered[is_new], {name: channels[name] for name in sorted(channels)}, began)


def _aligned(trace: Trace, reference: Trace) -> Floats:
    here, there = trace.started_at, reference.started_at
    if here is None or there is None or (here.utcoffset() is None) != (there.utcoffset() is None):
        return trace.seconds
    return trace.seconds + (here - there).total_seconds()


def _occurrence(seconds: Floats) -> NDArray[np.intp]:
    """For ascending times: the place of each sample among those of the same time, from 0."""
    index = np.arange(seconds.size)
    starts = np.ones(seconds.size, dtype=bool)
    starts[1:] = np.diff(seconds) != 0
    return np.asarray(index - np.maximum.accumulate(np.where(starts, index, 0)), dtype=np.intp)
