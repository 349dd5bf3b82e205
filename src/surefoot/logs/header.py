"""Where the samples begin and what the columns are called, whatever stands before them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from surefoot.errors import BadInput
from surefoot.logs.dialect import value_share
from surefoot.logs.lines import Lines, split
from surefoot.logs.measures import measure, split_unit
from surefoot.logs.numbers import is_missing

HEAD = (60, 600)
"""Records looked at for the header, first and, when they hold none, at most: a longer preamble is not a log's."""


LONGEST_NAME = 2000
"""Characters of a column's name: what is longer is no header, and every rule for names would be tried on all of it."""


def refuse_endless(names: Sequence[str]) -> None:
    """Raises BadInput for a name that no logger and no hand would write."""
    longest = max((len(name) for name in names), default=0)
    if longest > LONGEST_NAME:
        raise BadInput(
            f"a column's name of {longest:,} characters: this is no header.",
            remedy="A log or table is a text file with a line of column names and, below it, a line each.",
        )


@dataclass(frozen=True)
class Header:
    """Names of the columns. ``texts``: unique header texts; ``names``, ``units``: taken apart, a unit "" where none is
    written; ``records``: indices of the header's records; ``first``: index of the first sample's record."""

    texts: tuple[str, ...]
    names: tuple[str, ...]
    units: tuple[str, ...]
    records: tuple[int, ...]
    first: int


def find_header(lines: Lines, delimiter: str, fields: int) -> Header | None:
    """Find the header of a file whose samples have ``fields`` cells; None when no line looks like a sample."""
    rows: list[list[str]] = []
    first = None
    # A last line that was cut off says nothing of the others.
    count = len(lines) - 1 if lines.cut and len(lines) > 2 else len(lines)
    for depth in HEAD:
        rows += [split(lines.text(index), delimiter) for index in range(len(rows), min(count, depth))]
        first = _first_sample(rows, fields)
        if first is not None:
            break
    if first is None:
        return None
    titles = _title_records(rows, first, fields)
    width = max([fields] + [len(rows[index]) for index in titles])
    names, units = _names_and_units([_stretched(rows[index], width) for index in titles], width)
    return Header(*_unique(names, units), tuple(titles), first)


def _first_sample(rows: list[list[str]], fields: int) -> int | None:
    near = [index for index, row in enumerate(rows) if abs(len(row) - fields) <= 1]
    judged = near[:: max(1, len(near) // 15)]
    body = sorted(
        share for share in (value_share(rows[index]) for index in judged if len(rows[index]) == fields) if share > 0
    )
    if not body:
        return None
    usual = body[int(0.6 * (len(body) - 1) + 0.5)]
    needed = max(0.25, 0.6 * usual)
    for index in near:
        share = value_share(rows[index])
        if share < needed or (len(rows[index]) != fields and share < 0.9):
            continue
        following = [other for other in range(index + 1, min(index + 8, len(rows))) if any(rows[other])][:5]
        alike = [
            other for other in following if abs(len(rows[other]) - fields) <= 1 and value_share(rows[other]) >= needed
        ]
        if not following or len(alike) * 2 >= len(following):
            return index
    return None


def _title_records(rows: list[list[str]], first: int, fields: int) -> list[int]:
    """The one to three records above the samples that name them, top first."""
    titles: list[int] = []
    index = first - 1
    while index >= 0 and not any(rows[index]):
        index -= 1
    while index >= 0 and len(titles) < 3:
        row = rows[index]
        there = [cell for cell in row if cell]
        near = abs(len(row) - fields) <= 1 or (not titles and len(row) >= max(2, fields // 2))
        if not there or not near or value_share(row) > 0.5:
            break
        if titles and ((len(there) < 2 and row[0]) or any(len(cell) > 60 or ": " in cell for cell in there)):
            break
        titles.insert(0, index)
        index -= 1
    return titles


def _stretched(row: list[str], width: int) -> list[str]:
    cells = [" ".join(cell.split()) for cell in row] + [""] * (width - len(row))
    cells[0] = cells[0].lstrip("#").strip() if cells[0] != "#" else cells[0]
    return cells


def _is_units_row(row: list[str]) -> bool:
    there = [cell for cell in row if not is_missing(cell)]
    known = sum(measure(cell) is not None for cell in there)
    return bool(there) and known >= max(1, 0.6 * len(there))


def _names_and_units(titles: list[list[str]], width: int) -> tuple[list[str], list[str]]:
    if not titles:
        return [""] * width, [""] * width
    units = [""] * width
    for place in (len(titles) - 1, 0):
        if len(titles) > 1 and _is_units_row(titles[place]):
            units = ["" if is_missing(cell) else cell.strip("[](){} ") for cell in titles.pop(place)]
            break
    names = titles.pop()
    for group in reversed(titles):
        spread, last = [], ""
        empty = sum(not cell for cell in group)
        for cell in group:
            last = cell or (last if empty else "")
            spread.append(last)
        names = [
            f"{above} {name}".strip() if above and above.lower() not in name.lower() else name
            for above, name in zip(spread, names, strict=True)
        ]
    return names, units


def _unique(names: list[str], units: list[str]) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """(texts, names, units): a text used twice gets a number, an empty one its place; units are taken out of names."""
    texts: list[str] = []
    plain: list[str] = []
    written: list[str] = []
    seen: Counter[str] = Counter()
    for place, (name, unit) in enumerate(zip(names, units, strict=True), start=1):
        short, own_unit = split_unit(name)
        text = (f"{name} [{unit}]" if unit else name) or f"column {place}"
        seen[text.lower()] += 1
        texts.append(text if seen[text.lower()] == 1 else f"{text} ({seen[text.lower()]})")
        plain.append(short)
        written.append(unit or own_unit)
    return tuple(texts), tuple(plain), tuple(written)
