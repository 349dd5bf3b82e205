"""Columns set apart by blanks alone, brought to tabs."""

from __future__ import annotations

import re
from collections import Counter
from itertools import pairwise

from surefoot.errors import BadInput
from surefoot.logs.dialect import is_value, value_share
from surefoot.logs.measures import measure
from surefoot.logs.numbers import as_number
from surefoot.logs.problems import Ledger
from surefoot.logs.stamps import match_stamp

_GAP = re.compile(r"\s{2,}")
_TOKEN = re.compile(r"\S+")
Piece = tuple[int, int, str]


def from_aligned(utf8: bytes, ledger: Ledger) -> bytes | None:
    """The same lines with a tab between cells, as many lines as before; None when blanks do not set columns apart.

    A line with a cell missing is read by where its cells stand; one that cannot be is told and left empty.
    """
    lines = utf8.decode("utf-8", errors="replace").split("\n")
    pieces = [_pieces(line.rstrip()) for line in lines]
    sampled = [row for row in pieces if len(row) > 1][:200]
    valued = [row for row in sampled if value_share([text for _, _, text in row]) > 0.5]
    if len(valued) < 2:
        return None
    fields, count = Counter(len(row) for row in valued).most_common(1)[0]
    if fields < 2 or count < 0.5 * len(valued):
        return None
    full = [row for row in pieces if len(row) == fields and value_share([text for _, _, text in row]) > 0.5]
    spans = [(min(row[place][0] for row in full), max(row[place][1] for row in full)) for place in range(fields)]
    first = next(place for place, row in enumerate(pieces) if row in full[:1])
    out: list[str] = []
    unread: list[int] = []
    for place, (line, row) in enumerate(zip(lines, pieces, strict=True)):
        if not row:
            out.append("")
        elif place < first:
            out.append(_header(line.rstrip(), fields, spans))
        elif len(row) == fields:
            out.append("\t".join(text for _, _, text in row))
        else:
            cells = _by_place(row, spans)
            if place == len(lines) - 1 and cells is not None:
                cells[max(here for here, text in enumerate(cells) if text)] = ""
                ledger.problem(
                    f"the last line was cut off after {len(row)} of {fields} cells; the last cell was left out.",
                    line=place + 1,
                )
            if cells is None:
                unread.append(place + 1)
            out.append("\t".join(cells) if cells else "")
    if unread:
        if len(unread) > 0.2 * len(lines):
            raise BadInput(
                f"line {unread[0]}: blanks set its cells apart, and there are not {fields} as in other lines.",
                remedy="Export it with commas, semicolons or tabs between the cells.",
            )
        ledger.many(f"not {fields} cells between blanks: the line was left out", unread)
    ledger.note("the columns are set apart by blanks.")
    return "\n".join(out).encode()


def _pieces(line: str) -> list[Piece]:
    """The cells of a line, with where they stand; date and time, and a number and its unit, stay together."""
    found: list[Piece] = [(match.start(), match.end(), match.group()) for match in _TOKEN.finditer(line)]
    joined: list[Piece] = []
    for start, end, text in found:
        if joined:
            before = joined[-1]
            alone = start - before[1] == 1
            both = f"{before[2]} {text}"
            dated = alone and len(joined) == 1 and match_stamp(both) is not None and match_stamp(before[2]) is not None
            unit = alone and measure(text) is not None and as_number(before[2]) is not None
            if dated or (unit and not is_value(text)):
                joined[-1] = (before[0], end, both)
                continue
        joined.append((start, end, text))
    return joined


def _header(line: str, fields: int, spans: list[tuple[int, int]]) -> str:
    wide = [text for text in _GAP.split(line.strip()) if text]
    if len(wide) == fields:
        return "\t".join(wide)
    tokens = line.split()
    if len(tokens) == fields:
        return "\t".join(tokens)
    # Names of several words over columns of numbers: cut where the columns part.
    between = [(left[1] + right[0] + 1) // 2 for left, right in pairwise(spans)]
    cuts = [0, *between, max(len(line), spans[-1][1])]
    cells = [line[start:end].strip() for start, end in pairwise(cuts)]
    clean = all(cut >= len(line) or line[cut - 1].isspace() or line[cut].isspace() for cut in between)
    return "\t".join(cells) if clean and all(cells) else line


def _by_place(row: list[Piece], spans: list[tuple[int, int]]) -> list[str] | None:
    if len(row) > len(spans):
        return None
    cells = [""] * len(spans)
    for start, end, text in row:
        over = [place for place, (left, right) in enumerate(spans) if start < right and end > left]
        if len(over) != 1 or cells[over[0]]:
            return None
        cells[over[0]] = text
    return cells
