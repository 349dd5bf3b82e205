"""Fewer points for the eye, with every peak kept."""

from __future__ import annotations

import numpy as np

from surefoot.runs import Floats


def buckets(seconds: Floats, values: Floats, count: int = 240) -> tuple[Floats, Floats, Floats, Floats]:
    """At most ``count`` buckets of equal time: their middle, mean, least and greatest value.

    ``seconds`` ascending, ``values`` of the same shape, NaN where not measured (left out). Returns four arrays of one
    shape; the least of the least and the greatest of the greatest are those of the whole.
    """
    known = np.isfinite(values)
    seconds, values = seconds[known], values[known]
    if not len(seconds):
        empty = np.empty(0)
        return empty, empty, empty, empty
    span = float(seconds[-1] - seconds[0])
    if len(seconds) <= count or span <= 0:
        return seconds, values, values, values
    index = np.minimum(((seconds - seconds[0]) / span * count).astype(np.int64), count - 1)
    starts = np.flatnonzero(np.diff(index, prepend=-1))
    sizes = np.diff(starts, append=len(values))
    return (
        np.add.reduceat(seconds, starts) / sizes,
        np.add.reduceat(values, starts) / sizes,
        np.minimum.reduceat(values, starts),
        np.maximum.reduceat(values, starts),
    )
