"""What the thermal room reads out of a trace: one series a quantity, time weights, moving statistics."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.runs import Channel, Floats, Trace

DOMAINS = ("cpu", "gpu")
"""The parts whose limiter, steady state and heat are judged."""

# Names of the part that stands for the whole, best first; the empty part is the whole by definition of a channel.
_WHOLE = ("", "package", "die", "core", "total", "average", "edge")


def whole(trace: Trace, domain: str, quantity: str) -> Floats | None:
    """The series that stands for a domain's quantity, shape (n,), or None when nothing of it was measured.

    The channel without a part where there is one; else a part named for the whole; else of all parts the highest
    (temperatures, flags), the mean (clocks, voltages, use) or the sum (powers, currents). A channel without one
    finite value counts as not measured.
    """
    found = {part: values for part, values in trace.parts(domain, quantity).items() if np.isfinite(values).any()}
    if not found:
        return None
    for part in _WHOLE:
        if part in found:
            return found[part]
    if quantity == "reasons" or len(found) == 1:
        return next(iter(found.values()))
    stack = np.vstack(list(found.values()))
    there = np.isfinite(stack)
    seen = there.any(axis=0)
    filled = np.where(there, stack, 0.0)
    if quantity in ("temperature", "temperature-limit") or quantity.endswith("flag"):
        merged = np.where(there, stack, -np.inf).max(axis=0)
    elif quantity in ("power", "current", "energy"):
        merged = filled.sum(axis=0)
    else:
        merged = filled.sum(axis=0) / np.maximum(there.sum(axis=0), 1)
    return np.where(seen, merged, np.nan)


def has_domain(trace: Trace, domain: str) -> bool:
    """Whether the trace has any channel of a domain."""
    return any(Channel.parse(name).domain == domain for name in trace.channels)


def sample_weights(seconds: Floats) -> Floats:
    """The time in seconds that each sample stands for, shape (n,): half the gap on each side.

    A gap of more than five times the usual interval is a pause of the logger and is not shared out. Samples that all
    have the same time weigh 1 each.
    """
    if seconds.size < 2:
        return np.ones(seconds.size)
    gaps = np.diff(seconds)
    positive = gaps[gaps > 0]
    if positive.size == 0:
        return np.ones(seconds.size)
    gaps = np.minimum(gaps, 5.0 * float(np.median(positive)))
    weights = np.zeros(seconds.size)
    weights[:-1] += gaps / 2
    weights[1:] += gaps / 2
    # The ends stand for a whole interval as well, so that n samples at 1 Hz weigh n seconds.
    weights[0] += gaps[0] / 2
    weights[-1] += gaps[-1] / 2
    return weights


@dataclass(frozen=True)
class Windows:
    """Moving windows over the samples of a trace: bounds ``low`` and ``high`` (exclusive), each shape (n,)."""

    low: NDArray[np.intp]
    high: NDArray[np.intp]

    @classmethod
    def of(cls, seconds: Floats, width_seconds: float) -> Windows:
        """Windows centred on each sample, in time and not in samples: sampling may be irregular."""
        half = width_seconds / 2
        return cls(
            np.searchsorted(seconds, seconds - half, side="left"),
            np.searchsorted(seconds, seconds + half, side="right"),
        )

    def count(self, there: NDArray[np.bool_]) -> Floats:
        """How many of the marked samples each window holds."""
        return _running(there.astype(np.float64), self)

    def mean(self, values: Floats) -> Floats:
        """Moving mean of the finite values; NaN where a window has none."""
        return self.mean_and_spread(values)[0]

    def mean_and_spread(self, values: Floats) -> tuple[Floats, Floats]:
        """Moving mean and standard deviation of the finite values, each shape (n,)."""
        there = np.isfinite(values)
        if not there.any():
            nothing = np.full(values.shape, np.nan)
            return nothing, nothing
        # Differences of running sums lose digits when the values are far from zero: work about the middle.
        middle = float(np.mean(values[there]))
        shifted = np.where(there, values - middle, 0.0)
        count = _running(there.astype(np.float64), self)
        first = _running(shifted, self)
        second = _running(shifted * shifted, self)
        with np.errstate(invalid="ignore", divide="ignore"):
            mean = first / count
            variance = np.maximum(second / count - mean * mean, 0.0)
        empty = count < 0.5
        mean = np.where(empty, np.nan, mean + middle)
        return mean, np.where(empty, np.nan, np.sqrt(variance))


def _running(values: Floats, windows: Windows) -> Floats:
    total = np.concatenate([[0.0], np.cumsum(values)])
    return np.asarray(total[windows.high] - total[windows.low], dtype=np.float64)


def weighted_mean(values: Floats, weights: Floats) -> float:
    """Mean of the finite values by time; NaN when there is none."""
    there = np.isfinite(values)
    total = float(weights[there].sum())
    return float((values[there] * weights[there]).sum() / total) if total > 0 else float("nan")
