"""A file that holds several logs, one below the other, each under a header of its own; and the width of its rows."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from surefoot.errors import BadInput
from surefoot.logs import words
from surefoot.logs.dialect import value_share
from surefoot.logs.header import Header
from surefoot.logs.lines import Lines, split
from surefoot.logs.measures import measure, split_unit
from surefoot.logs.numbers import is_missing
from surefoot.logs.problems import Ledger
from surefoot.logs.recognise import guess

_MOST_LOOKED_AT = 5000
MANY = 0.2  # share of odd rows from which on the header itself is in doubt


def other_headers(lines: Lines, delimiter: str, header: Header) -> list[int]:
    """Records below the first sample that name the columns anew, otherwise than the header in force there."""
    if not header.records or not delimiter or len(lines) - header.first < 3:
        return []
    own = _names(lines.text(header.records[-1]), delimiter)
    found = []
    for record in _unlike_samples(lines, header.first):
        cells = split(lines.text(record), delimiter)
        if not _names_columns(cells) or not _sample_below(lines, record, delimiter, len(cells)):
            continue
        names = _names(lines.text(record), delimiter)
        if names != own:
            found.append(record)
            own = names
    return found


def _names(text: str, delimiter: str) -> tuple[str, ...]:
    cells = [" ".join(cell.split()).lower() for cell in split(text.lstrip("#"), delimiter)]
    while cells and not cells[-1]:
        cells.pop()
    return tuple(cells)


def _unlike_samples(lines: Lines, first: int) -> list[int]:
    """Records that do not begin as samples mostly do, or do not end so: a few among very many."""
    buffer = np.frombuffer(lines.data, dtype=np.uint8)
    starts, ends = lines.starts[first:], lines.ends[first:]
    there = ends > starts
    heads = buffer[np.minimum(starts, buffer.size - 1)]
    quoted = heads == 34
    heads = np.where(quoted, buffer[np.minimum(starts + 1, buffer.size - 1)], heads)
    begins = (heads >= 48) & (heads <= 57)
    if begins[there].mean() >= 0.7:
        odd = there & ~begins
    else:
        tails = buffer[np.maximum(ends - 1, 0)]
        ends_well = (tails >= 48) & (tails <= 57)
        odd = there & ~ends_well if ends_well[there].mean() >= 0.7 else there
    places = np.flatnonzero(odd)
    return [] if places.size > _MOST_LOOKED_AT else (places + first).tolist()


def _names_columns(cells: Sequence[str]) -> bool:
    there = [cell for cell in cells if not is_missing(cell)]
    if len(there) < 2 or len(there) < 0.6 * len(cells) or value_share(list(cells)) > 0.2:
        return False
    if words.FOOTER.search(words.plain(there[0])) or any(len(cell) > 60 for cell in there):
        return False
    known = 0
    for cell in there:
        name, unit = split_unit(cell)
        found = guess(name, measure(unit) if unit else None, boolean=False)
        known += bool(found.quantity) or bool(words.TIME.search(words.plain(name)))
    return known >= max(1, 0.3 * len(there))


def _sample_below(lines: Lines, record: int, delimiter: str, cells: int) -> bool:
    for below in range(record + 1, min(record + 5, len(lines))):
        row = split(lines.text(below), delimiter)
        if abs(len(row) - cells) <= 1 and value_share(row) >= 0.5:
            return True
    return False


def check_width(
    lines: Lines, delimiter: str, header: Header, judged: Sequence[int], rows: Sequence[Sequence[str]], ledger: Ledger
) -> int | None:
    """How many cells the header has, so that more in a sample are one too many; None where it names none.

    Raises BadInput where many samples have more cells than the header, so that it cannot be told which belongs where.
    Where most have fewer, that is a question.
    """
    if not header.records or not delimiter:
        return None
    tops = [split(lines.text(record), delimiter) for record in header.records]
    cells = max(len(top) for top in tops)
    named = max(_filled(top) for top in tops)
    wide = [place for place, row in zip(judged, rows, strict=True) if _filled(row) > cells]
    if wide and len(wide) > MANY * len(rows):
        refuse_wide(lines, delimiter, wide[0], cells)
    narrow = [place for place, row in zip(judged, rows, strict=True) if len(row) < named]
    if narrow and len(narrow) > 0.5 * len(rows):
        row = split(lines.text(narrow[0]), delimiter)
        ledger.ask(
            f"{len(row)} cells under {named} names: taken as the first {len(row)}, the last not written",
            line=int(lines.numbers[narrow[0]]),
        )
    _ask_of_lone_units(lines, delimiter, header, tops[-1], rows, ledger)
    return cells


def refuse_wide(lines: Lines, delimiter: str, record: int, cells: int) -> None:
    """Raise BadInput for samples with more cells than the header names, saying what the first of them holds."""
    row = split(lines.text(record), delimiter)
    shown = " | ".join(row[:8]) + (" | ..." if len(row) > 8 else "")
    commas = delimiter == "," and sum(cell.isdigit() for cell in row) > 0.7 * len(row)
    why = " Numbers with decimal commas, between commas?" if commas else ""
    raise BadInput(
        f"line {int(lines.numbers[record])} has {len(row)} cells where the header names {cells}: {shown}.{why}",
        remedy="Which cell belongs to which name cannot be told. Export it with semicolons or tabs between the cells, "
        "or with decimal points; or give the header the names that are missing.",
    )


def _filled(row: Sequence[str]) -> int:
    count = len(row)
    while count and not row[count - 1]:
        count -= 1
    return count


def _ask_of_lone_units(
    lines: Lines, delimiter: str, header: Header, top: Sequence[str], rows: Sequence[Sequence[str]], ledger: Ledger
) -> None:
    """A header with a comma between name and unit has as many cells as samples with decimal commas have."""
    if delimiter != "," or len(header.records) > 1:
        return
    lone = [
        place
        for place in range(1, len(top))
        if measure(top[place]) is not None
        and not split_unit(top[place - 1])[1]
        and measure(top[place - 1]) is None
        and len(top[place - 1]) > 1
    ]
    whole = [
        place
        for place in lone
        if all(place < len(row) and row[place].isdigit() and _whole(row[place - 1]) for row in rows)
    ]
    if whole and len(whole) >= 0.5 * len(lone):
        place = whole[0]
        ledger.ask(
            f"{top[place - 1]!r} and {top[place]!r} stand in two cells: a unit behind a comma, and decimal commas "
            f"({rows[0][place - 1]},{rows[0][place]})?",
            line=int(lines.numbers[header.records[-1]]),
        )


def _whole(cell: str) -> bool:
    return cell.lstrip("+-").isdigit()
