"""The comparison: metric by configuration, the difference to the baseline, and whether it is real."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from surefoot.errors import BadInput
from surefoot.scores.bootstrap import FEWEST_RUNS, WithinLog, bootstrap_difference
from surefoot.scores.configurations import Configuration, key_of, unlike
from surefoot.scores.means import Difference, mean_of, percent_change, resolution_of, welch
from surefoot.scores.metrics import Metric, Sample, in_order
from surefoot.scores.multiple import holm
from surefoot.scores.rooms import refer_to_room
from surefoot.scores.sound import mean_level

Verdict = Literal[
    "baseline",
    "better",
    "worse",
    "higher",
    "lower",
    "not shown",
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
    before and after Holm's correction; ``method``: ``welch``, ``bootstrap`` or "".
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


@dataclass(frozen=True, slots=True)
class Cell:
    """One metric of one configuration.

    ``runs``: how many values it rests on; ``mean``, ``sd`` (between runs), ``low``, ``high``: in the metric's unit, the
    interval at the comparison's confidence; ``interval_from``: ``runs``, ``one log`` (spread within the only run's log:
    it says nothing of another run) or ""; ``values``, ``run_ids``: one a run, in order. ``against``: key of the
    baseline it was compared with. ``gain``: None for a baseline, or where there is nothing to compare. ``is_real``:
    whether the difference is claimed. ``notes``: what a reader must know.
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


@dataclass(frozen=True, slots=True)
class Row:
    """One metric over all configurations, in their order; a configuration without it has a cell of no runs."""

    metric: Metric
    cells: tuple[Cell, ...]


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
    that temperatures are given for, None when they are as measured; ``correction``, ``notes``: sentences to be shown
    with it.
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


def compare(
    configurations: Sequence[Configuration],
    samples: Sequence[Sample],
    *,
    baseline: str | None = None,
    confidence: float = 0.95,
    room_celsius: float | None = None,
    family: Family = "metric",
    limiters: Sequence[LimiterShare] = (),
    seed: int = 0,
) -> Comparison:
    """Compare configurations metric by metric with a baseline.

    ``baseline``: key; the first configuration when None. A configuration under another load is compared with the
    baseline's sibling under that load where the metric depends on the load. The unit of replication is the run: values
    of one run are averaged first. Means by Welch; frame-time lows by the studentised bootstrap over runs from four runs
    a side on, by Welch below; one run a side is never called a difference. ``family``: what Holm's correction spans,
    the configurations within each ``metric``, or the whole ``table``. ``room_celsius``: the room that temperatures are
    re-referred to (`surefoot.scores.rooms`); None: as measured. Raises BadInput for an unknown baseline or a confidence
    outside 0.5 to 1.
    """
    if not configurations:
        raise BadInput("there is nothing to compare: no configuration was measured.")
    if not 0.5 <= confidence < 1:
        raise BadInput(f"confidence is {confidence!r}; it must be at least 0.5 and below 1.")
    by_key = {one.key: one for one in configurations}
    first = configurations[0].key if baseline is None else baseline
    if first not in by_key:
        raise BadInput(f"the baseline {first!r} is not among the configurations compared.")
    metrics: dict[str, Metric] = {}
    found: dict[tuple[str, str], list[Sample]] = defaultdict(list)
    for sample in samples:
        if sample.configuration in by_key and math.isfinite(sample.value):
            metrics.setdefault(sample.metric.name, sample.metric)
            found[sample.metric.name, sample.configuration].append(sample)
    left_out: list[str] = []
    rows = []
    for metric in in_order(list(metrics.values())):
        cells = {}
        for key, one in by_key.items():
            values, notes = _one_value_a_run(metric, found[metric.name, key], room_celsius)
            left_out += [f"{one.name}: {note}" for note in notes if note not in left_out]
            cells[key] = _cell(metric, key, values, confidence)
        rows.append((metric, cells))
    judged = [_judge(metric, cells, by_key, first, confidence, seed) for metric, cells in rows]
    corrected = _corrected(judged, confidence, family, seed)
    return Comparison(
        configurations=tuple(configurations),
        baseline=first,
        rows=tuple(corrected),
        confidence=confidence,
        room_celsius=room_celsius,
        correction=_correction_says(corrected, confidence, family),
        limiters=tuple(share for share in limiters if share.configuration in by_key),
        notes=_notes(corrected, by_key, first, room_celsius),
        left_out=tuple(dict.fromkeys(left_out)),
    )


@dataclass(slots=True)
class _Value:
    value: float
    run_id: int | None
    at_most: bool
    within: WithinLog | None
    notes: tuple[str, ...]


def _one_value_a_run(
    metric: Metric, samples: Sequence[Sample], room: float | None
) -> tuple[list[_Value], tuple[str, ...]]:
    """The values of a cell, one a run, re-referred to the room; and what was left out."""
    groups: dict[object, list[Sample]] = defaultdict(list)
    for number, sample in enumerate(samples):
        groups[sample.run_id if sample.run_id is not None else ("alone", number)].append(sample)
    values: list[_Value] = []
    unknown = 0
    for members in groups.values():
        one = members[0]
        levels = [sample.value for sample in members]
        value = mean_level(levels) if metric.group == "sound" else float(np.mean(levels))
        notes = tuple(dict.fromkeys(sample.note for sample in members if sample.note))
        if room is not None and metric.follows_room:
            if one.ambient_celsius is None:
                unknown += 1
                continue
            referred = refer_to_room(
                value,
                one.ambient_celsius,
                room,
                ceiling_celsius=one.ceiling_celsius,
                held_by_heat_share=one.held_by_heat_share,
            )
            value = referred.celsius
            notes += (referred.note,) if referred.note else ()
        at_most = any(sample.at_most for sample in members)
        values.append(_Value(value, one.run_id, at_most, one.within if len(members) == 1 else None, notes))
    dropped: tuple[str, ...] = ()
    if unknown:
        of = f"{unknown} of {len(groups)} run{'s' if len(groups) > 1 else ''}"
        dropped = (f"temperatures of {of} left out, the room temperature is not known",)
    return values, dropped


def _cell(metric: Metric, key: str, values: list[_Value], confidence: float) -> Cell:
    if not values:
        nan = math.nan
        return Cell(metric.name, key, 0, nan, nan, nan, nan, "", (), (), False, None, None, "not measured", False)
    mean = mean_of([one.value for one in values], confidence)
    low, high, source = mean.low, mean.high, "runs"
    notes = [note for one in values for note in one.notes]
    if mean.count == 1:
        within = values[0].within
        low, high, source = (within.low, within.high, "one log") if within else (math.nan, math.nan, "")
        if within:
            span = f"{within.low:.{metric.decimals}f} to {within.high:.{metric.decimals}f} {metric.unit}"
            notes.append(f"within its one log {span}, which says nothing of another run")
    return Cell(
        metric=metric.name,
        configuration=key,
        runs=mean.count,
        mean=mean.mean,
        sd=mean.sd,
        low=low,
        high=high,
        interval_from=source,
        values=tuple(one.value for one in values),
        run_ids=tuple(one.run_id for one in values),
        at_most=any(one.at_most for one in values),
        against=None,
        gain=None,
        verdict="no baseline",
        is_real=False,
        notes=tuple(dict.fromkeys(notes)),
    )


@dataclass(slots=True)
class _Judged:
    """A row before correction: the raw difference by configuration key, None where none was tested."""

    metric: Metric
    cells: dict[str, Cell]
    differences: dict[str, Difference]


def _baseline_for(
    metric: Metric, one: Configuration, by_key: Mapping[str, Configuration], cells: Mapping[str, Cell], first: str
) -> str | None:
    """Key of what a configuration is compared with: the baseline, or its sibling under the same load."""
    main = by_key[first]
    if one.parts.load == main.parts.load or not metric.by_load:
        return first if cells[first].runs else None
    sibling = key_of(main.parts._replace(load=one.parts.load))
    return sibling if sibling in cells and cells[sibling].runs else None


def _judge(
    metric: Metric,
    cells: dict[str, Cell],
    by_key: Mapping[str, Configuration],
    first: str,
    confidence: float,
    seed: int,
) -> _Judged:
    differences: dict[str, Difference] = {}
    made: dict[str, Cell] = {}
    for key, cell in cells.items():
        against = _baseline_for(metric, by_key[key], by_key, cells, first)
        if not cell.runs:
            made[key] = cell
        elif key in (first, against):
            made[key] = replace(cell, verdict="baseline")
        elif against is None:
            made[key] = cell
        else:
            base = cells[against]
            made[key] = replace(cell, against=against, gain=_raw_gain(metric, cell, base), verdict="one run")
            if cell.at_most or base.at_most:
                made[key] = replace(made[key], verdict="upper bound")
            elif min(cell.runs, base.runs) > 1:
                differences[key] = _difference(metric, cell, base, confidence, seed)
    return _Judged(metric, made, differences)


def _difference(metric: Metric, cell: Cell, base: Cell, confidence: float, seed: int) -> Difference:
    resolution = resolution_of((*cell.values, *base.values))
    if metric.bootstrap and min(cell.runs, base.runs) >= FEWEST_RUNS:
        return bootstrap_difference(cell.values, base.values, confidence, resolution=resolution, seed=seed)
    return welch(cell.values, base.values, confidence, resolution=resolution)


def _has_percent(metric: Metric) -> bool:
    """A percentage means something only of a quantity with a true zero and a linear scale."""
    return metric.unit not in ("°C", "dB(A)", "%")


def _raw_gain(metric: Metric, cell: Cell, base: Cell) -> Gain:
    percent = percent_change(base.mean, cell.mean) if _has_percent(metric) else math.nan
    return Gain(absolute=cell.mean - base.mean, percent=percent)


def _corrected(judged: Sequence[_Judged], confidence: float, family: Family, seed: int) -> list[Row]:
    """Rows with verdicts after Holm's correction over each row or over the table."""
    families: list[list[tuple[int, str]]] = [[(i, key) for key in row.differences] for i, row in enumerate(judged)]
    if family == "table":
        families = [[place for group in families for place in group]]
    cells = [dict(row.cells) for row in judged]
    alpha = 1 - confidence
    for group in families:
        raw = [judged[i].differences[key] for i, key in group]
        for (i, key), one, adjusted in zip(group, raw, holm([item.p_value for item in raw]), strict=True):
            metric, cell = judged[i].metric, cells[i][key]
            base = cells[i][cell.against or ""]
            level = 1 - alpha / max(1.0, adjusted.factor)
            widened = _difference(metric, cell, base, level, seed) if adjusted.factor > 1 else one
            real = adjusted.p_value <= alpha and not math.isnan(adjusted.p_value)
            scale = 100 / abs(base.mean) if base.mean and _has_percent(metric) else math.nan
            gain = Gain(
                absolute=one.difference,
                percent=percent_change(base.mean, cell.mean) if _has_percent(metric) else math.nan,
                low=widened.low,
                high=widened.high,
                low_percent=widened.low * scale,
                high_percent=widened.high * scale,
                confidence=level,
                p_value=one.p_value,
                p_adjusted=adjusted.p_value,
                method=one.method,
            )
            verdict = _verdict(metric, one.difference) if real else "not shown"
            cells[i][key] = replace(cell, gain=gain, verdict=verdict, is_real=real)
    return [Row(row.metric, tuple(cells[i].values())) for i, row in enumerate(judged)]


def _verdict(metric: Metric, difference: float) -> Verdict:
    if not metric.better:
        return "higher" if difference > 0 else "lower"
    return "better" if (difference > 0) == (metric.better == "higher") else "worse"


def _correction_says(rows: Sequence[Row], confidence: float, family: Family) -> str:
    tested = [cell for row in rows for cell in row.cells if cell.gain and not math.isnan(cell.gain.p_value)]
    if not tested:
        return "No difference was tested: that takes at least two runs of a configuration and two of its baseline."
    percent = f"{100 * (1 - confidence):g} %"
    over = (
        "over the configurations within each metric"
        if family == "metric"
        else f"over all {len(tested)} tests of the table"
    )
    text = f"A difference is called real at a {percent} chance of error, corrected by Holm's method {over}"
    metrics = len({cell.metric for cell in tested})
    if family == "metric" and metrics > 1:
        text += f"; {metrics} metrics were each tested so: had nothing changed, about"
        text += f" {metrics * (1 - confidence):.1f} of them would still show a difference by chance"
    ways = {cell.gain.method for cell in tested if cell.gain}
    names = {"welch": "Welch's test", "bootstrap": "a studentised bootstrap over runs (lows)"}
    return f"{text}. By {' and '.join(names[way] for way in sorted(ways, reverse=True))}."


def _notes(rows: Sequence[Row], by_key: Mapping[str, Configuration], first: str, room: float | None) -> tuple[str, ...]:
    notes = []
    for key, one in by_key.items():
        differs = unlike(one, by_key[first]) if key != first else ()
        if differs:
            notes.append(f"{one.name} and the baseline differ in more than their settings: {'; '.join(differs)}.")
        if len(one.supplies) > 1 or len(one.drivers) > 1:
            mixed = " and ".join((*one.supplies[1:], *one.drivers[1:]))
            notes.append(f"{one.name}: its runs differ among themselves (also {mixed}).")
    single = sorted({cell.configuration for row in rows for cell in row.cells if cell.runs == 1})
    if single:
        who = ", ".join(by_key[key].name for key in single)
        notes.append(f"One run only, so no spread and nothing is called real there: {who}.")
    if any(row.metric.follows_room for row in rows):
        if room is None:
            spread = [ambient for one in by_key.values() for ambient in one.ambients]
            if spread and max(spread) - min(spread) > 0.5:
                notes.append(
                    f"Temperatures are as measured, in rooms of {min(spread):.1f} to {max(spread):.1f} °C: not alike."
                )
        else:
            notes.append(
                f"Temperatures are given for a room of {room:.1f} °C: each moved by the difference between that room"
                " and its own (steady state at constant power, JEDEC JESD51-1)."
            )
    return tuple(notes)
