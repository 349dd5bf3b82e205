"""Efficiency beside speed: score per watt of each run, and the watts at an equal score."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from surefoot.scores.comparison import Comparison
from surefoot.scores.configurations import Configuration
from surefoot.scores.metrics import Metric, Sample, decimals_for

WALL = "wall-power.load"
PACKAGE = "package power"


def package_power(samples: Sequence[Sample]) -> list[Sample]:
    """The power of the packages of each run together: the sum of its ``cpu.power`` and ``gpu.power`` (mean, W)."""
    metric = Metric(PACKAGE, "package power, CPU and GPU", "W", "", "power")
    by_run: dict[tuple[str, int], dict[str, Sample]] = defaultdict(dict)
    for sample in samples:
        if sample.metric.name in ("cpu.power", "gpu.power") and sample.run_id is not None:
            by_run[sample.configuration, sample.run_id][sample.metric.name] = sample
    # Only runs with the same domains can be set beside each other: a run without a GPU reading is not a lighter one.
    domains = {frozenset(found) for found in by_run.values()}
    if len(domains) != 1 or domains == {frozenset({"gpu.power"})}:
        return []
    return [
        replace(
            next(iter(found.values())),
            metric=metric,
            value=math.fsum(one.value for one in found.values()),
            ambient_celsius=None,
            ceiling_celsius=None,
            held_by_heat_share=None,
        )
        for found in by_run.values()
    ]


def per_watt(samples: Sequence[Sample]) -> list[Sample]:
    """Points or frames per watt, for each score of a run or configuration whose power is known.

    Wall power where every configuration with a score has it, else the packages' power: the same for all, so that like
    is compared with like. A run's own power where it was measured, else the mean of its configuration. Only scores of
    which more is better.
    """
    scores = [one for one in samples if one.metric.group in ("score", "frames") and _is_speed(one.metric)]
    scored = {one.configuration for one in scores}
    powers = [*samples, *package_power(samples)]
    made = []
    for source, words in ((WALL, "at the wall"), (PACKAGE, "of the packages")):
        power = _by_place(powers, source)
        if not scored or not scored <= {key for key, _ in power}:
            continue
        measured = {key for key, run_id in power if run_id is not None}
        for score in scores:
            watts = power.get((score.configuration, score.run_id))
            note = ""
            if not watts:
                # A run's own power where runs have one: the mean of others would hide how power varies.
                if score.configuration in measured and score.run_id is not None:
                    continue
                watts = [value for (key, _), found in power.items() if key == score.configuration for value in found]
                note = "power is the mean of its configuration, not read in each run"
            mean = float(np.mean(watts))
            if mean > 0:
                value = score.value / mean
                metric = _per_watt(score.metric, words, value)
                made.append(replace(score, metric=metric, value=value, ambient_celsius=None, within=None, note=note))
        break
    return made


def _is_speed(metric: Metric) -> bool:
    return metric.better == "higher" and "low" not in metric.label and metric.unit != "%"


def _by_place(samples: Sequence[Sample], name: str) -> dict[tuple[str, int | None], list[float]]:
    """Watts of a metric, or of its places, by configuration and run."""
    found: dict[tuple[str, int | None], list[float]] = defaultdict(list)
    for one in samples:
        if one.metric.name == name or one.metric.name.startswith(f"{name}."):
            found[one.configuration, one.run_id].append(one.value)
    return found


def _per_watt(metric: Metric, words: str, value: float) -> Metric:
    unit = "points/W" if metric.unit == "points" else f"{metric.unit}/W"
    return Metric(
        name=f"{metric.name} per watt",
        label=f"{metric.label} per watt {words}",
        unit=unit,
        better="higher",
        group="efficiency",
        decimals=decimals_for(value),
        by_load=metric.by_load,
    )


@dataclass(frozen=True, slots=True)
class EqualScore:
    """The watts a configuration needs for the baseline's score.

    ``metric``: of the score; ``watts`` at ``score``; ``baseline_watts``; ``how``: ``measured`` (its score is the
    baseline's, within 1 %), ``interpolated`` between configurations of the same setting in other power modes, or
    ``scaled`` in proportion; ``words``: one sentence that says so.
    """

    configuration: str
    metric: str
    score: float
    watts: float
    baseline_watts: float
    how: Literal["measured", "interpolated", "scaled"]
    words: str


NEAR_SCORE = 0.01
FAR_SCALE = 0.25


def watts_at_equal_score(comparison: Comparison, metric: str) -> tuple[EqualScore, ...]:
    """What each configuration draws when it does no more than the baseline's score of a metric.

    Interpolated linearly in log power over log score between configurations that differ from it in power mode alone and
    enclose the baseline's score. With no such pair: scaled in proportion, for a score at most a quarter away; dynamic
    power goes with V squared times f (Weste and Harris, from memory) and V rises with f, so above the baseline's score
    the proportion says too many watts rather than too few, as far as the idle draw can be left out.
    """
    base_score = _mean(comparison, metric, comparison.baseline)
    power = next(
        (name for name in (WALL, PACKAGE, "cpu.power") if _mean(comparison, name, comparison.baseline)), PACKAGE
    )
    base_watts = _mean(comparison, power, comparison.baseline)
    if not base_score or not base_watts:
        return ()
    made: list[EqualScore] = []
    settings = set()
    for one in comparison.configurations:
        score, watts = _mean(comparison, metric, one.key), _mean(comparison, power, one.key)
        if one.key == comparison.baseline or not score or not watts:
            continue
        if abs(score / base_score - 1) <= NEAR_SCORE:
            words = f"{one.name}, {metric}: the baseline's score within 1 %, {watts:.1f} W against {base_watts:.1f} W"
            made.append(EqualScore(one.key, metric, base_score, watts, base_watts, "measured", words))
            continue
        setting = one.parts._replace(power_mode=None)
        if setting == comparison.configuration(comparison.baseline).parts._replace(power_mode=None):
            # The baseline's own setting in another mode: at the baseline's score it is the baseline.
            continue
        points = [(score, watts)]
        for other in _siblings(comparison, one):
            mine = _mean(comparison, metric, other.key), _mean(comparison, power, other.key)
            if mine[0] and mine[1]:
                points.append((mine[0], mine[1]))
        between = _interpolated(sorted(points), base_score)
        if between is not None:
            # One answer a setting, not one a mode of it.
            if setting in settings:
                continue
            settings.add(setting)
            words = f"{one.name}, {metric}: {between:.1f} W at the baseline's score, between the power modes of this"
            words += f" setting, against {base_watts:.1f} W"
            made.append(EqualScore(one.key, metric, base_score, between, base_watts, "interpolated", words))
        elif abs(score / base_score - 1) <= FAR_SCALE:
            scaled = watts * base_score / score
            words = (
                f"{one.name}, {metric}: about {scaled:.1f} W at the baseline's score against {base_watts:.1f} W,"
                " scaled in proportion;"
                " measure it in another power mode to know"
            )
            made.append(EqualScore(one.key, metric, base_score, scaled, base_watts, "scaled", words))
    return tuple(made)


def _mean(comparison: Comparison, metric: str, key: str) -> float | None:
    cell = comparison.cell(metric, key)
    return cell.mean if cell and cell.mean > 0 else None


def _siblings(comparison: Comparison, one: Configuration) -> list[Configuration]:
    """Those that differ in power mode alone."""
    mine = one.parts._replace(power_mode=None)
    return [
        other
        for other in comparison.configurations
        if other.key != one.key and other.parts._replace(power_mode=None) == mine
    ]


def _interpolated(points: Sequence[tuple[float, float]], score: float) -> float | None:
    for (low, low_watts), (high, high_watts) in pairwise(points):
        if low <= score <= high and high > low:
            part = math.log(score / low) / math.log(high / low)
            return math.exp(math.log(low_watts) + part * math.log(high_watts / low_watts))
    return None
