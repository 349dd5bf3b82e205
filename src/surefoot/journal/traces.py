"""Traces: the samples of heartbeats and imported traces, stored as compact blocks."""

from __future__ import annotations

import json
import sqlite3
import zlib
from collections.abc import Sequence
from datetime import datetime
from itertools import groupby

import numpy as np

from surefoot.errors import BadInput
from surefoot.journal import trace_codec
from surefoot.journal.base import Records
from surefoot.journal.failures import damaged
from surefoot.journal.trace_codec import TIME, Column, Layout
from surefoot.journal.trace_merge import merged
from surefoot.runs import Floats, Trace

BLOCK_SAMPLES = 8192
"""Samples in one block of an imported trace: 2.3 h at 1 Hz, so that a narrow integer still spans the values."""


class TraceRecords(Records):
    """The Journal's part that knows traces."""

    _packing: dict[int, dict[str, Column]]
    _layouts: dict[str, int]

    def add_trace(self, run_id: int, trace: Trace) -> None:
        """Attach an imported trace to a run, open or closed. Raises BadInput for an empty trace or an unknown run."""
        if not len(trace):
            raise BadInput("the trace has no samples.", where=f"run {run_id}")
        with self._store.transaction():
            self._known_run(run_id)
            import_id: int | None = None
            packing: dict[str, Column] = {}
            for first in range(0, len(trace), BLOCK_SAMPLES):
                part = _columns(trace, first, first + BLOCK_SAMPLES)
                layout, data = trace_codec.encode(part, packing)
                packing = {column.name: column for column in layout}
                block = self._insert_block(run_id, layout, len(part[TIME]), data, trace.started_at, import_id=import_id)
                import_id = import_id or block

    def has_trace(self, run_id: int) -> bool:
        """Whether a run has any samples. Raises BadInput for an unknown run."""
        self._known_run(run_id)
        return self._store.row("SELECT 1 FROM trace_blocks WHERE run_id = ? LIMIT 1", (run_id,)) is not None

    def trace(self, run_id: int) -> Trace:
        """All samples of a run in one trace: those of its heartbeats and the imported ones, in order of time.

        Values are exact to the grid of `surefoot.journal.trace_codec`. Empty when the run has none. Raises BadInput
        for an unknown run.
        """
        self._known_run(run_id)
        rows = self._store.rows(
            "SELECT trace_blocks.id AS id, import_id, heartbeat_id, started_at, samples, packing, data, columns"
            " FROM trace_blocks JOIN trace_layouts ON trace_layouts.id = layout_id WHERE run_id = ? ORDER BY 1",
            (run_id,),
        )
        origins: dict[int, list[sqlite3.Row]] = {}
        for row in rows:
            origin = 0 if row["heartbeat_id"] is not None else (row["import_id"] or row["id"])
            origins.setdefault(origin, []).append(row)
        # The heartbeats first: their second 0 is the start of the load.
        return merged([self._assemble(run_id, origins[origin]) for origin in sorted(origins)])

    def _add_heartbeat_samples(self, run_id: int, heartbeat_id: int, samples: Trace) -> None:
        layout, data = trace_codec.encode(_columns(samples, 0, len(samples)), self._packing.get(run_id))
        self._packing.setdefault(run_id, {}).update({column.name: column for column in layout})
        self._insert_block(run_id, layout, len(samples), data, samples.started_at, heartbeat_id=heartbeat_id)

    def _forget_packing(self, run_id: int) -> None:
        self._packing.pop(run_id, None)

    def _insert_block(
        self,
        run_id: int,
        layout: Layout,
        samples: int,
        data: bytes,
        started_at: datetime | None,
        *,
        heartbeat_id: int | None = None,
        import_id: int | None = None,
    ) -> int:
        return self._store.insert(
            "trace_blocks",
            run_id=run_id,
            heartbeat_id=heartbeat_id,
            import_id=import_id,
            started_at=None if started_at is None else started_at.isoformat(),
            layout_id=self._layout_id(layout),
            samples=samples,
            packing="plain",
            data=data,
        )

    def _layout_id(self, layout: Layout) -> int:
        text = json.dumps([[column.name, column.places, column.width] for column in layout], separators=(",", ":"))
        known = self._store.row("SELECT id FROM trace_layouts WHERE columns = ?", (text,))
        return int(known["id"]) if known else self._store.insert("trace_layouts", columns=text)

    def _assemble(self, run_id: int, rows: Sequence[sqlite3.Row]) -> Trace:
        """The trace of the blocks of one origin."""
        layouts = {text: _layout(text) for text in {row["columns"] for row in rows}}
        total = sum(row["samples"] for row in rows)
        names = sorted({column.name for layout in layouts.values() for column in layout})
        matrix = np.empty((len(names), total))
        into: dict[str, Floats] = dict(zip(names, matrix, strict=True))
        start = 0
        for (text, samples), group in groupby(rows, key=lambda row: (row["columns"], row["samples"])):
            blocks = [zlib.decompress(row["data"]) if row["packing"] == "zlib" else row["data"] for row in group]
            end = start + samples * len(blocks)
            try:
                trace_codec.decode(layouts[text], samples, blocks, into, start)
            except ValueError as error:
                raise damaged(self._store.path, f"trace of run {run_id}: {error}") from error
            for name in set(names) - {column.name for column in layouts[text]}:
                into[name][start:end] = np.nan
            start = end
        seconds = into.pop(TIME)
        # Samples are written in order of time, but a clock that was set back between two heartbeats may disagree.
        if np.any(np.diff(seconds) < 0):
            order = np.argsort(seconds, kind="stable")
            seconds = seconds[order]
            into = {name: values[order] for name, values in into.items()}
        began = next((row["started_at"] for row in rows if row["started_at"]), None)
        return Trace(seconds, into, None if began is None else datetime.fromisoformat(began))


def _columns(trace: Trace, start: int, end: int) -> dict[str, Floats]:
    return {TIME: trace.seconds[start:end], **{name: values[start:end] for name, values in trace.channels.items()}}


def _layout(text: str) -> Layout:
    return tuple(Column(str(name), int(places), int(width)) for name, places, width in json.loads(text))
