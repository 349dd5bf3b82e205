"""How a file separates its cells and writes its decimals, found on a sample of its lines."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from surefoot.logs.lines import split
from surefoot.logs.numbers import Decimal, as_boolean, as_number, decimal_votes, is_missing
from surefoot.logs.problems import Ledger
from surefoot.logs.stamps import is_stamp

DELIMITERS = (",", ";", "\t", "|")
RARE_DELIMITERS = ("~", "^", "!", "&", "@", "$", "\x1f", "\x1e", "\x01")
"""Looked for where none of the common ones sets cells apart."""
_PLAIN = re.compile(r"^-?[0-9]{1,12}(?:[.,][0-9]{1,9})?$")
_JUDGED_CELLS = 24
_HINT = re.compile(r"^\W{0,2}sep=(.)\W?$", re.IGNORECASE)


@dataclass(frozen=True)
class Dialect:
    """``delimiter``: one character, or "" for a file of one column; ``fields``: cells of an ordinary line."""

    delimiter: str
    fields: int


def find_dialect(sample: list[str]) -> Dialect:
    """The delimiter under which most lines have the same number of cells and most cells are values."""
    if sample:
        hint = _HINT.match(sample[0])
        if hint:
            rows = [split(line, hint.group(1)) for line in sample[1:] if line.strip()]
            return Dialect(hint.group(1), _usual(rows))
    some = sample[:40] + sample[40 :: max(1, len(sample) // 20)]
    best, score = _best(some)
    # A long preamble may fill the first lines: then the whole sample is asked.
    if score <= 0.5 and len(some) < len(sample):
        best, score = _best(sample)
    if score <= 0.8:
        rare, rare_score = _best(sample, RARE_DELIMITERS)
        if rare.delimiter and rare_score > score + 0.1:
            return rare
    return best


def _best(sample: list[str], delimiters: Sequence[str] = DELIMITERS) -> tuple[Dialect, float]:
    best = Dialect("", 1)
    best_score = 0.0
    for delimiter in delimiters:
        rows = [split(line, delimiter) for line in sample if line.strip()]
        usual = _usual(rows)
        if usual < 2:
            continue
        alike = [row for row in rows if len(row) == usual]
        judged = (alike[1:] or alike)[:: max(1, len(alike) // 12)]
        valued = sum(value_share(row) for row in judged) / len(judged)
        score = len(alike) / len(rows) * (0.05 + valued) * (1 + min(usual, 20) / 100)
        if score > best_score:
            best, best_score = Dialect(delimiter, usual), score
    alone = [line for line in sample if line.strip()][:60]
    if alone and best_score < 0.3:
        valued = sum(value_share([line]) for line in alone) / len(alone)
        if valued > max(0.5, best_score):
            return Dialect("", 1), valued
    return best, best_score


def _usual(rows: list[list[str]]) -> int:
    """The commonest number of cells, more cells counting a little more; lines of one cell are preamble."""
    counts = Counter(len(row) for row in rows)
    if not counts:
        return 1
    many = {fields: number for fields, number in counts.items() if fields > 1}
    return max(many or counts, key=lambda fields: (counts[fields] * min(fields, 4) ** 0.5, fields))


def is_value(cell: str) -> bool:
    """Whether a cell holds a number, a time, or a word for yes or no (of more than one letter)."""
    if _PLAIN.match(cell):
        return True
    return as_number(cell) is not None or (len(cell) > 1 and as_boolean(cell) is not None) or is_stamp(cell)


def value_share(row: list[str]) -> float:
    """The share of the cells with something in them that are values; 0 when none has anything."""
    there = [cell for cell in row if cell and not is_missing(cell)]
    there = there[:: max(1, len(there) // _JUDGED_CELLS)]
    if not there:
        return 0.0
    return sum(is_value(cell) for cell in there) / len(there)


def find_decimal(columns: list[list[str]], delimiter: str, ledger: Ledger) -> tuple[Decimal, list[Decimal]]:
    """The decimal sign of the file, and of each column where its cells settle it otherwise.

    ``columns``: sample cells by column. A file in which nothing settles it, but whose numbers hold commas that could
    be either, is taken to have decimal commas unless the comma is its delimiter; this is said.
    """
    if not any("," in cell for cells in columns for cell in cells):
        return ".", ["."] * len(columns)
    votes = [decimal_votes(cells) for cells in columns]
    comma, point, maybe_comma, _ = (sum(vote[part] for vote in votes) for part in range(4))
    decimal: Decimal = "."
    if comma > point:
        decimal = ","
    elif not comma and not point and maybe_comma and delimiter != ",":
        decimal = ","
        ledger.ask("every comma in a number stands before three digits; taken as decimal commas, not thousands")
    own: list[Decimal] = []
    for sure_comma, sure_point, _, _ in votes:
        other: Decimal = "," if decimal == "." else "."
        for_other, for_file = (sure_comma, sure_point) if other == "," else (sure_point, sure_comma)
        own.append(other if for_other > for_file else decimal)
    return decimal, own
