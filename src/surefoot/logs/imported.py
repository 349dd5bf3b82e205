"""A log as it was understood, and several that stand in one file as one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise

import numpy as np

from surefoot.logs.columns import Column
from surefoot.logs.problems import Ledger, Problem
from surefoot.logs.recognise import ASK_BELOW
from surefoot.runs import Floats, Trace

DAY = 86400.0


@dataclass(frozen=True)
class ImportedLog:
    """A log as it was understood.

    ``trace``: the samples, time 0 at the first; ``columns``: every column of the file, taken or not; ``problems``: what
    could not be understood, by line; ``notes``: what was understood and assumed, in words; ``fingerprint``: of the
    header texts, by which corrections are remembered; ``started_at``: time of the first sample, with a zone only where
    the file or the user gave one; ``samples_read``: records that hold samples; ``time_how``: where the time comes from;
    ``asked``: what was assumed of the whole file and must be confirmed; ``latest``: the columns as the last header of
    the file names them, where it has several.
    """

    trace: Trace
    columns: tuple[Column, ...]
    problems: tuple[Problem, ...]
    notes: tuple[str, ...]
    fingerprint: str
    encoding: str
    delimiter: str
    decimal: str
    header_line: int | None
    started_at: datetime | None
    samples_read: int
    time_how: str
    asked: tuple[Problem, ...] = ()
    latest: tuple[Column, ...] = ()

    @property
    def questions(self) -> tuple[Problem, ...]:
        """All that a person must confirm before this is stored; empty when nothing is in doubt."""
        found = list(self.asked)
        for column in self.columns:
            if column.confidence < ASK_BELOW and (column.channel or column.role == "time"):
                what = column.channel or "the time"
                found.append(Problem(None, column.header, f"taken as {what}: {column.how}"))
        return tuple(found)


@dataclass(frozen=True)
class Part:
    """A log on its way: ``first``: its first time as it stands in the file; ``absolute``, ``of_day``: see `Moments`."""

    log: ImportedLog
    first: float
    absolute: bool
    of_day: bool


def join(parts: list[Part], ledger: Ledger) -> ImportedLog:
    """Logs that stand one below the other in one file as one: their samples in order of time, their columns listed."""
    first = parts[0]
    log = first.log
    if len(parts) > 1:
        starts = _starts(parts, ledger)
        order = np.argsort(starts, kind="stable")
        begin = float(min(starts))
        times = np.concatenate(
            [part.log.trace.seconds + start - begin for part, start in zip(parts, starts, strict=True)]
        )
        names = list(dict.fromkeys(name for part in parts for name in part.log.trace.channels))
        channels = {name: np.concatenate([_values(part.log.trace, name) for part in parts]) for name in names}
        sorting = np.argsort(times, kind="stable")
        started = parts[int(order[0])].log.started_at
        trace = Trace(np.round(times[sorting], 6), {name: v[sorting] for name, v in channels.items()}, started)
        log = replace(
            log,
            trace=trace,
            started_at=started,
            columns=_listed([part.log for part in parts]),
            samples_read=sum(part.log.samples_read for part in parts),
        )
    return replace(
        log,
        problems=ledger.in_order(),
        notes=tuple(ledger.notes),
        asked=tuple(ledger.questions),
        latest=parts[-1].log.columns,
    )


def _values(trace: Trace, name: str) -> Floats:
    found = trace.get(name)
    return np.full(len(trace), np.nan) if found is None else found


def _starts(parts: list[Part], ledger: Ledger) -> list[float]:
    """The first time of each part, on one scale. One that would begin before the last ended was started again."""
    starts = [parts[0].first]
    for before, part in pairwise(parts):
        end = starts[-1] + float(before.log.trace.seconds[-1])
        if part.absolute and before.absolute:
            starts.append(part.first)
            continue
        start = part.first + (DAY if part.of_day and part.first < end - DAY / 2 else 0.0)
        if part.absolute != before.absolute or part.of_day != before.of_day or start < end:
            step = np.diff(part.log.trace.seconds)
            start = end + (float(np.median(step)) if step.size else 1.0)
            ledger.note(f"the time begins anew at line {part.log.header_line}; it was made to go on.")
        starts.append(start)
    return starts


def _listed(logs: list[ImportedLog]) -> tuple[Column, ...]:
    """The columns of all headers; one that is the same under two is listed once, as the less sure of both."""
    found: dict[tuple[str, str | None, str], Column] = {}
    for log in logs:
        for column in log.columns:
            key = (column.header, column.channel, column.role)
            known = found.get(key)
            if known is None:
                found[key] = replace(column, index=len(found)) if log is not logs[0] else column
            elif column.confidence < known.confidence:
                found[key] = replace(column, index=known.index)
    return tuple(found.values())
