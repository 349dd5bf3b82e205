"""The configuration that does best on one measure while keeping a share of another, and how sure that is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from surefoot.errors import AnswerIsNo, BadInput
from surefoot.runs import Floats
from surefoot.scores.comparison import Cell, Comparison, Row
from surefoot.scores.configurations import Configuration, short_names
from surefoot.scores.means import resolution_of

Goal = Literal["coolest", "quietest", "fastest", "leanest"]
Against = Literal["best", "baseline"]

GOALS: tuple[Goal, ...] = ("coolest", "quietest", "fastest", "leanest")
DRAWS = 20_000

_Pair = tuple[Configuration, Cell, Cell]
"""A configuration with its cell of the goal's measure and of the metric to be kept."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """How one configuration stands.

    ``value``: on the measure of the goal, its unit; ``share``: of the reference that it keeps, 1 is all of it;
    ``keeps``: whether the share is kept by the means; ``chance_keeps``: that it is truly kept; ``chance_best``: that it
    keeps the share and is truly the best of those that do. Both None where the spread of a value is not known (one
    run).
    """

    configuration: str
    name: str
    short_name: str
    value: float
    share: float
    keeps: bool
    chance_keeps: float | None
    chance_best: float | None
    runs: int


@dataclass(frozen=True, slots=True)
class Cost:
    """What the chosen one gives up on a measure against the baseline: ``words`` with the figure and how sure it is."""

    metric: str
    label: str
    absolute: float
    percent: float
    is_real: bool
    words: str


@dataclass(frozen=True, slots=True)
class Choice:
    """The configuration named, why, how sure, and what it costs.

    ``measure``, ``of``: names of the metrics used; ``keeping``: the share asked for; ``reference``: the value of ``of``
    that is the whole; ``reference_name``: whose it is; ``candidates``: all of them, the best first; ``notes``:
    cautions.
    """

    goal: Goal
    measure: str
    measure_label: str
    measure_unit: str
    measure_decimals: int
    of: str
    of_label: str
    keeping: float
    against: Against
    reference: float
    reference_name: str
    chosen: Candidate
    candidates: tuple[Candidate, ...]
    costs: tuple[Cost, ...]
    gains: tuple[Cost, ...]
    sentence: str
    notes: tuple[str, ...]


def choose(
    comparison: Comparison,
    goal: Goal,
    *,
    keeping: float = 0.97,
    of: str | None = None,
    measure: str | None = None,
    against: str = "best",
    seed: int = 0,
) -> Choice:
    """Name the configuration that does best for a goal while keeping a share of another metric.

    ``keeping``: 0 to 1 of the reference: the best mean of ``of`` there is, or the baseline's with ``against``. ``of``:
    a metric's name or label, of which more is better; the first score when None. ``measure``: what the goal is measured
    by; by default the temperature, sound level (else fan speed), score or power that most configurations have. Chances
    come from draws of the true means, each a t distribution about the measured mean (the same reference is drawn with
    them); metrics are drawn independently. Raises BadInput for an unknown metric or a share outside 0 to 1, AnswerIsNo
    when nothing keeps the share, nothing was measured, or there is only one to take.
    """
    if not 0 < keeping <= 1:
        raise BadInput(f"a share of {keeping:g} cannot be kept.", remedy="Give a share from 0 to 1, or 1% to 100%.")
    whose = _against(against)
    kept_row = _row(comparison, of) if of else _speed_row(comparison)
    goal_row = _row(comparison, measure) if measure else _goal_row(comparison, goal, kept_row)
    sign = _direction(goal_row, goal)
    if not kept_row.metric.better:
        raise BadInput(f"{kept_row.metric.label} has no better side, so no share of it can be kept.", where="--of")
    pairs, aside = _pairs(comparison, goal_row, kept_row)
    if not pairs:
        raise AnswerIsNo(
            f"no configuration has both {goal_row.metric.label} and {kept_row.metric.label}.",
            remedy="Measure both in the same configurations, see `surefoot compare`.",
        )
    if len(comparison.configurations) == 1:
        raise AnswerIsNo(
            f"there is nothing to choose between: {pairs[0][0].name} is the only configuration measured.",
            remedy="Measure another configuration with `surefoot measure`, or see `surefoot configs`.",
        )
    higher = kept_row.metric.better == "higher"
    reference_at = _reference(comparison, [pair[0].key for pair in pairs], [pair[2] for pair in pairs], whose, higher)
    kept_means = np.array([pair[2].mean for pair in pairs])
    shares = _shares(kept_means, kept_means[reference_at], higher)
    keeps = shares >= keeping - 1e-12
    if not keeps.any():
        raise AnswerIsNo(
            f"no configuration keeps {100 * keeping:g} % of {kept_row.metric.label} of {pairs[reference_at][0].name}.",
            remedy=f"The most that is kept is {100 * shares.max():.1f} %.",
        )
    values = np.array([pair[1].mean for pair in pairs])
    chances = _chances(pairs, kept_row, goal_row, reference_at, keeping, sign, higher, seed)
    order = sorted(range(len(pairs)), key=lambda i: (not keeps[i], -sign * values[i], i))
    short = short_names(comparison.configurations)
    candidates = tuple(
        Candidate(
            configuration=pairs[i][0].key,
            name=pairs[i][0].name,
            short_name=short[pairs[i][0].key],
            value=float(values[i]),
            share=float(shares[i]),
            keeps=bool(keeps[i]),
            chance_keeps=chances[0][i],
            chance_best=chances[1][i],
            runs=min(pairs[i][1].runs, pairs[i][2].runs),
        )
        for i in order
    )
    chosen = candidates[0]
    costs, gains = _costs(comparison, chosen.configuration)
    return Choice(
        goal=goal,
        measure=goal_row.metric.name,
        measure_label=goal_row.metric.label,
        measure_unit=goal_row.metric.unit,
        measure_decimals=goal_row.metric.decimals,
        of=kept_row.metric.name,
        of_label=kept_row.metric.label,
        keeping=keeping,
        against=whose,
        reference=float(kept_means[reference_at]),
        reference_name=pairs[reference_at][0].name,
        chosen=chosen,
        candidates=candidates,
        costs=costs,
        gains=gains,
        sentence=_sentence(goal, chosen, goal_row, kept_row, pairs[reference_at][0].name),
        notes=(*aside, *_notes(comparison, pairs, candidates, goal_row, kept_row)),
    )


def goal_named(names: Sequence[str]) -> Goal:
    """The one goal asked for. Raises BadInput for none or several."""
    wanted = [goal for goal in GOALS if goal in names]
    if len(wanted) != 1:
        raise BadInput(
            "say one thing to choose by." if not wanted else f"{' and '.join(wanted)} cannot both be had.",
            remedy="One of " + ", ".join(f"--{goal}" for goal in GOALS) + "; --keeping says what must not be lost.",
        )
    return wanted[0]


def _against(text: str) -> Against:
    if text == "best":
        return "best"
    if text == "baseline":
        return "baseline"
    raise BadInput(f"{text!r} is neither 'best' nor 'baseline'.", where="--against")


def _row(comparison: Comparison, name: str) -> Row:
    row = comparison.row(name)
    if row is not None:
        return row
    folded = [one for one in comparison.rows if name.casefold() in one.metric.name.casefold()]
    if len(folded) == 1:
        return folded[0]
    there = "; ".join(one.metric.name for one in comparison.rows) or "none"
    raise BadInput(f"there is no metric {name!r}.", remedy=f"Those measured: {there}.")


def _pairs(comparison: Comparison, goal_row: Row, kept_row: Row) -> tuple[list[_Pair], list[str]]:
    """The configurations that have both measures, under one load where a measure depends on it; and what was left out.

    A score that does not depend on the load held may come from the same setting, mode and cooling under another load.
    """
    goal_cells = {cell.configuration: cell for cell in goal_row.cells if cell.runs}
    kept_cells = {cell.configuration: cell for cell in kept_row.cells if cell.runs}
    load = comparison.configuration(comparison.baseline).parts.load
    by_load = goal_row.metric.by_load or kept_row.metric.by_load
    pairs: list[_Pair] = []
    notes, elsewhere, incomplete = [], 0, 0
    for one in comparison.configurations:
        if by_load and one.parts.load != load:
            elsewhere += one.key in goal_cells
            continue
        kept = kept_cells.get(one.key)
        if kept is None and not kept_row.metric.by_load:
            alike = [
                kept_cells[other.key]
                for other in comparison.configurations
                if other.key in kept_cells and other.parts._replace(load=None) == one.parts._replace(load=None)
            ]
            kept = alike[0] if len(alike) == 1 else None
        if one.key in goal_cells and kept is not None:
            pairs.append((one, goal_cells[one.key], kept))
        else:
            incomplete += 1
    if elsewhere:
        notes.append(f"{elsewhere} under other loads than the baseline's ({load or 'not known'}) left out: not alike.")
    if incomplete:
        notes.append(f"{incomplete} without both measures left out.")
    return pairs, notes


def _measured(row: Row) -> int:
    return sum(1 for cell in row.cells if cell.runs)


def _first(rows: Sequence[Row]) -> Row | None:
    """The row that most configurations have; the first of equals."""
    return max(rows, key=_measured, default=None)


def _speed_row(comparison: Comparison) -> Row:
    for group in ("score", "frames"):
        rows = [
            row
            for row in comparison.rows
            if row.metric.group == group and (group == "score" or "low" not in row.metric.label)
        ]
        found = _first([row for row in rows if row.metric.better and row.metric.unit != "%"])
        if found:
            return found
    clock = _first([row for row in comparison.rows if row.metric.group == "clock"])
    if clock:
        return clock
    raise AnswerIsNo(
        "no score, frame rate or clock was measured, so no share of one can be kept.",
        remedy="Add one with `surefoot score`, or name a metric with --of.",
    )


def _goal_row(comparison: Comparison, goal: Goal, kept: Row) -> Row:
    if goal == "fastest":
        return kept
    rows = comparison.rows
    wanted: list[Row | None]
    if goal == "coolest":
        whole = [row for row in rows if row.metric.group == "temperature" and row.metric.name.count(".") == 1]
        wanted = [
            _first([row for row in whole if " " not in row.metric.name]),
            _first([row for row in rows if row.metric.group == "temperature"]),
            _first([row for row in rows if row.metric.group == "surface"]),
        ]
        remedy = "Add a trace (`surefoot measure`, `surefoot trace import`) or a surface reading."
    elif goal == "quietest":
        under_load = [row for row in rows if row.metric.name.startswith("sound.load")]
        wanted = [_first(under_load), _first([row for row in rows if row.metric.group in ("sound", "fan")])]
        remedy = "Add a level with `surefoot reading UNIT sound`, or a trace with the fan's speed."
    else:
        wanted = [
            _first([row for row in rows if row.metric.name.startswith("wall-power.load")]),
            _first([row for row in rows if row.metric.name == "package power"]),
            _first([row for row in rows if row.metric.group == "power" and row.metric.unit == "W"]),
        ]
        remedy = "Add wall power with `surefoot reading UNIT wall-power`, or a trace with power."
    for row in wanted:
        if row is not None:
            return row
    raise AnswerIsNo(f"nothing was measured by which a configuration could be the {goal}.", remedy=remedy)


def _direction(row: Row, goal: Goal) -> int:
    """+1 where more is better. Power has no better side of its own, but a lean setting wants less of it."""
    if row.metric.better:
        return 1 if row.metric.better == "higher" else -1
    return 1 if goal == "fastest" else -1


def _reference(
    comparison: Comparison, keys: Sequence[str], cells: Sequence[Cell], against: Against, higher: bool
) -> int:
    if against == "baseline":
        if comparison.baseline not in keys:
            raise AnswerIsNo("the baseline has no value to keep a share of.", remedy="Choose another baseline.")
        return keys.index(comparison.baseline)
    means = [cell.mean for cell in cells]
    return int(np.argmax(means) if higher else np.argmin(means))


def _shares(values: Floats, reference: Floats | float, higher: bool) -> Floats:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(values / reference if higher else reference / values, dtype=np.float64)


def _spread(cell: Cell) -> float:
    """The sd of a cell of several runs; values read alike are taken to spread by their rounding."""
    return max(cell.sd, resolution_of(cell.values) / math.sqrt(12))


def _draws(cell: Cell, cells: Sequence[Cell], rng: np.random.Generator) -> Floats | None:
    """Draws of the true mean, shape (DRAWS,); for one run with the spread of the others, relative to their means.

    None where no other has several runs either.
    """
    if cell.runs > 1:
        return np.asarray(cell.mean + _spread(cell) / math.sqrt(cell.runs) * rng.standard_t(cell.runs - 1, DRAWS))
    others = [other for other in cells if other.runs > 1 and other.mean]
    degrees = sum(other.runs - 1 for other in others)
    if not degrees:
        return None
    relative = math.sqrt(sum((other.runs - 1) * (_spread(other) / other.mean) ** 2 for other in others) / degrees)
    return np.asarray(cell.mean + abs(cell.mean) * relative * rng.standard_t(degrees, DRAWS))


def _chances(
    pairs: Sequence[_Pair],
    kept_row: Row,
    goal_row: Row,
    reference_at: int,
    keeping: float,
    sign: int,
    higher: bool,
    seed: int,
) -> tuple[list[float | None], list[float | None]]:
    """The chances that each keeps the share, and that it is the best of those that do.

    A configuration of one run takes part as a rival, with a borrowed spread, but no chance is given for it or where the
    reference itself is one run.
    """
    rng = np.random.default_rng(seed)
    kept_cells, goal_cells = [pair[2] for pair in pairs], [pair[1] for pair in pairs]
    kept = [_draws(cell, kept_cells, rng) for cell in kept_cells]
    same = kept_row.metric.name == goal_row.metric.name
    goal = kept if same else [_draws(cell, goal_cells, rng) for cell in goal_cells]
    reference = kept[reference_at]
    chance_keeps: list[float | None] = [None] * len(pairs)
    chance_best: list[float | None] = [None] * len(pairs)
    if reference is None or kept_cells[reference_at].runs < 2:
        return chance_keeps, chance_best
    keeps = []
    for i, drawn in enumerate(kept):
        if drawn is None:
            return chance_keeps, chance_best
        keeps.append(np.ones(DRAWS, dtype=bool) if i == reference_at else _shares(drawn, reference, higher) >= keeping)
        if kept_cells[i].runs > 1:
            chance_keeps[i] = float(keeps[i].mean())
    if any(drawn is None for drawn in goal):
        return chance_keeps, chance_best
    stacked = np.stack([np.where(keeps[i], sign * np.asarray(goal[i]), -np.inf) for i in range(len(pairs))])
    best = stacked.argmax(axis=0)
    some = np.isfinite(stacked.max(axis=0))
    for i in range(len(pairs)):
        if min(kept_cells[i].runs, goal_cells[i].runs) > 1:
            chance_best[i] = float(np.mean((best == i) & some))
    return chance_keeps, chance_best


_UNSURE = {"one run": " (one run)", "upper bound": " (an upper bound)"}
_SHOWN = ("score", "frames", "efficiency", "temperature", "surface", "sound", "fan", "power")


def _costs(comparison: Comparison, key: str) -> tuple[tuple[Cost, ...], tuple[Cost, ...]]:
    """What is worse and what is better than the baseline, by the means; the real ones first."""
    costs: list[Cost] = []
    gains: list[Cost] = []
    for row in comparison.rows:
        cell = next(cell for cell in row.cells if cell.configuration == key)
        gain, metric = cell.gain, row.metric
        if gain is None or metric.group not in _SHOWN or not metric.main or gain.absolute == 0:
            continue
        better = metric.better or "lower"
        figure = (
            f"{gain.percent:+.1f} %"
            if math.isfinite(gain.percent)
            else f"{gain.absolute:+.{metric.decimals}f} {metric.unit}"
        )
        sure = "" if cell.is_real else _UNSURE.get(cell.verdict, " (not shown to be real)")
        made = Cost(
            metric.name, metric.label, gain.absolute, gain.percent, cell.is_real, f"{metric.label} {figure}{sure}"
        )
        (gains if (gain.absolute > 0) == (better == "higher") else costs).append(made)
    costs.sort(key=lambda one: not one.is_real)
    gains.sort(key=lambda one: not one.is_real)
    return tuple(costs), tuple(gains)


def _sentence(goal: Goal, chosen: Candidate, goal_row: Row, kept_row: Row, reference: str) -> str:
    value = f"{chosen.value:.{goal_row.metric.decimals}f} {goal_row.metric.unit}"
    if goal_row.metric.name == kept_row.metric.name:
        text = f"{chosen.name} is the {goal}: {value} {kept_row.metric.label}"
    else:
        text = (
            f"{chosen.name} is the {goal}: {value} ({goal_row.metric.label}), keeping {100 * chosen.share:.1f} % of"
            f" {kept_row.metric.label} of {reference}"
        )
    if chosen.chance_keeps is None:
        return f"{text}. How sure cannot be said: one run gives no spread."
    sure = f"{text}. Chance that it keeps the share: {_percent(chosen.chance_keeps)}"
    if chosen.chance_best is not None:
        sure += f"; that it is also the best of those that do: {_percent(chosen.chance_best)}"
    return f"{sure}."


def _percent(chance: float) -> str:
    """A chance from draws, never 0 or 100 %."""
    if chance > 0.999:
        return "over 99.9 %"
    return "under 0.1 %" if chance < 0.001 else f"{100 * chance:.3g} %"


def _notes(
    comparison: Comparison,
    pairs: Sequence[_Pair],
    candidates: Sequence[Candidate],
    goal_row: Row,
    kept_row: Row,
) -> tuple[str, ...]:
    notes = []
    single = [one.name for one in candidates if one.runs == 1]
    if single:
        notes.append(
            f"One run only, so no chance is given: {', '.join(single)}. As rivals they borrow the others' spread."
        )
    if any(cell.at_most for _, cell, _ in pairs):
        notes.append("Some sound levels are upper bounds, too near the background.")
    if goal_row.metric.follows_room and comparison.room_celsius is None:
        notes.append("Temperatures are as measured, not for one room temperature.")
    if goal_row.metric.name != kept_row.metric.name:
        notes.append("The two measures are drawn as independent of each other.")
    return tuple(notes)
