"""What a comparison holds: verdicts, gains, cells, rows."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from surefoot.errors import BadInput
from surefoot.scores.configurations import Configuration
from surefoot.scores.drift import DriftTests, Taken
from surefoot.scores.metrics import Metric

Verdict = Literal[
    "baseline",
    "better",
    "worse",
    "higher",
    "lower",
    "not shown",
    "drifted",
    "could drift",
    "unfinished",
    "one run",
    "upper bound",
    "no baseline",
    "not measured",
]

VERDICT_SAYS: dict[str, str] = {
    "baseline": "what the others are compared with",
    "better": "really better",
    "worse": "really worse",
    "higher": "really higher",
    "lower": "really lower",
    "not shown": "no real difference shown",
    "drifted": "not shown: taken one after the other while it drifted",
    "could drift": "not shown: not taken in blocks, and a drift that the runs do not rule out would explain it",
    "unfinished": "not judged yet: the trial goes on",
    "one run": "one run: cannot be told from chance",
    "upper bound": "only an upper bound is known: not judged",
    "no baseline": "nothing to compare with under the same load",
    "not measured": "not measured",
}
"""Each verdict in words; only the first four after the baseline claim a real difference."""

REAL: frozenset[str] = frozenset({"better", "worse", "higher", "lower"})

Family = Literal["metric", "table"]


@dataclass(frozen=True, slots=True)
class Gain:
    """The difference of a configuration to its baseline.

    ``absolute``: configuration minus baseline, metric's unit; ``percent``: of the baseline, NaN at 0 and for levels in
    dB and temperatures; ``low``, ``high``: its interval, widened to match the correction, so that it leaves out 0
    exactly when the difference is real; NaN for one run. ``confidence``: of that interval; ``p_value``, ``p_adjusted``:
    before and after the correction for several configurations; ``drift_p``: with every drift allowed for that the
    runs do not rule out, NaN where they were in blocks or that was not asked; ``method``: ``paired``, ``blocks``,
    ``block bootstrap``, ``many-to-one``, ``welch``, ``bootstrap`` or ""; ``blocks``: of a trial, 0 for none;
    ``would_show``, ``would_show_percent``: the smallest true difference that four in five such measurements would have
    shown, metric's unit and percent.
    """

    absolute: float
    percent: float
    low: float = math.nan
    high: float = math.nan
    low_percent: float = math.nan
    high_percent: float = math.nan
    confidence: float = math.nan
    p_value: float = math.nan
    p_adjusted: float = math.nan
    method: str = ""
    drift_p: float = math.nan
    blocks: int = 0
    would_show: float = math.nan
    would_show_percent: float = math.nan


@dataclass(frozen=True, slots=True)
class Cell:
    """One metric of one configuration.

    ``runs``: how many values it rests on; ``mean``, ``sd`` (between runs), ``low``, ``high``: in the metric's unit, the
    interval at the comparison's confidence; ``interval_from``: ``runs``, ``one log`` (spread within the only run's log:
    it says nothing of another run) or ""; ``values``, ``run_ids``: one a run, in order. ``against``: key of the
    baseline it was compared with. ``gain``: None for a baseline, or where there is nothing to compare. ``is_real``:
    whether the difference is claimed. ``notes``: what a reader must know. ``taken``: how its runs and the baseline's
    were taken; ``drift``: what the tests for it say, where a difference would be shown without them; ``order``: when
    each of the values was made, ``places``: its trial and block, where known.
    """

    metric: str
    configuration: str
    runs: int
    mean: float
    sd: float
    low: float
    high: float
    interval_from: str
    values: tuple[float, ...]
    run_ids: tuple[int | None, ...]
    at_most: bool
    against: str | None
    gain: Gain | None
    verdict: Verdict
    is_real: bool
    notes: tuple[str, ...] = ()
    taken: Taken = ""
    drift: DriftTests | None = None
    order: tuple[float | None, ...] = ()
    places: tuple[tuple[int, int] | None, ...] = ()


@dataclass(frozen=True, slots=True)
class Row:
    """One metric over all configurations, in their order; a configuration without it has a cell of no runs."""

    metric: Metric
    cells: tuple[Cell, ...]

    @property
    def taken(self) -> tuple[Taken, ...]:
        """The ways in which its differences were taken, blocks first; () where nothing was tested."""
        ways: tuple[Taken, ...] = ("in blocks", "in turns", "one after the other", "order not known")
        return tuple(way for way in ways if any(cell.taken == way for cell in self.cells))


@dataclass(frozen=True, slots=True)
class LimiterShare:
    """What held a domain's clock down: share of the time by label, 0 to 1, mean over a configuration's runs."""

    configuration: str
    domain: str
    runs: int
    shares: dict[str, float]
    sentence: str = ""


@dataclass(frozen=True, slots=True)
class Comparison:
    """The whole comparison, ready for tables, charts and JSON.

    ``baseline``: key of the configuration that the others are compared with; ``room_celsius``: the room temperature
    that temperatures are given for, None when they are as measured; ``correction``, ``notes``, ``taken`` (how the
    configurations were measured): sentences to be shown with it.
    """

    configurations: tuple[Configuration, ...]
    baseline: str
    rows: tuple[Row, ...]
    confidence: float
    room_celsius: float | None
    correction: str
    limiters: tuple[LimiterShare, ...] = ()
    notes: tuple[str, ...] = ()
    left_out: tuple[str, ...] = field(default=())
    taken: tuple[str, ...] = ()

    def row(self, metric: str) -> Row | None:
        """The row of a metric by its name or label, or None."""
        for row in self.rows:
            if metric in (row.metric.name, row.metric.label):
                return row
        return None

    def cell(self, metric: str, configuration: str) -> Cell | None:
        """The cell of a metric (name or label) and a configuration (key), or None when it was not measured."""
        row = self.row(metric)
        for cell in row.cells if row else ():
            if cell.configuration == configuration:
                return cell if cell.runs else None
        return None

    def configuration(self, key: str) -> Configuration:
        """The configuration of a key. Raises BadInput when it is not part of the comparison."""
        for one in self.configurations:
            if one.key == key:
                return one
        raise BadInput(f"configuration {key!r} is not part of the comparison.")
