"""Histories of virtual units with a slip of the hand in them: what a mistyped line does to a hand-kept table."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from knobs_bench import run_of

from surefoot.runs import Outcome, Run
from surefoot.units import Knob, Unit

KNOB = Knob("core", "cpu", "mV", "down", 5, 250)
UNIT = Unit(name="bench-unit", knobs=(KNOB,))


@dataclass(frozen=True)
class Row:
    """One line of the table: signed value, minutes, and whether it is written down as held."""

    value: float
    minutes: float
    held: bool


def true_rows(rng: np.random.Generator, edge: float, per_decade: float) -> list[Row]:
    """What somebody's evening comes to: stock, rungs until one fails, then holds near where they would settle."""
    rows = [Row(0.0, float(rng.choice([2, 5, 10, 30])), True)]
    rung = float(rng.choice([5, 10, 15, 20]))
    minutes = float(rng.choice([2, 4, 5, 10, 15]))
    depth, failed = 0.0, 0
    while depth + rung <= KNOB.limit and not failed:
        depth += rung
        rows.append(_run(rng, depth, minutes, edge, per_decade))
        failed += not rows[-1].held
    for _ in range(int(rng.integers(0, 5))):
        at = max(depth - rung * int(rng.integers(1, 4)), 0.0)
        rows.append(_run(rng, at, minutes * float(rng.choice([1, 2, 4])), edge, per_decade))
    return rows


def _run(rng: np.random.Generator, depth: float, minutes: float, edge: float, per_decade: float) -> Row:
    """A run at a hazard of 10 ** ((depth - edge) / per_decade) failures an hour."""
    lives = float(rng.exponential(60.0 / 10 ** ((depth - edge) / per_decade)))
    return Row(-depth, min(lives, minutes), lives >= minutes)


def _pick(rng: np.random.Generator, rows: list[Row]) -> int:
    return int(rng.integers(1, len(rows)))


def wrong_sign(rng: np.random.Generator, rows: list[Row]) -> list[Row]:
    """One value without its minus."""
    at = _pick(rng, rows)
    return [Row(-row.value, row.minutes, row.held) if place == at else row for place, row in enumerate(rows)]


def factor_ten(rng: np.random.Generator, rows: list[Row]) -> list[Row]:
    """One value with a nought too many or too few."""
    at, factor = _pick(rng, rows), float(rng.choice([10.0, 0.1]))
    return [Row(row.value * factor, row.minutes, row.held) if place == at else row for place, row in enumerate(rows)]


def minutes_times_ten(rng: np.random.Generator, rows: list[Row]) -> list[Row]:
    """One time with a nought too many."""
    at = _pick(rng, rows)
    return [Row(row.value, row.minutes * 10, row.held) if place == at else row for place, row in enumerate(rows)]


def doubled(rng: np.random.Generator, rows: list[Row]) -> list[Row]:
    """Some row, or all of the table, several times over."""
    if rng.random() < 0.5:
        return rows * int(rng.integers(2, 7))
    at = _pick(rng, rows)
    return [*rows, *[rows[at]] * int(rng.integers(1, 6))]


def contradicted(rng: np.random.Generator, rows: list[Row]) -> list[Row]:
    """One hold, or the same twice, that never was, anywhere in the knob's range."""
    row = Row(-float(rng.integers(1, 61) * 5), float(rng.choice([2, 5, 15, 60])), True)
    at = int(rng.integers(1, len(rows) + 1))
    return [*rows[:at], *[row] * int(rng.choice([1, 1, 2])), *rows[at:]]


def failure_as_held(rng: np.random.Generator, rows: list[Row]) -> list[Row]:
    """The first failure written down as held."""
    at = next((place for place, row in enumerate(rows) if not row.held), 0)
    return [Row(row.value, row.minutes, True) if place == at else row for place, row in enumerate(rows)]


SLIPS: dict[str, Callable[[np.random.Generator, list[Row]], list[Row]]] = {
    slip.__name__: slip for slip in (wrong_sign, factor_ten, minutes_times_ten, doubled, contradicted, failure_as_held)
}


def history(seed: int, name: str) -> tuple[float, list[Run]]:
    """A virtual unit's true edge (one failure an hour) and its table with one slip in it, as runs logged by hand."""
    rng = np.random.default_rng([seed, list(SLIPS).index(name)])
    edge = float(np.clip(rng.normal(110.0, 35.0), 20.0, 230.0))
    rows = SLIPS[name](rng, true_rows(rng, edge, float(rng.lognormal(np.log(5.0), 0.4))))
    runs = [
        run_of(number, {"core": row.value}, row.minutes, Outcome.HELD if row.held else Outcome.RESET, purpose="log")
        for number, row in enumerate(rows, start=1)
    ]
    return edge, [run.model_copy(update={"plan": run.plan.model_copy(update={"source": "hand"})}) for run in runs]
