"""Hand-kept tables of virtual units as text, and slips of the hand thrown at them.

A table is what somebody's evening comes to: stock, rungs down to the first failure, and a few holds further up. Rungs,
minutes, words, dates (to the minute, the day, or none), the knob (mV down, MHz up), the edge and its slope differ.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Final

import numpy as np

from surefoot.units import Knob, Unit

NOW: Final = datetime(2031, 5, 6, tzinfo=UTC)
KNOBS: Final = (Knob("cpu-core", "cpu", "mV", "down", 5, 250), Knob("gpu-core", "gpu", "MHz", "up", 15, 750))
DATE, VALUE, MINUTES, RESULT = range(4)
GOOD: Final = ("ok", "pass", "stable")
BAD: Final = ("crash", "did not pass", "failed", "reboot")

Row = tuple[str, ...]


@dataclass(frozen=True)
class Kept:
    """A table as it was kept. ``edge``: the unit's true edge, the depth of one failure an hour."""

    unit: Unit
    edge: float
    head: Row
    rows: tuple[Row, ...]

    def with_cell(self, at: int, column: int, cell: str) -> Kept:
        """A copy with one cell replaced."""
        row = (*self.rows[at][:column], cell, *self.rows[at][column + 1 :])
        return replace(self, rows=(*self.rows[:at], row, *self.rows[at + 1 :]))

    def with_head(self, column: int, text: str) -> Kept:
        """A copy with another heading."""
        return replace(self, head=(*self.head[:column], text, *self.head[column + 1 :]))

    def text(self) -> bytes:
        """The table as a file."""
        return "".join(";".join(row) + "\n" for row in (self.head, *self.rows)).encode()


def kept(rng: np.random.Generator) -> Kept:
    """A table without a slip."""
    knob = KNOBS[int(rng.random() < 0.25)]
    scale = knob.step / 5.0
    edge = float(np.clip(rng.normal(110.0, 35.0), 20.0, 230.0)) * scale
    per_decade = float(rng.lognormal(np.log(5.0), 0.4)) * scale
    rung = float(rng.choice([5, 10, 15, 20])) * scale
    minutes = float(rng.choice([2, 4, 5, 10, 15, 30]))
    runs = [(0.0, float(rng.choice([2, 5, 10, 30])), True)]

    def hold(depth: float, given: float) -> bool:
        lives = float(rng.exponential(60.0 / 10 ** ((depth - edge) / per_decade)))
        runs.append((depth, min(lives, given), lives >= given))
        return lives >= given

    depth = rung
    while hold(depth, minutes) and depth + rung <= knob.limit:
        depth += rung
    for _ in range(int(rng.integers(0, 5))):
        hold(max(depth - rung * int(rng.integers(1, 4)), 0.0), minutes * float(rng.choice([1, 2, 4])))
    good, bad = str(rng.choice(GOOD)), str(rng.choice(BAD))
    form = str(rng.choice(["%Y-%m-%d %H:%M", "%Y-%m-%d %H:%M", "%Y-%m-%d", " "]))
    moment, rows = NOW - timedelta(days=60), []
    for at, lasted, held in runs:
        moment += timedelta(minutes=lasted + float(rng.integers(2, 600)))
        rows.append((moment.strftime(form).strip(), _signed(knob.value_at(at)), f"{lasted:.1f}", good if held else bad))
    head = ("date", f"{knob.domain} core {knob.unit}", "minutes", "result")
    return Kept(Unit(name="bench", knobs=(knob,)), edge, head, tuple(rows))


def _signed(value: float) -> str:
    return f"{value:+g}" if value else "0"


def wrong_sign(rng: np.random.Generator, table: Kept, at: int) -> Kept:
    """The value on the other side of stock."""
    return table.with_cell(at, VALUE, _signed(-float(table.rows[at][VALUE])))


def no_sign(rng: np.random.Generator, table: Kept, at: int) -> Kept:
    """The value without its sign."""
    return table.with_cell(at, VALUE, table.rows[at][VALUE].lstrip("+-"))


def factor_ten(rng: np.random.Generator, table: Kept, at: int) -> Kept:
    """The value with a nought too many or too few."""
    return table.with_cell(at, VALUE, _signed(float(table.rows[at][VALUE]) * float(rng.choice([10, 0.1]))))


def wrong_digit(rng: np.random.Generator, table: Kept, at: int) -> Kept:
    """A digit of the value is another, or two have changed places."""
    text = list(table.rows[at][VALUE])
    digits = [place for place, sign in enumerate(text) if sign.isdigit()]
    if len(digits) > 1 and rng.random() < 0.5:
        one = digits[int(rng.integers(len(digits) - 1))]
        text[one], text[one + 1] = text[one + 1], text[one]
    else:
        text[digits[int(rng.integers(len(digits)))]] = str(rng.integers(10))
    return table.with_cell(at, VALUE, "".join(text))


def decimal_comma(rng: np.random.Generator, table: Kept, at: int) -> Kept:
    """One value or time with a comma for its point."""
    column = int(rng.choice([VALUE, MINUTES]))
    text = table.rows[at][column]
    return table.with_cell(at, column, text.replace(".", ",") if "." in text else f"{text},0")


def no_point(rng: np.random.Generator, table: Kept, at: int) -> Kept:
    """The point of a time left out: 30.0 is 300."""
    return table.with_cell(at, MINUTES, table.rows[at][MINUTES].replace(".", ""))


def seconds_for_minutes(rng: np.random.Generator, table: Kept, at: int) -> Kept:
    """One time in seconds among minutes."""
    return table.with_cell(at, MINUTES, f"{float(table.rows[at][MINUTES]) * 60:g}")


def all_in_seconds(rng: np.random.Generator, table: Kept, at: int) -> Kept:
    """Every time in seconds under a heading that says minutes."""
    rows = tuple((*row[:MINUTES], f"{float(row[MINUTES]) * 60:g}", *row[MINUTES + 1 :]) for row in table.rows)
    return replace(table, rows=rows)


def minutes_for_hours(rng: np.random.Generator, table: Kept, at: int) -> Kept:
    """Minutes under a heading that says hours."""
    return table.with_head(MINUTES, "hours")


def swapped_cells(rng: np.random.Generator, table: Kept, at: int) -> Kept:
    """Value and time of a row in each other's column, the sign gone with the value or not."""
    row, sign = list(table.rows[at]), table.unit.knobs[0].sign
    if rng.random() < 0.5:
        row[VALUE], row[MINUTES] = row[MINUTES], row[VALUE]
    else:
        row[VALUE], row[MINUTES] = _signed(sign * float(row[MINUTES])), row[VALUE].lstrip("+-")
    return replace(table, rows=(*table.rows[:at], tuple(row), *table.rows[at + 1 :]))


def swapped_headings(rng: np.random.Generator, table: Kept, at: int) -> Kept:
    """The headings of value and time in each other's place."""
    return table.with_head(VALUE, table.head[MINUTES]).with_head(MINUTES, table.head[VALUE])


def swapped_rows(rng: np.random.Generator, table: Kept, at: int) -> Kept:
    """A value, or a result, and that of the row below in each other's place."""
    at, column = min(at, len(table.rows) - 2), int(rng.choice([VALUE, RESULT]))
    upper, lower = table.rows[at][column], table.rows[at + 1][column]
    return table.with_cell(at, column, lower).with_cell(at + 1, column, upper)


def doubled(rng: np.random.Generator, table: Kept, at: int) -> Kept:
    """A row, or the whole table, several times over."""
    if rng.random() < 0.4:
        return replace(table, rows=table.rows * int(rng.integers(2, 7)))
    return replace(table, rows=(*table.rows, *[table.rows[at]] * int(rng.integers(1, 7))))


def late(rng: np.random.Generator, table: Kept, at: int) -> Kept:
    """A row at the end of the table, its date to come, of years ago, or missing."""
    when = str(rng.choice([f"{NOW + timedelta(days=40):%Y-%m-%d}", "2019-03-04", ""]))
    return replace(table, rows=(*table.rows[:at], *table.rows[at + 1 :], (when, *table.rows[at][1:])))


def contradictory(rng: np.random.Generator, table: Kept, at: int) -> Kept:
    """A hold, or the same twice, that never was, anywhere in the knob's range and a little past it."""
    knob = table.unit.knobs[0]
    depth = knob.step * int(rng.integers(1, int(knob.limit / knob.step) + 10))
    row = (table.rows[at][DATE], _signed(knob.value_at(depth)), f"{rng.choice([2, 5, 15, 60]):g}", "ok")
    return replace(table, rows=(*table.rows[:at], *[row] * int(rng.choice([1, 1, 2])), *table.rows[at:]))


def of_another_unit(rng: np.random.Generator, table: Kept, at: int) -> Kept:
    """One to three rows of another machine's table among them."""
    other = kept(rng)
    while other.unit != table.unit:
        other = kept(rng)
    first = int(rng.integers(len(other.rows)))
    rows = other.rows[first : first + int(rng.integers(1, 4))]
    return replace(table, rows=(*table.rows[:at], *rows, *table.rows[at:]))


def negated(rng: np.random.Generator, table: Kept, at: int) -> Kept:
    """A result with a not before it, or one too many."""
    said = table.rows[at][RESULT]
    return table.with_cell(at, RESULT, f"not {said}" if said in GOOD else f"no {said}")


def filled_down(rng: np.random.Generator, table: Kept, at: int) -> Kept:
    """The result of the row above: a failure written down as held, too."""
    return table.with_cell(max(at, 1), RESULT, table.rows[max(at, 1) - 1][RESULT])


def left_out(rng: np.random.Generator, table: Kept, at: int) -> Kept:
    """The first failure forgotten."""
    at = next((place for place, row in enumerate(table.rows) if row[RESULT] in BAD), at)
    return replace(table, rows=(*table.rows[:at], *table.rows[at + 1 :]))


SLIPS: Final[dict[str, Callable[[np.random.Generator, Kept, int], Kept]]] = {
    slip.__name__: slip
    for slip in (
        wrong_sign, no_sign, factor_ten, wrong_digit, decimal_comma, no_point, seconds_for_minutes, all_in_seconds,
        minutes_for_hours, swapped_cells, swapped_headings, swapped_rows, doubled, late, contradictory,
        of_another_unit, negated, filled_down, left_out,
    )
}  # fmt: skip


COLUMN_SLIPS: Final = ("all_in_seconds", "minutes_for_hours")
"""Not slips of a line: every time is sixty times what it was, consistently. What tells is the dates, where there are
any, and that half of the holds would be hours long."""
LINE_SLIPS: Final = tuple(sorted(set(SLIPS) - set(COLUMN_SLIPS)))


def slipped(seed: int, name: str) -> tuple[Kept, Kept]:
    """A table, and the same with a slip in it: in the first row, in the last, or anywhere, and in one of five tables
    another slip after it."""
    rng = np.random.default_rng([seed, sorted(SLIPS).index(name)])
    table = kept(rng)
    last = len(table.rows) - 1
    wrong = SLIPS[name](
        rng, table, [0, last, int(rng.integers(last + 1)), int(rng.integers(last + 1))][rng.integers(4)]
    )
    second = str(rng.choice(LINE_SLIPS))
    if rng.random() < 0.2:
        # What the first slip left may be no number that the second could change.
        with contextlib.suppress(ValueError):
            wrong = SLIPS[second](rng, wrong, int(rng.integers(len(wrong.rows))))
    return table, wrong
