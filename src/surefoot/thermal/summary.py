"""A trace as a few numbers for comparison, its warm-up trimmed."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from surefoot.errors import BadInput
from surefoot.runs import Channel, Floats, Trace
from surefoot.thermal.channels import DOMAINS, sample_weights, weighted_mean, whole
from surefoot.thermal.fan import fan_series
from surefoot.thermal.percentile import Rule, percentile
from surefoot.thermal.steady import SteadyState, forecast_final

PERCENTILE_RULE: Rule = "linear"
"""The rule of `percentile` behind every ``p95`` and ``p5`` of a summary."""

_MOST_SKIPPED = 0.5  # of a trace: what is left must still speak for the run

_STATISTICS: dict[str, tuple[str, ...]] = {
    "temperature": ("mean", "p95", "max"),
    "clock": ("mean", "p5"),
    "power": ("mean", "p95"),
    "voltage": ("mean",),
    "current": ("mean",),
    "fan": ("mean", "max"),
    "duty": ("mean",),
    "busy": ("mean",),
}


def summarise(trace: Trace, skip_minutes: float | None = None) -> dict[str, float]:
    """Metric name to value, the warm-up left out.

    Names: the channel and the statistic, ``cpu.temperature.p95``; statistics: ``mean`` (by time), ``p95`` and ``p5``
    (percentiles of the samples, rule "linear" of `percentile`), ``max``. For each domain a series for the whole
    (``cpu.clock.mean`` also when only cores were logged) and each part (``gpu.temperature.hotspot.max``). Units are the
    channel's own: `metric_unit`. Further: ``cpu.power.energy`` in J over the summarised part, ``cpu.temperature.final``
    (forecast end value, only when known to 3 °C), ``trace.minutes`` and ``trace.skipped-minutes``. ``skip_minutes``:
    warm-up to leave out; None: until temperatures are within 1 degree of their end (`warm_up_minutes`). A channel
    without a finite value after the warm-up has no metrics; an empty trace gives {}.

    Raises BadInput when ``skip_minutes`` is negative or leaves nothing.
    """
    if len(trace) == 0:
        return {}
    states = settled(trace)
    skipped = warm_up_minutes(trace, states) if skip_minutes is None else float(skip_minutes)
    if not math.isfinite(skipped) or skipped < 0:
        raise BadInput(f"minutes to skip must be 0 or more, got {skip_minutes!r}.")
    start = float(trace.seconds[0]) + skipped * 60.0
    keep = trace.seconds >= start - 1e-9
    if not keep.any():
        raise BadInput(
            f"skipping {skipped:g} minutes leaves nothing of a trace of {trace.duration_minutes:.1f} minutes.",
            remedy="Skip less, or measure longer.",
        )
    seconds = trace.seconds[keep]
    weights = sample_weights(seconds)
    metrics: dict[str, float] = {}
    for name, values in _series(trace).items():
        part = values[keep]
        if not np.isfinite(part).any():
            continue
        quantity = Channel.parse(name).quantity
        for statistic in _STATISTICS[quantity]:
            metrics[f"{name}.{statistic}"] = _statistic(part, weights, statistic)
        if quantity == "power":
            metrics[f"{name}.energy"] = float(np.nansum(part * weights))
    for domain, state in states.items():
        if state.within(3.0):
            metrics[f"{domain}.temperature.final"] = state.final_celsius
    metrics["trace.minutes"] = float(seconds[-1] - seconds[0]) / 60.0
    metrics["trace.skipped-minutes"] = skipped
    return metrics


def metric_unit(metric: str) -> str:
    """The unit of a metric of `summarise`: that of its channel, J for energies, min for times."""
    if metric.startswith("trace."):
        return "min"
    if metric.endswith(".energy"):
        return "J"
    return Channel.parse(metric).unit


def settled(trace: Trace) -> dict[str, SteadyState]:
    """The steady state of each domain's temperature that has one to be known."""
    found = {}
    for domain in DOMAINS:
        celsius = whole(trace, domain, "temperature")
        if celsius is None:
            continue
        state = forecast_final(trace.seconds, celsius, fan_series(trace))
        if state.known:
            found[domain] = state
    return found


def warm_up_minutes(trace: Trace, states: Mapping[str, SteadyState] | None = None) -> float:
    """Minutes from the start until every measured CPU and GPU temperature is within 1 degree of its end.

    Where one never settles, half of the trace: what is left is at least past the fast part of the rise.
    ``states``: of `settled`, when they are at hand already.
    """
    half = trace.duration_minutes * _MOST_SKIPPED
    needed = 0.0
    for state in (settled(trace) if states is None else states).values():
        reached = half if state.reached_minutes is None else state.reached_minutes
        needed = max(needed, min(reached, half))
    return needed


def _series(trace: Trace) -> dict[str, Floats]:
    made: dict[str, Floats] = {}
    for name, values in trace.channels.items():
        channel = Channel.parse(name)
        if channel.quantity not in _STATISTICS:
            continue
        made[name] = values
        bare = f"{channel.domain}.{channel.quantity}"
        if bare not in trace.channels and bare not in made:
            merged = whole(trace, channel.domain, channel.quantity)
            if merged is not None:
                made[bare] = merged
    return made


def _statistic(values: Floats, weights: Floats, statistic: str) -> float:
    if statistic == "mean":
        return weighted_mean(values, weights)
    if statistic == "max":
        return float(np.nanmax(values))
    return percentile(values, float(statistic.removeprefix("p")), PERCENTILE_RULE)
