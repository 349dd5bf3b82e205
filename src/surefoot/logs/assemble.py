"""A delimited sensor log of any maker as a trace: the whole way from bytes to channels."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from surefoot.errors import BadInput
from surefoot.logs import words
from surefoot.logs.aligned import from_aligned
from surefoot.logs.bulk import Block, Shape, gather
from surefoot.logs.cells import Cells, as_cells, cell_text, tell_bad
from surefoot.logs.clock import put_in_order, tell_gaps, unroll
from surefoot.logs.columns import TIME_WORDS, Claim, Column, correction_for, make_claim, parse_correction, settle
from surefoot.logs.dialect import Dialect, find_decimal, find_dialect
from surefoot.logs.formats import Formats
from surefoot.logs.header import Header, find_header, refuse_endless
from surefoot.logs.imported import ImportedLog, Part, join
from surefoot.logs.intake import take_in
from surefoot.logs.lines import Ints, Lines, index_lines, split
from surefoot.logs.long_form import turned
from surefoot.logs.measures import Measure, measure
from surefoot.logs.numbers import Decimal, is_grouped, is_missing
from surefoot.logs.odd_cells import OddCells, odd_cells, rows_of
from surefoot.logs.patterns import Plan, find_patterns, plan
from surefoot.logs.plausible import outside
from surefoot.logs.problems import Ledger, spans
from surefoot.logs.reader import Columns, Parse, Quiet, read_ahead
from surefoot.logs.sections import MANY, check_width, other_headers
from surefoot.logs.shifted import column_values, find_shifted
from surefoot.logs.stamps import DAY
from surefoot.logs.times import (
    Moments,
    TimeColumn,
    as_datetime,
    choose,
    classify,
    preamble_start,
    read_moments,
    to_utc,
)
from surefoot.runs import Channel, Floats, Trace

_SAMPLE_LINES = (120, 40, 40)  # at the head, in the middle and at the tail
_JUDGED_LINES = 60
_SPARSE = 0.15  # share of empty cells from which on not every shifted row can be seen
_PLAIN_NUMBER = {sign: re.compile(rf"^[+\-]?[0-9]+(?:[{sign}][0-9]*)?(?:[eE][+\-]?[0-9]+)?$") for sign in ".,"}


def read_log(
    data: bytes,
    *,
    corrections: Mapping[str, str] | None = None,
    timezone: str | None = None,
    day_first: bool | None = None,
    interval_seconds: float | None = None,
) -> ImportedLog:
    """Read any delimited sensor log.

    ``corrections``: header text, or ``#3`` for the third column, to a channel (``cpu.temperature``, with a unit
    ``cpu.temperature[°F]``), ``ignore``, ``time`` or ``date``; ``timezone``: IANA name of the zone of stamps that carry
    none; ``day_first``: settles dates of two short numbers; ``interval_seconds``: the step between samples of a log
    without a time column.

    Raises BadInput for what is no log: no text, no line of samples, no time, no channel's worth of numbers.
    """
    if interval_seconds is not None and not (np.isfinite(interval_seconds) and interval_seconds > 0):
        raise BadInput(f"an interval is a number of seconds above 0, got {interval_seconds!r}.")
    ledger = Ledger()
    taken = take_in(data, ledger)
    headed = _headed(taken.utf8, taken.first_line, ledger)
    timezone = timezone or taken.zone
    below = other_headers(headed.lines, headed.dialect.delimiter, headed.header)
    said = _by_text(dict(corrections or {}), headed.header)
    options = _Options(said, timezone, day_first, interval_seconds, taken.encoding)
    if not below:
        _check_corrections(said, headed.header.texts + headed.header.names)
        return _read(headed, ledger, options).log
    return join(*_several(headed, below, ledger, options))


@dataclass(frozen=True)
class _Options:
    said: dict[str, str]
    timezone: str | None
    day_first: bool | None
    interval_seconds: float | None
    encoding: str


@dataclass(frozen=True)
class _Headed:
    lines: Lines
    dialect: Dialect
    header: Header


def _several(headed: _Headed, below: list[int], ledger: Ledger, options: _Options) -> tuple[list[Part], Ledger]:
    """The parts of a file with several headers, each read by itself, and what could not be."""
    lines = headed.lines
    edges = [0, *below, len(lines)]
    pieces = []
    for start, end in pairwise(edges):
        first, last = int(lines.starts[start]), int(lines.starts[end]) if end < len(lines) else len(lines.data)
        pieces.append((lines.data[first:last], int(lines.numbers[start])))
    every = []
    for data, line in pieces:
        try:
            every.append((_headed(data, line), line))
        except BadInput as error:
            ledger.problem(f"another header, and what is below it cannot be read: {error.what}", line=line)
    known = tuple(text for one, _ in every for text in (*one.header.texts, *one.header.names))
    _check_corrections(options.said, known)
    parts = []
    for one, line in every:
        own = Ledger()
        try:
            parts.append(_read(one, own, options))
        except BadInput as error:
            if not parts:
                raise
            ledger.problem(f"another header, and what is below it cannot be read: {error.what}", line=line)
            continue
        if line > 1:
            ledger.note(f"another header at line {line}: from there on the columns are taken by it.")
        ledger.take(own)
    return parts, ledger


def _read(headed: _Headed, ledger: Ledger, options: _Options) -> Part:
    lines, dialect, header = headed.lines, headed.dialect, headed.header
    said = dict(options.said)
    below = [index for index in _sample(lines) if index >= header.first]
    judged = sorted({*below[:: max(1, len(below) // _JUDGED_LINES)], *below[-10:]})
    shown = [lines.text(index) for index in judged]
    rows = [split(line, dialect.delimiter) for line in shown]
    named = check_width(lines, dialect.delimiter, header, judged, rows, ledger)
    usual = _usual_width([len(row) for row in rows], dialect.fields)
    width = max(usual, len(header.texts))
    texts, names, units = _padded(header, width)
    cells_by_column = [[row[place] for row in rows if place < len(row)] for place in range(width)]
    decimal, own_decimals = find_decimal(cells_by_column, dialect.delimiter, ledger)
    forced = _forced_times(said, texts, names)
    found = _time_columns(texts, names, units, cells_by_column, own_decimals, forced)
    main, date, others = choose(found)
    as_words = frozenset(column.index for column in found if column.is_text)
    plain = frozenset(
        place
        for place in range(width)
        if place not in as_words and _plain_numbers(cells_by_column[place], decimal, own_decimals[place])
    )
    blanks = any(
        line[place + 1 : place + 2] == " " for line in shown for place in [line.rfind(dialect.delimiter or " ")]
    )
    titles = [lines.text(index) for index in range(header.first)]
    _tell_preamble(header, titles, lines, ledger)
    shape = Shape(dialect.delimiter, width, usual, header.first, header.records, named)
    empties = {cell for cells in cells_by_column for cell in cells if cell and is_missing(cell)}
    planned = None
    patterns = find_patterns(lines, header.first, dialect.delimiter, decimal)
    if patterns is not None:
        written = {place: told for place, unit in enumerate(units) if unit and (told := measure(unit))}
        planned = plan(lines, patterns, usual, plain, as_words, cells_by_column, written)
    if planned is None:
        as_text = frozenset(range(width)) - plain
        planned = Plan(lines, {}, b"", as_text, (), odd_cells(lines, header.first, dialect.delimiter, as_text), None)
    lines, odd = planned.lines, planned.odd
    parse = Parse(
        dialect.delimiter,
        decimal,
        planned.as_text,
        tuple(sorted({*empties, *planned.empties, *odd.words})),
        blanks,
        planned.taken_out,
    )
    regular = not lines.cut and all(len(row) == usual for row in rows)
    with Quiet(), ThreadPoolExecutor(1) as pool:
        rest = memoryview(lines.data)[int(lines.starts[header.first]) : int(lines.ends[-1])]
        ahead = read_ahead(pool, rest, width, parse, lines.quoted) if regular else None
        block = gather(lines, shape, ledger, frozenset(text.strip() for text in titles), planned.uneven)
        columns = Columns(block, parse, ahead)
        return _Assembly(
            ledger, said, options.timezone, options.day_first, options.interval_seconds, block, columns, own_decimals,
            texts, names, units, cells_by_column, main, date, others, titles, shape.most, lines.cut, odd,
            planned.united,
        ).finish(
            fingerprint=fingerprint(header.texts if header.records else texts),
            encoding=options.encoding,
            delimiter=dialect.delimiter,
            decimal=decimal,
            header_line=int(lines.numbers[header.records[0]]) if header.records else None,
        )  # fmt: skip


def log_fingerprint(data: bytes) -> str:
    """The fingerprint of a log's header, without reading its samples. Raises BadInput as `read_log`."""
    return fingerprint(_fingerprinted(data))


def _fingerprinted(data: bytes) -> tuple[str, ...]:
    ledger = Ledger()
    taken = take_in(data, ledger)
    return _headed(taken.utf8, taken.first_line, ledger).header.texts


def _headed(utf8: bytes, first_line: int = 1, ledger: Ledger | None = None) -> _Headed:
    """The records of a text and their header; where ``ledger`` is given, blanks as delimiters and one reading a line
    are looked for as well."""
    lines = index_lines(utf8, first_line)
    dialect = find_dialect([lines.text(index) for index in _sample(lines)])
    header = find_header(lines, dialect.delimiter, dialect.fields)
    if ledger is not None and (header is None or not dialect.delimiter):
        spaced = from_aligned(utf8, ledger)
        if spaced is not None:
            return _headed(spaced, first_line)
    if header is None:
        seen = next((lines.text(index) for index in range(min(len(lines), 200)) if lines.text(index).strip()), "")
        cells = split(seen, dialect.delimiter)[:5]
        raise BadInput(
            f"no line of samples was found; the first line holds {', '.join(repr(cell[:24]) for cell in cells)}.",
            remedy="A log is a text file with a line of column names and, below it, lines of numbers.",
        )
    refuse_endless(header.texts)
    if ledger is not None:
        wide = turned(lines, dialect, header, ledger)
        if wide is not None:
            found = _headed(wide.text)
            if len(wide.numbers) == len(found.lines):
                found = replace(found, lines=replace(found.lines, numbers=np.array(wide.numbers, dtype=np.int64)))
            return found
    return _Headed(lines, dialect, header)


def fingerprint(texts: tuple[str, ...]) -> str:
    """Identity of a header, by which its corrections are remembered: 16 hexadecimal digits."""
    return hashlib.sha256("\x1f".join(texts).encode("utf-8")).hexdigest()[:16]


def _sample(lines: Lines) -> list[int]:
    head, middle, tail = _SAMPLE_LINES
    # A last line that was cut off says nothing of the others.
    count = len(lines) - 1 if lines.cut and len(lines) > 2 else len(lines)
    chosen = set(range(min(head, count)))
    chosen |= set(range(max(0, count // 2 - middle // 2), min(count, count // 2 + middle // 2)))
    chosen |= set(range(max(0, count - tail), count))
    return sorted(chosen)


def _usual_width(sizes: list[int], fields: int) -> int:
    if not sizes:
        return fields
    values, counts = np.unique(np.array(sizes), return_counts=True)
    best = int(values[np.argmax(counts)])
    return fields if sizes.count(fields) >= 0.5 * len(sizes) else best


def _padded(header: Header, width: int) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    more = range(len(header.texts), width)
    texts = header.texts + tuple(f"column {place + 1}" for place in more)
    return texts, header.names + ("",) * len(more), header.units + ("",) * len(more)


def _plain_numbers(cells: list[str], decimal: Decimal, own: Decimal) -> bool:
    """Whether a column can be given to the number parser: no units, words, grouped digits or other decimal sign."""
    if own != decimal:
        return False
    pattern = _PLAIN_NUMBER[decimal]
    odd = [cell for cell in cells if not pattern.match(cell) and not is_missing(cell)]
    return len(odd) <= 0.05 * len(cells) and not any(is_grouped(cell, own) for cell in odd)


_PLACE = re.compile(r"^#([0-9]+)$")


def _by_text(said: Mapping[str, str], header: Header) -> dict[str, str]:
    """Corrections by header text; ``#3`` is the third column."""
    plain = {}
    for key, value in said.items():
        place = _PLACE.match(key.strip())
        number = int(place.group(1)) if place else 0
        plain[header.texts[number - 1] if 1 <= number <= len(header.texts) else key] = value
    return plain


def _check_corrections(said: Mapping[str, str], texts: tuple[str, ...]) -> None:
    known = {" ".join(text.split()).lower() for text in texts if text}
    for key, value in said.items():
        if " ".join(key.split()).lower() not in known:
            there = ", ".join(repr(text) for text in texts[:12]) + (", ..." if len(texts) > 12 else "")
            raise BadInput(f"there is no column {key!r}.", remedy=f"The columns: {there}.")
        parse_correction(value, key)


def _forced_times(said: Mapping[str, str], texts: tuple[str, ...], names: tuple[str, ...]) -> dict[int, str]:
    forced = {}
    for place, (text, name) in enumerate(zip(texts, names, strict=True)):
        word = correction_for(said, text, name)
        if word is not None:
            forced[place] = word.strip()
    return forced


def _time_columns(
    texts: tuple[str, ...],
    names: tuple[str, ...],
    units: tuple[str, ...],
    cells: list[list[str]],
    decimals: list[Decimal],
    forced: dict[int, str],
) -> list[TimeColumn]:
    found = []
    told = {place: parse_correction(word, texts[place]) for place, word in forced.items()}
    wanted = [place for place, (word, _) in told.items() if word in TIME_WORDS]
    for place, (name, unit) in enumerate(zip(names, units, strict=True)):
        word, own = told.get(place, ("", None))
        unit = own.unit if own is not None and word in TIME_WORDS else unit
        if word and word not in TIME_WORDS:
            continue
        if wanted and word not in TIME_WORDS:
            continue  # the user said which columns tell the time
        column = classify(place, name or texts[place], unit, cells[place], decimals[place], word)
        if column is None and word:
            raise BadInput(f"column {texts[place]!r} cannot be read as a {word}.", remedy="Map another column to time.")
        if column is not None:
            found.append(column)
    return found


def _tell_preamble(header: Header, titles: list[str], lines: Lines, ledger: Ledger) -> None:
    before = [
        int(lines.numbers[place])
        for place in range(header.first)
        if place not in header.records and titles[place].strip()
    ]
    if before:
        ledger.note(f"{spans(before)} before the samples: not read as samples.")
    if not header.records:
        ledger.problem("no line of column names above the samples; map each column by its number.", line=1)


def _is_wild(values: Floats) -> bool:
    """Whether the last of some numbers is of quite another size than all before it."""
    head = np.abs(values[:64][np.isfinite(values[:64])])
    if values[-1] and head.size and abs(float(values[-1])) <= 50 * float(head.max()) + 10:
        return False
    before = np.abs(values[:-1][np.isfinite(values[:-1])])
    last = abs(float(values[-1]))
    return bool(before.size) and (last > 50 * float(before.max()) + 10 or (last == 0 and float(before.min()) > 0))


@dataclass
class _Assembly:
    """The columns of a block on their way to a trace."""

    ledger: Ledger
    said: dict[str, str]
    timezone: str | None
    day_first: bool | None
    interval_seconds: float | None
    block: Block
    columns: Columns
    decimals: list[Decimal]
    texts: tuple[str, ...]
    names: tuple[str, ...]
    units: tuple[str, ...]
    samples: list[list[str]]
    main: TimeColumn | None
    date: TimeColumn | None
    others: list[TimeColumn]
    preamble: list[str]
    most: int
    cut: bool
    odd: OddCells
    united: dict[int, Measure]

    def finish(self, *, fingerprint: str, encoding: str, delimiter: str, decimal: str, header_line: int | None) -> Part:
        """Times, cells, claims, order; the finished log."""
        moments = self._moments()
        rows = self._sample_rows(moments)
        if not rows.size:
            raise BadInput("no line of samples was found.", remedy="A log needs at least one sample below its header.")
        time_places = {c.index for c in (self.main, self.date, *self.others) if c is not None}
        time_columns = [self._time_column(place) for place in sorted(time_places)]
        read = {
            place: self._with_words(
                place, as_cells(column[rows] if rows.size != column.size else column, self.decimals[place]), rows
            )
            for place, column in enumerate(self.columns)
            if place not in time_places
        }
        rows, read = self._standing_well(rows, read)
        if not rows.size:
            raise BadInput("no line of samples was found.", remedy="A log needs at least one sample below its header.")
        lines = self.block.lines[rows]
        claims = []
        for place, cells in read.items():
            if self._is_trailing(place, cells):
                continue
            said = correction_for(self.said, self.texts[place], self.names[place])
            claim = make_claim(
                place, self.texts[place], self.names[place], self.units[place], cells, self._shown(place), said
            )
            if claim.column.channel or cells.texts <= 0.5:
                tell_bad(cells, lines, self.texts[place], self.ledger)
            for value, at in claim.gaps:
                self._tell_gap(self.texts[place], value, lines[at])
            if cells.boolean and claim.column.channel and not (np.nan_to_num(cells.values, nan=1.0) == 0).any():
                missing = int(np.isnan(cells.values).sum())
                if missing:
                    self.ledger.note(f"{self.texts[place]}: {missing} empty cells; gaps, not taken as no.")
            self._ask_of_impossible(claim, lines)
            claims.append(claim)
        taken, channels = settle(claims)
        if moments is None:
            moments = self._without_time(taken, channels, rows.size)
            seconds = moments.seconds
        else:
            seconds = moments.seconds[rows]
        for one in taken:
            if one.channel is None and one.role == "unknown":
                self.ledger.problem(f"column not taken: {one.how}.", line=header_line, column=one.header)
            elif one.channel:
                channels[one.channel] = self._believable(one, channels[one.channel], lines, read)
        trace, started_at, first = self._trace(moments, seconds, lines, channels)
        log = ImportedLog(
            trace=trace,
            columns=tuple(sorted([*time_columns, *taken], key=lambda column: column.index)),
            problems=self.ledger.in_order(),
            notes=tuple(self.ledger.notes),
            fingerprint=fingerprint,
            encoding=encoding,
            delimiter=delimiter,
            decimal=decimal,
            header_line=header_line,
            started_at=started_at,
            samples_read=int(rows.size),
            time_how=self._time_how(),
            asked=tuple(self.ledger.questions),
        )
        return Part(log, first, moments.absolute, moments.of_day)

    def _ask_of_impossible(self, claim: Claim, lines: Ints) -> None:
        """A column whose name is plain, and which holds what it cannot hold from some line on."""
        column = claim.column
        if claim.fixed or not column.channel or column.confidence > 0.5 or claim.guess.quantity.endswith("-flag"):
            return  # where much of it is impossible, the column has lost confidence already
        told = claim.measure
        values = claim.values if told is None else claim.values * told.factor + told.offset
        wrong = outside(claim.guess.quantity, values)
        if not 0.05 * np.isfinite(values).sum() < wrong.sum() < 0.95 * np.isfinite(values).sum():
            return
        first = int(np.flatnonzero(wrong)[0])
        self.ledger.ask(
            f"{claim.values[first]:g}{' ' if column.unit else ''}{column.unit} is no {claim.guess.quantity}, though "
            "others of the column are: do the cells still stand under their names there, and in that unit?",
            line=int(lines[first]),
            column=column.header,
        )

    def _tell_gap(self, header: str, value: float, lines: Ints) -> None:
        if value == 0:
            self.ledger.note(f"{header}: 0 at {spans(lines.tolist())}, as a sleeping part says it; taken as gaps.")
        else:
            what = "value not plausible, left out" if lines.size == 1 else "values not plausible, left out"
            self.ledger.many(what, lines.tolist(), column=header, example=f"{value:g}")

    def _standing_well(self, rows: Ints, read: dict[int, Cells]) -> tuple[Ints, dict[int, Cells]]:
        """The samples whose cells stand under their header; shifted ones and a last one that is not whole are told."""
        lines = self.block.lines[rows]
        keep = np.ones(rows.size, dtype=np.bool_)
        for place in range(self.most, len(self.columns)):
            cells = read.get(place)
            if cells is not None:
                keep &= ~(np.isfinite(cells.values) | cells.bad)
        if not keep.all():
            self._refuse_many(~keep, lines, "more cells than the header names")
            what = f"more than {self.most} cells: the line was left out"
            self.ledger.many(what, lines[~keep].tolist())
        broken = self._broken_last(rows, read)
        if broken:
            self.ledger.problem(f"the last line is not whole, {broken}: it was left out.", line=int(lines[-1]))
            keep[-1] = False
        if not keep.all():
            rows, lines, read = rows[keep], lines[keep], {place: cells.at(keep) for place, cells in read.items()}
        by_place = [
            column_values(read[place].values, read[place].texts) if place in read and not read[place].boolean else None
            for place in range(len(self.columns))
        ]
        kept = rows
        formats = None
        if self.block.place:
            formats = Formats(lambda row: self.block.cells(int(kept[row])), self.decimals, kept.size)
        shifted = find_shifted(by_place, formats)
        if shifted is None:
            return rows, read
        wrong = np.zeros(rows.size, dtype=np.bool_)
        wrong[shifted.rows] = True
        gaps = np.mean([np.isnan(values).mean() for values in by_place if values is not None])
        if gaps > _SPARSE:
            self.ledger.ask(
                f"{shifted.first} than in the others, and with so many cells empty it cannot be told of every line",
                line=int(lines[wrong][0]),
            )
        self._refuse_many(wrong, lines, shifted.first, to_the_end=shifted.to_the_end is not None)
        self.ledger.many(f"{shifted.first} than in the others: the line was left out", lines[wrong].tolist())
        return rows[~wrong], {place: cells.at(~wrong) for place, cells in read.items()}

    def _with_words(self, place: int, cells: Cells, rows: Ints) -> Cells:
        """The cells of a column, those that were words told as not understood; its unit where that was taken out."""
        unit = self.united.get(place)
        if unit is not None:
            cells = replace(cells, measure=unit, boolean=False, bare=0, strange="")
        told = self.odd.at.get(place)
        if not told or cells.bad.size == 0:
            return cells
        bad = cells.bad.copy()
        bad[rows_of(told, self.block.lines[rows])] = True
        share = float(bad.sum()) / max(1, int(np.isfinite(cells.values).sum() + bad.sum()))
        example = cells.example if cells.bad.any() else told[0][1]
        return replace(cells, bad=bad & ~np.isfinite(cells.values), texts=share, example=example)

    def _refuse_many(self, wrong: NDArray[np.bool_], lines: Ints, how: str, to_the_end: bool = False) -> None:
        # To the end of the log: then it may as well be that those before are the wrong ones.
        if not to_the_end and (wrong.sum() <= MANY * wrong.size or wrong.sum() < 2):
            return
        first = int(np.flatnonzero(wrong)[0])
        raise BadInput(
            f"line {int(lines[first])}: {how}, and so in {int(wrong.sum())} of {wrong.size} lines.",
            remedy="Which cell belongs to which name cannot be told. Cut the file there and give each part its header.",
        )

    def _broken_last(self, rows: Ints, read: dict[int, Cells]) -> str:
        """In words why the last line of the file cannot be a whole sample; "" when it can."""
        if rows.size < 4 or rows[-1] != self.block.lines.size - 1:
            return ""
        numbers = [
            cells for place, cells in read.items() if cells.texts <= 0.5 and np.isfinite(cells.values[:-1]).any()
        ]
        unread = [cells for cells in numbers if cells.bad[-1] and not cells.bad[:-1].any()]
        wild = [cells for cells in numbers if _is_wild(cells.values)]
        if unread and (self.cut or len(unread) * 2 >= len(numbers)):
            return f"{unread[0].example!r} is no number"
        if wild and (self.cut or len(wild) * 2 >= len(numbers)) and len(wild) + len(unread) >= min(2, len(numbers)):
            return "its numbers are of another size"
        return ""

    def _shown(self, place: int) -> tuple[str, ...]:
        there = [cell for cell in self.samples[place] if not is_missing(cell)]
        picked = [there[0], there[len(there) // 2], there[-1]] if len(there) > 2 else there
        return tuple(dict.fromkeys(picked))

    def _is_trailing(self, place: int, cells: Cells) -> bool:
        """A last column without name and without a value is no column: the lines end in their delimiter."""
        empty = not np.isfinite(cells.values).any() and not cells.bad.any()
        return empty and not self.names[place] and place == len(self.columns) - 1

    def _time_column(self, place: int) -> Column:
        column = next(c for c in (self.main, self.date, *self.others) if c is not None and c.index == place)
        used = column in (self.main, self.date)
        how = column.how if used else f"{column.how}; another column tells the time"
        return Column(
            place, self.texts[place], self.units[place], None, column.score, how, self._shown(place),
            role="time" if used else "ignored",
        )  # fmt: skip

    def _time_how(self) -> str:
        if self.main is None:
            return "the frame times added up" if self.interval_seconds is None else "the interval given"
        where = f"column {self.texts[self.main.index]!r}"
        if self.date is not None:
            where += f" with {self.texts[self.date.index]!r}"
        return f"{where}: {self.main.how}"

    def _moments(self) -> Moments | None:
        if self.main is None or not self.block.lines.size:
            return None
        decimal = self.decimals[self.main.index]
        return read_moments(self.main, self.date, self.columns, decimal, self.day_first, self.ledger)

    def _sample_rows(self, moments: Moments | None) -> Ints:
        """Which records are samples: those whose time can be read. Footers are noted, the rest are problems."""
        count = self.block.lines.size
        if moments is None or self.main is None:
            return self._without_footer(np.arange(count))
        readable = np.isfinite(moments.seconds)
        unread = np.flatnonzero(~readable)
        if unread.size:
            footers, problems = [], []
            example = ""
            column = self.columns[self.main.index]
            for row in unread:
                first = next((c for c in self._words_of(int(row))), "")
                if first and words.FOOTER.search(words.plain(first)):
                    footers.append(int(self.block.lines[row]))
                else:
                    problems.append(int(self.block.lines[row]))
                    example = example or cell_text(column, int(row))
            if footers:
                self.ledger.note(f"{spans(footers)}: summary rows (average, extremes, end), not read as samples.")
            what = "the time cannot be read: the line was left out"
            self.ledger.many(what, problems, column=self.texts[self.main.index], example=example)
        return np.flatnonzero(readable)

    def _words_of(self, row: int) -> list[str]:
        texts = [cell_text(column, row) for column in self.columns if column.dtype.kind in "SO"]
        return [text for text in texts if text]

    def _without_footer(self, rows: Ints) -> Ints:
        footers = [
            int(row)
            for row in rows[::-1][:20]
            if any(words.FOOTER.search(words.plain(text)) for text in self._words_of(int(row))[:1])
        ]
        if footers:
            said = spans(sorted(int(self.block.lines[row]) for row in footers))
            self.ledger.note(f"{said}: summary rows (average, extremes, end), not read as samples.")
        return np.array([row for row in rows if row not in set(footers)], dtype=np.int64) if footers else rows

    def _without_time(self, taken: list[Column], channels: dict[str, Floats], count: int) -> Moments:
        """Times of a log that tells none: an interval that the user gives, or frame times added up."""
        if self.interval_seconds is not None:
            self.ledger.note(f"no column tells the time; a sample every {self.interval_seconds:g} s, as you said.")
            return Moments(np.arange(count, dtype=np.float64) * self.interval_seconds, False, False, False, 0.0)
        frames = channels.get("frame.frame-time")
        if frames is not None and np.isfinite(frames).all() and (frames >= 0).all():
            self.ledger.note("no column tells the time; the frame times were added up.")
            return Moments((np.cumsum(frames) - frames) / 1e3, False, False, False, 0.0)
        there = ", ".join(repr(text) for text in self.texts[:12])
        raise BadInput(
            "no column tells the time.",
            remedy=f"Give the interval between samples, or map a column to time. The columns: {there}.",
        )

    def _believable(self, column: Column, values: Floats, lines: Ints, read: Mapping[int, Cells]) -> Floats:
        """Values that no sensor of the kind can say are left out and told."""
        wrong = outside(Channel.parse(column.channel or "").quantity, values)
        if not wrong.any():
            return values
        raw = (values[wrong][0] - column.offset) / column.factor
        what = "value not plausible, left out" if wrong.sum() == 1 else "values not plausible, left out"
        self.ledger.many(what, lines[wrong].tolist(), column=column.header, example=f"{raw:g}")
        for row in np.flatnonzero(wrong)[:_JUDGED_LINES]:
            beside = self._beside(column.index, int(row), read)
            if beside:
                self.ledger.ask(
                    f"{read[column.index].values[row]:g} cannot be, but would fit {beside!r} beside it: do the cells "
                    "stand under their names there?",
                    line=int(lines[row]),
                    column=column.header,
                )
                break
        return np.where(wrong, np.nan, values)

    def _beside(self, place: int, row: int, read: Mapping[int, Cells]) -> str:
        """The column beside one whose last reading before a row was much like what stands in it; "" where none."""
        value = float(read[place].values[row])
        for other in (place - 1, place + 1):
            if other not in read or read[other].boolean:
                continue
            before = read[other].values[:row]
            before = before[np.isfinite(before) & (before != 0)][-8:]
            if before.size and float(np.min(np.abs(before - value))) < 0.3 * abs(value):
                return self.texts[other]
        return ""

    def _trace(
        self, moments: Moments, seconds: Floats, lines: Ints, channels: dict[str, Floats]
    ) -> tuple[Trace, datetime | None, float]:
        zoned = moments.zoned
        if moments.of_day:
            seconds = unroll(seconds, lines, self.ledger)
        if moments.absolute and not zoned and self.timezone:
            seconds, zoned = to_utc(seconds, self.timezone, lines, self.ledger), True
        stack = list(channels.values())

        def same(here: Ints, there: Ints) -> NDArray[np.bool_]:
            alike = np.ones(here.size, dtype=np.bool_)
            for values in stack:
                left, right = values[here], values[there]
                alike &= (left == right) | (np.isnan(left) & np.isnan(right))
            return alike

        order = put_in_order(seconds, lines, same, self.ledger, stamp_step=moments.step, of_day=moments.of_day)
        tell_gaps(order.seconds, lines[order.rows], self.ledger)
        in_place = order.rows.size == seconds.size and bool(np.all(np.diff(order.rows) == 1))
        if not in_place:
            channels = {name: values[order.rows] for name, values in channels.items()}
        start = float(order.seconds[0])
        started_at = self._started_at(moments, start, zoned)
        relative = np.round(order.seconds - start, 6)
        return Trace(relative, channels, started_at), started_at, start

    def _started_at(self, moments: Moments, start: float, zoned: bool) -> datetime | None:
        if moments.absolute:
            return as_datetime(start, zoned)
        found = preamble_start(self.preamble, self.day_first)
        if found is None:
            return None
        day, clock = float(found.days[0]), float(found.clock[0])
        if moments.of_day:
            moment = day * DAY + start
        elif np.isfinite(clock):
            moment = day * DAY + clock + max(start, 0.0)
        else:
            return None
        if self.timezone:
            moment = float(to_utc(np.array([moment]), self.timezone, self.block.lines, self.ledger)[0])
        return as_datetime(moment, bool(self.timezone))
