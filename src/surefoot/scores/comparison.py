"""The comparison: metric by configuration, the difference to the baseline, and whether it is real."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from surefoot.errors import BadInput
from surefoot.scores.bootstrap import WithinLog
from surefoot.scores.cells import REAL, VERDICT_SAYS, Cell, Comparison, Family, Gain, LimiterShare, Row, Verdict
from surefoot.scores.comparison_words import correction_says, notes_of, taken_of
from surefoot.scores.configurations import Configuration, key_of
from surefoot.scores.design import Trial
from surefoot.scores.judging import Value, Verdictless, judge
from surefoot.scores.means import mean_of, percent_change
from surefoot.scores.metrics import Metric, Sample, in_order
from surefoot.scores.multiple import holm
from surefoot.scores.power import would_show
from surefoot.scores.rooms import refer_to_room
from surefoot.scores.sound import mean_level

__all__ = ["REAL", "VERDICT_SAYS", "Cell", "Comparison", "Family", "Gain", "LimiterShare", "Row", "Verdict", "compare"]


def compare(
    configurations: Sequence[Configuration],
    samples: Sequence[Sample],
    *,
    baseline: str | None = None,
    confidence: float = 0.95,
    room_celsius: float | None = None,
    family: Family = "metric",
    limiters: Sequence[LimiterShare] = (),
    trials: Sequence[Trial] = (),
    seed: int = 0,
) -> Comparison:
    """Compare configurations metric by metric with a baseline.

    ``baseline``: key; the first configuration when None. A configuration under another load is compared with the
    baseline's sibling under that load where the metric depends on the load. The unit of replication is the run: values
    of one run are averaged first. Runs that share the blocks of a trial with the baseline's are compared within them
    (``trials``: the plans, for how often was looked). Others are compared as independent: Welch's test for one
    configuration, many-to-one for several, the studentised bootstrap over runs for frame-time lows from eight runs a
    side on; what that shows must also stand against every drift that the order of the runs does not rule out. One run
    a side is never called a difference. ``family``: what the correction spans, the configurations within each
    ``metric``, or the whole ``table``. ``room_celsius``: the room that temperatures are re-referred to
    (`surefoot.scores.rooms`); None: as measured. Raises BadInput for an unknown baseline or a confidence outside 0.5
    to 1.
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
        kept: dict[str, list[Value]] = {}
        for key, one in by_key.items():
            values, notes = _one_value_a_run(metric, found[metric.name, key], room_celsius)
            left_out += [f"{one.name}: {note}" for note in notes if note not in left_out]
            cells[key] = _cell(metric, key, values, confidence)
            kept[key] = [one.judged for one in values]
        rows.append((metric, cells, kept))
    plans = {trial.number: trial for trial in trials}
    judged = [
        _judge(metric, cells, found_values, by_key, first, 1 - confidence, plans, seed)
        for metric, cells, found_values in rows
    ]
    corrected = _corrected(judged, 1 - confidence, family)
    return Comparison(
        configurations=tuple(configurations),
        baseline=first,
        rows=tuple(corrected),
        confidence=confidence,
        room_celsius=room_celsius,
        correction=correction_says(corrected, confidence, family),
        limiters=tuple(share for share in limiters if share.configuration in by_key),
        notes=notes_of(corrected, by_key, first, room_celsius),
        taken=taken_of(corrected, by_key),
        left_out=tuple(dict.fromkeys(left_out)),
    )


@dataclass(slots=True)
class _Value:
    value: float
    run_id: int | None
    at_most: bool
    within: WithinLog | None
    notes: tuple[str, ...]
    judged: Value


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
        within = one.within if len(members) == 1 else None
        # A run's number stands for its time where that is not known: the journal numbers runs as they are opened.
        at = one.at if one.at is not None or one.run_id is None else float(one.run_id)
        judged = Value(value, at, one.trial, one.block, one.ambient_celsius)
        values.append(_Value(value, one.run_id, at_most, within, notes, judged))
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
        order=tuple(one.judged.at for one in values),
        places=tuple(one.judged.place for one in values),
    )


@dataclass(slots=True)
class _Judged:
    """A row before correction over the table: the differences by configuration key, where any was tested."""

    metric: Metric
    cells: dict[str, Cell]
    differences: dict[str, Verdictless]


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
    values: Mapping[str, Sequence[Value]],
    by_key: Mapping[str, Configuration],
    first: str,
    alpha: float,
    trials: Mapping[int, Trial],
    seed: int,
) -> _Judged:
    made: dict[str, Cell] = {}
    tested: dict[str, list[str]] = defaultdict(list)
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
                tested[against].append(key)
    differences: dict[str, Verdictless] = {}
    for against, keys in tested.items():
        found = judge(
            values[against], {key: values[key] for key in keys},
            alpha=alpha, trials=trials, low=metric.bootstrap, seed=seed,
        )  # fmt: skip
        # Several baselines in one row (one a load): each answers for its share of the chance of error.
        differences.update({key: one.times(len(tested)) for key, one in found.items()})
    return _Judged(metric, made, {key: differences[key] for keys in tested.values() for key in keys})


def _raw_gain(metric: Metric, cell: Cell, base: Cell) -> Gain:
    percent = percent_change(base.mean, cell.mean) if metric.has_percent else math.nan
    return Gain(absolute=cell.mean - base.mean, percent=percent)


def _corrected(judged: Sequence[_Judged], alpha: float, family: Family) -> list[Row]:
    """Rows with verdicts, corrected over each row (as judged there) or over the table (Holm)."""
    adjusted = {(i, key): one.adjusted for i, row in enumerate(judged) for key, one in row.differences.items()}
    if family == "table":
        # What a row's own correction kept apart (an unequal spread) is kept: its answer, undone for its number.
        alone = {
            (i, key): max(one.p_value, one.adjusted / len(judged[i].differences))
            for i, row in enumerate(judged)
            for key, one in row.differences.items()
        }
        adjusted = dict(zip(alone, (one.p_value for one in holm(list(alone.values()))), strict=True))
    made = []
    for i, row in enumerate(judged):
        cells = dict(row.cells)
        for key, one in row.differences.items():
            base = cells[cells[key].against or ""]
            cells[key] = _said(row.metric, cells[key], base, one, adjusted[i, key], alpha)
        made.append(Row(row.metric, tuple(cells.values())))
    return made


def _said(metric: Metric, cell: Cell, base: Cell, one: Verdictless, adjusted: float, alpha: float) -> Cell:
    """The cell with its verdict and an interval that leaves out 0 exactly when the difference is called real."""
    level = alpha if one.level is None else one.level
    plain = adjusted <= level
    against_drift = one.drift_p if plain and not math.isnan(one.drift_p) else 0.0
    final = max(adjusted, against_drift)
    real = one.level is not None and final <= level and not math.isnan(adjusted)
    # The raw chance that this comparison had to stay below, everything counted in.
    needed = level * (one.p_value / final if final > 0 else 1.0)
    half = one.half(level, final) if one.level is not None else one.half(level, 1.0)
    difference = one.difference
    scale = 100 / abs(base.mean) if base.mean and metric.has_percent else math.nan
    by_drift = plain and against_drift > level
    error, degrees = (one.drift_error, one.drift_degrees) if by_drift else (one.error, one.degrees)
    shows = would_show(error, degrees, min(level, needed) if not by_drift else level)
    gain = Gain(
        absolute=difference,
        percent=difference * scale if scale == scale else math.nan,
        low=difference - half,
        high=difference + half,
        low_percent=(difference - half) * scale,
        high_percent=(difference + half) * scale,
        confidence=1 - level,
        p_value=one.p_value,
        p_adjusted=final,
        method=one.method,
        drift_p=one.drift_p,
        blocks=one.blocks,
        would_show=math.nan if real else shows,
        would_show_percent=math.nan if real else shows * scale,
    )
    verdict: Verdict = _verdict(metric, difference) if real else "not shown"
    if one.level is None:
        verdict = "unfinished"
    elif by_drift:
        verdict = "drifted" if one.drift and one.drift.seen else "could drift"
    outside = cell.runs - one.blocks if one.blocks else 0
    notes = cell.notes
    if outside > 0:
        notes += (f"judged by {one.blocks} blocks of a trial; {outside} more runs are in its mean alone",)
    return replace(cell, gain=gain, verdict=verdict, is_real=real, taken=one.taken, drift=one.drift, notes=notes)


def _verdict(metric: Metric, difference: float) -> Verdict:
    if not metric.better:
        return "higher" if difference > 0 else "lower"
    return "better" if (difference > 0) == (metric.better == "higher") else "worse"
