"""Any hand-kept table, as bytes, to a header and rows of texts: the same care as for logs, nothing understood yet."""

from __future__ import annotations

from dataclasses import dataclass

from surefoot.errors import BadInput
from surefoot.logs.dialect import find_decimal, find_dialect
from surefoot.logs.encoding import decode
from surefoot.logs.header import find_header, refuse_endless
from surefoot.logs.lines import Lines, index_lines, split
from surefoot.logs.numbers import Decimal, as_number, is_missing
from surefoot.logs.problems import Ledger, Problem

_SAMPLE = 300


@dataclass(frozen=True)
class Table:
    """A table as it stands in a file.

    ``header``: unique column texts; ``rows``: cells as texts, blanks and quotes off, one tuple a row as long as the
    header; ``lines``: line of each row; ``problems``: lines that are no rows; ``notes``: what was left out knowingly.
    """

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    problems: tuple[Problem, ...]
    lines: tuple[int, ...]
    decimal: Decimal
    delimiter: str
    encoding: str
    notes: tuple[str, ...] = ()

    def column(self, header: str) -> tuple[str, ...]:
        """The cells of one column. Raises BadInput naming the columns there are."""
        if header not in self.header:
            raise BadInput(f"there is no column {header!r}.", remedy="The columns: " + ", ".join(self.header) + ".")
        place = self.header.index(header)
        return tuple(row[place] for row in self.rows)

    def number(self, cell: str) -> float | None:
        """A cell of this table as a number, its decimal sign minded and a unit behind it left off; None when it is none
        or nothing is there."""
        if is_missing(cell):
            return None
        found = as_number(cell, self.decimal)
        return None if found is None else found.value


def read_table(data: bytes) -> Table:
    """Read any delimited table with a header. Raises BadInput for an empty file, no text, or no header and row."""
    ledger = Ledger()
    decoded = decode(data, ledger)
    lines = index_lines(decoded.utf8)
    texts = [lines.text(index) for index in range(len(lines))]
    dialect = find_dialect([text for text in texts if text.strip()][:_SAMPLE])
    rows = [split(text, dialect.delimiter) for text in texts]
    titles, names, first = _titles(lines, rows, dialect.delimiter, dialect.fields)
    refuse_endless(names)
    known = {tuple(rows[index]) for index in titles}
    kept: list[tuple[str, ...]] = []
    numbers: list[int] = []
    for index in range(first, len(rows)):
        cells, line = rows[index], int(lines.numbers[index])
        if not any(cells):
            continue
        if tuple(cells) in known:
            ledger.note(f"the header is repeated at line {line}.")
            continue
        if any(cells[len(names) :]):
            ledger.problem(f"{len(cells)} cells for {len(names)} columns: the row was left out.", line=line)
            continue
        kept.append(tuple((cells + [""] * len(names))[: len(names)]))
        numbers.append(line)
    if not kept:
        raise BadInput("the table has no rows.", remedy="Give a line of column names and, below it, a row each.")
    width = len(names)
    while width > 1 and names[width - 1].startswith("column ") and not any(row[width - 1] for row in kept):
        width -= 1  # the lines end in their delimiter
    kept = [row[:width] for row in kept]
    decimal, _ = find_decimal([[row[place] for row in kept] for place in range(width)], dialect.delimiter, ledger)
    return Table(
        names[:width], tuple(kept), ledger.in_order(), tuple(numbers), decimal, dialect.delimiter, decoded.name,
        tuple(ledger.notes),
    )  # fmt: skip


def _titles(
    lines: Lines, rows: list[list[str]], delimiter: str, fields: int
) -> tuple[tuple[int, ...], tuple[str, ...], int]:
    """(header records, column texts, first row). A table of words has no line that looks like values: then the first
    line as wide as the table is its header."""
    header = find_header(lines, delimiter, fields)
    if header is not None and header.records:
        return header.records, header.texts, header.first
    wide = [index for index, row in enumerate(rows) if len(row) >= max(1, fields - 1) and any(row)]
    if not wide:
        raise BadInput("no header was found.", remedy="Give a line of column names and, below it, a row each.")
    top = wide[0]
    seen: dict[str, int] = {}
    names = []
    for place, cell in enumerate(rows[top] + [""] * (fields - len(rows[top])), start=1):
        text = cell.lstrip("#").strip() or f"column {place}"
        seen[text] = seen.get(text, 0) + 1
        names.append(text if seen[text] == 1 else f"{text} ({seen[text]})")
    return (top,), tuple(names), top + 1
