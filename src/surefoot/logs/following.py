"""One line at a time of a log that was recognised as a whole: for a log that is still being written. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from surefoot.logs.dialect import is_value
from surefoot.logs.imported import ImportedLog
from surefoot.logs.lines import split
from surefoot.logs.numbers import Decimal, as_boolean, as_number, is_missing
from surefoot.logs.plausible import outside
from surefoot.runs import Channel


@dataclass(frozen=True, slots=True)
class Place:
    """Where a channel stands in a line, and what brings its number to the canonical unit."""

    index: int
    channel: str
    quantity: str
    factor: float
    offset: float


@dataclass(frozen=True, slots=True)
class RowReader:
    """Reads single lines of a log by what was recognised of the whole. ``width``: cells of a line of samples."""

    delimiter: str
    decimal: Decimal
    width: int
    header: tuple[str, ...]
    places: tuple[Place, ...]

    @classmethod
    def of(cls, log: ImportedLog) -> RowReader:
        """The reader for lines of this log."""
        columns = log.latest or log.columns
        places = tuple(
            Place(column.index, column.channel, Channel.parse(column.channel).quantity, column.factor, column.offset)
            for column in columns
            if column.channel
        )
        return cls(
            delimiter=log.delimiter,
            decimal="," if log.decimal == "," else ".",
            width=max((column.index for column in columns), default=-1) + 1,
            header=tuple(column.header for column in columns),
            places=places,
        )

    @property
    def channels(self) -> tuple[str, ...]:
        """The channels that a line may tell."""
        return tuple(place.channel for place in self.places)

    def read(self, line: str) -> dict[str, float] | None:
        """The sample in one whole line; None for a line that is none: too short, too long, a header, a summary.

        A cell that holds nothing, or nothing that a sensor of its kind can say, is left out of the sample.
        """
        cells = split(line, self.delimiter)
        # A delimiter at the end of every line is one empty cell too many; a cell inserted is not to be trusted.
        if len(cells) == self.width + 1 and not cells[-1].strip():
            cells = cells[:-1]
        if len(cells) != self.width:
            return None
        sample: dict[str, float] = {}
        failed = 0
        for place in self.places:
            cell = cells[place.index].strip()
            if is_missing(cell):
                continue
            value = self._value(cell, place)
            if value is None:
                failed += 1
            elif not outside(place.quantity, np.array([value]))[0]:
                sample[place.channel] = value
        # A line of words under the columns of numbers is a header or a footer, whatever single cell of it reads.
        return sample if len(sample) > failed else None

    def _value(self, cell: str, place: Place) -> float | None:
        number = as_number(cell, self.decimal)
        if number is None:
            return as_boolean(cell) if place.quantity.endswith("flag") else None
        if number.measure is not None:
            return number.value * number.measure.factor + number.measure.offset
        return number.value * place.factor + place.offset

    def is_header(self, line: str) -> bool:
        """Whether a line looks like column names: several cells, hardly any of them a value."""
        cells = [cell for cell in split(line, self.delimiter) if cell.strip()]
        return len(cells) > 1 and sum(is_value(cell.strip()) for cell in cells) <= 0.2 * len(cells)

    def is_own_header(self, line: str) -> bool:
        """Whether a line repeats the header that this reader was made from."""
        cells = [" ".join(cell.split()).lower() for cell in split(line, self.delimiter)]
        own = [" ".join(text.split()).lower() for text in self.header]
        return _same_words(cells, own)


def _same_words(cells: Sequence[str], own: Sequence[str]) -> bool:
    # A name may have had its unit taken off, or a number added to tell it from another of the same name.
    return len(cells) == len(own) and all(a.startswith(b) or b.startswith(a) for a, b in zip(cells, own, strict=True))
