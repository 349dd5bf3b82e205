"""The distribution of a log's frame times as a curve: few percentiles, kept with the run's scores under fixed names.

The spread of a curve is that between runs. Frames of one run are no repeats of each other, so none is resampled here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from surefoot.runs import Floats, Score

PERCENTILES: Final = (1.0, 2.0, 5.0, 10.0, 25.0, 50.0, 75.0, 90.0, 95.0, 98.0, 99.0, 99.5, 99.9)
"""Percent of the frames; dense at the slow end, where games are felt."""

_NAMED: Final = re.compile(r"(?:(?P<scene>.*): )?frame time, (?P<percent>\d+(?:\.\d+)?) %")


@dataclass(frozen=True, slots=True)
class FrameCurve:
    """The curve of one run: ``milliseconds``, by percent of the frames, that these frames took at most.

    ``run_id``: None where it belongs to a configuration without a run; ``scene``: "" where none was named.
    """

    configuration: str
    run_id: int | None
    scene: str
    milliseconds: Mapping[float, float]


@dataclass(frozen=True, slots=True)
class Between:
    """A percentile over the runs of a configuration, ms: the median of the runs, their fastest and slowest."""

    middle: float
    low: float
    high: float
    runs: int


def percentiles(frame_ms: Floats) -> dict[float, float]:
    """`PERCENTILES` of frame times, ms, by linear interpolation; only those with a whole frame beyond them.

    ``frame_ms``: shape (n,), finite.
    """
    frames = np.asarray(frame_ms, dtype=np.float64)
    having = [one for one in PERCENTILES if round(frames.size * min(one, 100 - one) / 100, 6) >= 1]
    return dict(zip(having, map(float, np.percentile(frames, having)), strict=True)) if having else {}


def curve_scores(scene: str, milliseconds: Mapping[float, float]) -> tuple[Score, ...]:
    """A curve as the scores it is kept as."""
    return tuple(
        Score(
            name=f"{scene}: frame time, {percent:g} %" if scene else f"frame time, {percent:g} %",
            value=value,
            unit="ms",
            higher_is_better=False,
        )
        for percent, value in milliseconds.items()
    )


def curve_point(score: Score) -> tuple[str, float] | None:
    """Scene and percent of a score that is a point of a curve; None for any other score."""
    named = _NAMED.fullmatch(score.name) if score.unit == "ms" else None
    if named is None or float(named["percent"]) not in PERCENTILES:
        return None
    return named["scene"] or "", float(named["percent"])


def between_runs(curves: Sequence[FrameCurve]) -> dict[float, Between]:
    """Each percentile that every one of the curves has, over the curves; ascending."""
    shared = sorted(set.intersection(*(set(one.milliseconds) for one in curves))) if curves else []
    made = {}
    for percent in shared:
        values = [one.milliseconds[percent] for one in curves]
        made[percent] = Between(float(np.median(values)), min(values), max(values), len(values))
    return made


def scenes(curves: Iterable[FrameCurve]) -> tuple[str, ...]:
    """The scenes, each once, in the order first seen."""
    return tuple(dict.fromkeys(one.scene for one in curves))
