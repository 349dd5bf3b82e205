"""Metrics of a trace's summary, that are known to be there."""

from __future__ import annotations

from surefoot.scores.metrics import Metric, of_summary


def summary_metric(name: str) -> Metric:
    """The metric of a value of a summary."""
    metric = of_summary(name)
    assert metric is not None, name
    return metric
