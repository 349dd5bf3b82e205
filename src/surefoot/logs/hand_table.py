"""A hand-kept table of runs, understood: each row a run, or a problem with its line; what is not sure is said.

Nothing is silently dropped, and nothing unsure is silently taken: a doubt about a column stands with the column, one
about a row with the row, and whoever asked decides.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Final

from surefoot.errors import BadInput
from surefoot.logs.hand_columns import IGNORED, HandColumn, match_columns
from surefoot.logs.hand_dates import DateRead, read_dates
from surefoot.logs.hand_minutes import NO_UNIT, MinutesRead, read_minutes
from surefoot.logs.hand_outcomes import read_outcome
from surefoot.logs.hand_values import ValueRead, read_value
from surefoot.logs.numbers import Decimal, as_number
from surefoot.logs.tables import Table
from surefoot.runs import Outcome
from surefoot.units import Unit

UNTOLD_MINUTES: Final = 60.0
"""A failure of which no time is told is taken to have come within so long: a longer time would say less against the
depth."""
LENGTHS: Final = ("minutes", "hours", "seconds")


@dataclass(frozen=True, slots=True)
class HandRow:
    """A run as a row tells it. ``values``: signed offsets by knob; ``when``: without a zone where none was written;
    ``doubts``: what about it is not sure, in words; ``bare_length``: its minutes are a number whose unit the heading
    alone gives."""

    line: int
    values: Mapping[str, float]
    outcome: Outcome
    minutes: float
    when: datetime | None = None
    whole_day: bool = False
    load: str = ""
    note: str = ""
    ambient_celsius: float | None = None
    mode: str | None = None
    doubts: tuple[str, ...] = ()
    bare_length: bool = False


@dataclass(frozen=True, slots=True)
class HandProblem:
    """A row that is no run, and why."""

    line: int
    text: str

    def __str__(self) -> str:
        return f"line {self.line}: {self.text}"


@dataclass(frozen=True)
class HandTable:
    """``columns``: what each was taken as; ``doubts``: what about the columns is not sure, in words; ``readings``: how
    each wording of an outcome was read, in the order met."""

    columns: tuple[HandColumn, ...]
    rows: tuple[HandRow, ...]
    problems: tuple[HandProblem, ...]
    doubts: tuple[str, ...] = ()
    readings: Mapping[str, str] = field(default_factory=dict)


def read_hand_table(
    table: Table, unit: Unit, given: Mapping[str, str] | None = None, *, day_first: bool | None = None
) -> HandTable:
    """The runs of a table. ``given``: heading to meaning, which decides before the heading does.

    Raises BadInput for a heading or meaning that is not known, and when no column holds an outcome or a knob's value.
    """
    columns = match_columns(unit, table.header, given or {})
    places = {column.meaning: place for place, column in enumerate(columns) if column.meaning != IGNORED}
    if "outcome" not in places:
        raise BadInput(
            "no column says how the runs ended.", where="the table", remedy="Name it: --map 'HEADER=outcome'."
        )
    if not any(knob.name in places for knob in unit.knobs):
        raise BadInput(
            "no column holds the value of a knob.", where="the table", remedy="Name it: --map 'HEADER=KNOB-NAME'."
        )
    reader = _Reader(unit, columns, places, table, day_first)
    rows, problems = [], [HandProblem(problem.line or 0, problem.text) for problem in table.problems]
    for number, line in enumerate(table.lines):
        try:
            row = reader.row(number, line)
        except BadInput as error:
            problems.append(HandProblem(line, error.message()))
        else:
            if row is not None:
                rows.append(row)
    return HandTable(columns, tuple(rows), tuple(problems), tuple(reader.doubts()), reader.readings)


class _Reader:
    """The rows of one table, each read with its columns known whole."""

    def __init__(
        self,
        unit: Unit,
        columns: Sequence[HandColumn],
        places: Mapping[str, int],
        table: Table,
        day_first: bool | None,
    ) -> None:
        self.unit, self.columns, self.places, self.table = unit, columns, places, table
        self.decimal: Decimal = table.decimal
        self.dates: list[DateRead] = read_dates(self.cells("when"), day_first) if "when" in places else []
        self.values = {
            knob.name: [read_value(knob, cell, self.decimal) for cell in self.cells(knob.name)]
            for knob in unit.knobs
            if knob.name in places
        }
        self.readings: dict[str, str] = {}

    def cells(self, meaning: str) -> list[str]:
        return [row[self.places[meaning]] for row in self.table.rows]

    def doubts(self) -> list[str]:
        found = [
            f"{column.heading!r} names no unit; its numbers are taken as minutes"
            for column in self.columns
            if column.meaning == "minutes" and column.unit is None and self._bare(column.meaning)
        ]
        unsure = next((date for date in self.dates if date.moment and not date.sure), None)
        if unsure is not None:
            found.append(unsure.why)
        return found

    def _bare(self, meaning: str) -> bool:
        numbers = (as_number(cell, self.decimal) for cell in self.cells(meaning))
        return any(number is not None and not number.unit for number in numbers)

    def row(self, number: int, line: int) -> HandRow | None:
        cells = {meaning: self.table.rows[number][place].strip() for meaning, place in self.places.items()}
        if not any(cells.values()):
            return None
        doubts: list[str] = []
        outcome = self._outcome(cells["outcome"], doubts)
        turned: list[str] = []
        values = self._values(number, cells, outcome, doubts, turned)
        length = self._minutes(cells, outcome, doubts, turned)
        date = self.dates[number] if self.dates else DateRead(None)
        if date.why and date.moment is None:
            raise BadInput(date.why + ".", remedy="Write it as 2026-11-25 or 2026-11-25 14:30.")
        return HandRow(
            line,
            values,
            outcome,
            length.minutes or 0.0,
            date.moment,
            date.whole_day,
            cells.get("load", ""),
            "; ".join(filter(None, (cells.get("note", ""), *turned))),
            self._ambient(cells.get("ambient", "")),
            cells.get("mode") or None,
            tuple(doubts),
            length.bare,
        )

    def _outcome(self, cell: str, doubts: list[str]) -> Outcome:
        read = read_outcome(cell, self.columns[self.places["outcome"]].heading)
        if read.outcome is None:
            raise BadInput(f"the outcome {cell!r} is not understood." if cell else "how it ended is not said.")
        self.readings.setdefault(cell, read.outcome.value + ("" if read.sure else " ?"))
        if not read.sure:
            doubts.append(f"the outcome {cell!r} is taken as {read.outcome.value}, but {read.why}")
        return read.outcome

    def _values(
        self, number: int, cells: Mapping[str, str], outcome: Outcome, doubts: list[str], turned: list[str]
    ) -> dict[str, float]:
        found = {}
        for name, column in self.values.items():
            if not cells[name]:
                continue
            read, knob = column[number], self.unit.knob(name)
            failed = outcome.is_crash or outcome.is_soft
            if read.value is None and read.meant is not None and knob.is_voltage and failed:
                # Leaving a failure out for its sign would make the rest look better than it is.
                turned.append(f"{name} was written {cells[name]}, taken as {read.meant:+g}")
                found[name] = read.meant
                continue
            if read.value is None:
                remedy = f"Write {read.meant:+g} if that is meant." if read.meant is not None else None
                raise BadInput(f"{read.why}.", remedy=remedy)
            if knob.toward == "down" and read.value and not read.signed and _mostly_signed(column):
                doubts.append(f"{cells[name]!r} has no sign, and the others of {name} have; taken as {read.value:+g}")
            found[name] = read.value
        if not found:
            raise BadInput("no knob has a value.", remedy="Write 0 or stock for a run at stock.")
        return found

    def _minutes(self, cells: Mapping[str, str], outcome: Outcome, doubts: list[str], notes: list[str]) -> MinutesRead:
        meaning = next((name for name in LENGTHS if cells.get(name)), None)
        if meaning is None:
            if outcome is Outcome.HELD:
                raise BadInput("it held, but for how long is not said.")
            # Leaving a failure out would make the rest look better than it is.
            notes.append(f"when it failed is not said: within {UNTOLD_MINUTES:g} min, it was taken")
            return MinutesRead(UNTOLD_MINUTES)
        unit = self.columns[self.places[meaning]].unit
        read: MinutesRead = read_minutes(cells[meaning], unit, self.decimal)
        if read.minutes is None:
            raise BadInput(f"{read.why}.")
        # What a heading does not say is a doubt about the column, told once.
        if not read.sure and read.why != NO_UNIT:
            doubts.append(read.why)
        return read

    def _ambient(self, cell: str) -> float | None:
        if not cell:
            return None
        number = as_number(cell, self.decimal)
        if number is None or (number.measure and number.measure.family != "temperature"):
            raise BadInput(f"{cell!r} is not a temperature.")
        if number.measure is None:
            return number.value
        return number.value * number.measure.factor + number.measure.offset


def _mostly_signed(column: Sequence[ValueRead]) -> bool:
    there = [read for read in column if read.value]
    return 2 * sum(read.signed for read in there) > len(there)


def without_doubts(row: HandRow) -> HandRow:
    """The row as somebody confirmed it."""
    return replace(row, doubts=())
