"""Traces: the samples of heartbeats and imported traces, stored as compact blocks."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from datetime import datetime
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from surefoot.errors import BadInput
from surefoot.journal import trace_codec
from surefoot.journal.base import Records
from surefoot.journal.failures import damaged
from surefoot.journal.trace_codec import TIME, Column, Layout
from surefoot.journal.trace_merge import merged
from surefoot.runs import Floats, Trace

if TYPE_CHECKING:
    import pandas as pd

BLOCK_SAMPLES = 8192
"""Samples in one block of an imported trace: 2.3 h at 1 Hz, so that a narrow integer still spans the values."""


_Block = tuple[int, int, str | None, bytes]
"""Layout id, samples, start of the trace, data."""


class TraceRecords(Records):
    """The Journal's part that knows traces."""

    _packing: dict[int, dict[str, Column]]

    def add_trace(self, run_id: int, trace: Trace) -> None:
        """Attach an imported trace to a run, open or closed. Raises BadInput for an empty trace or an unknown run."""
        if not len(trace):
            raise BadInput("the trace has no samples.", where=f"run {run_id}")
        with self._store.transaction():
            self._known_run(run_id)
            self._put_blocks(run_id, trace)

    def has_trace(self, run_id: int) -> bool:
        """Whether a run has any samples. Raises BadInput for an unknown run."""
        self._known_run(run_id)
        return self._store.row("SELECT 1 FROM trace_blocks WHERE run_id = ? LIMIT 1", (run_id,)) is not None

    def runs_with_trace(self, unit_name: str) -> frozenset[int]:
        """The ids of a unit's runs that have samples. Raises BadInput for an unknown unit."""
        self._known_unit(unit_name)
        rows = self._store.rows(
            "SELECT id FROM runs WHERE unit = ? AND EXISTS (SELECT 1 FROM trace_blocks WHERE run_id = runs.id)",
            (unit_name,),
        )
        return frozenset(row["id"] for row in rows)

    def trace(self, run_id: int) -> Trace:
        """All samples of a run in one trace: those of its heartbeats and the imported ones, in order of time.

        Values are exact to the grid of `surefoot.journal.trace_codec`. Empty when the run has none. Raises BadInput
        for an unknown run.
        """
        self._known_run(run_id)
        return merged([self._assemble(run_id, blocks) for blocks in self._origins(run_id)])

    def trace_frame(self, run_id: int) -> pd.DataFrame:
        """The same as a DataFrame, index ``seconds``, one column per channel: `trace` without a copy of the values."""
        import pandas as pd

        trace = self.trace(run_id)
        index = pd.Index(trace.seconds, name="seconds")
        whole = next((values.base for values in trace.channels.values()), None)
        if whole is not None and whole.shape == (len(trace.channels) + 1, len(trace)):
            names = list(trace.channels)
            return pd.DataFrame(whole[1:].T, index=index, columns=names, copy=False)
        return pd.DataFrame(dict(trace.channels), index=index)

    def _add_heartbeat_samples(self, run_id: int, heartbeat_id: int, samples: Trace) -> None:
        before = self._packing.get(run_id)
        layout, data = trace_codec.encode(_columns(samples, 0, len(samples)), before)
        # The start is that of the load, the same for every heartbeat: once a session is enough.
        began = samples.started_at if before is None else None
        self._packing.setdefault(run_id, {}).update({column.name: column for column in layout})
        self._insert_block(run_id, layout, len(samples), data, began, heartbeat_id=heartbeat_id)

    def _forget_packing(self, run_id: int) -> None:
        self._packing.pop(run_id, None)

    def _put_blocks(self, run_id: int, trace: Trace, heartbeat_id: int | None = None) -> None:
        """A whole trace, as an import or as samples of that heartbeat and those after it."""
        import_id: int | None = None
        packing: dict[str, Column] = {}
        for first in range(0, len(trace), BLOCK_SAMPLES):
            part = _columns(trace, first, first + BLOCK_SAMPLES)
            layout, data = trace_codec.encode(part, packing)
            packing = {column.name: column for column in layout}
            block = self._insert_block(
                run_id, layout, len(part[TIME]), data, trace.started_at, heartbeat_id=heartbeat_id, import_id=import_id
            )
            import_id = import_id or (block if heartbeat_id is None else None)

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
            data=data,
        )

    def _layout_id(self, layout: Layout) -> int:
        text = json.dumps(
            [[column.name, column.places, column.width, column.base] for column in layout], separators=(",", ":")
        )
        known = self._store.row("SELECT id FROM trace_layouts WHERE columns = ?", (text,))
        return int(known["id"]) if known else self._store.insert("trace_layouts", columns=text)

    def _origins(self, run_id: int) -> list[list[_Block]]:
        """The blocks of a run by where they came from: all heartbeats first, then each import, in order of writing.

        The heartbeats first, because their second 0 is the start of the load.
        """
        what = "SELECT layout_id, samples, started_at, data FROM trace_blocks WHERE run_id = ?"
        beats = self._store.tuples(what + " AND heartbeat_id IS NOT NULL ORDER BY id", (run_id,))
        imports = self._store.tuples(
            "SELECT DISTINCT coalesce(import_id, id) FROM trace_blocks WHERE run_id = ? AND heartbeat_id IS NULL"
            " ORDER BY 1",
            (run_id,),
        )
        parts = [
            self._store.tuples(what + " AND ? IN (id, import_id) ORDER BY id", (run_id, first)) for (first,) in imports
        ]
        return [beats, *parts] if beats else parts

    def _layouts(self, ids: Iterable[int]) -> dict[int, Layout]:
        found = {}
        for key in ids:
            row = self._store.row("SELECT columns FROM trace_layouts WHERE id = ?", (key,))
            assert row is not None
            found[key] = _layout(row["columns"])
        return found

    def _assemble(self, run_id: int, blocks: Sequence[_Block]) -> Trace:
        """The trace of the blocks of one origin; its arrays are the rows of one matrix, the time first."""
        # Columns, and no Python object for each block beside its bytes: there are 8,640 in a day of heartbeats.
        layout_ids, sizes, starts, contents = zip(*blocks, strict=True)
        kinds = np.array([layout_ids, sizes])
        edges = [0, *(np.flatnonzero(np.any(np.diff(kinds) != 0, axis=0)) + 1).tolist(), len(blocks)]
        layouts = self._layouts(set(layout_ids))
        channels = {column.name for layout in layouts.values() for column in layout} - {TIME}
        names = [TIME, *sorted(channels)]
        matrix = np.empty((len(names), int(kinds[1].sum())))
        into: dict[str, Floats] = dict(zip(names, matrix, strict=True))
        start = 0
        for first, last in pairwise(edges):
            layout, samples = layouts[layout_ids[first]], sizes[first]
            end = start + samples * (last - first)
            try:
                trace_codec.decode(layout, samples, contents[first:last], into, start)
            except ValueError as error:
                raise damaged(self._store.path, f"trace of run {run_id}: {error}") from error
            for name in channels - {column.name for column in layout}:
                into[name][start:end] = np.nan
            start = end
        seconds = into.pop(TIME)
        # Samples are written in order of time, but a clock that was set back between two heartbeats may disagree.
        if np.any(np.diff(seconds) < 0):
            order = np.argsort(seconds, kind="stable")
            seconds = seconds[order]
            into = {name: values[order] for name, values in into.items()}
        began = next((text for text in starts if text), None)
        return Trace(seconds, into, None if began is None else datetime.fromisoformat(began))


def _columns(trace: Trace, start: int, end: int) -> dict[str, Floats]:
    return {TIME: trace.seconds[start:end], **{name: values[start:end] for name, values in trace.channels.items()}}


def _layout(text: str) -> Layout:
    return tuple(Column(str(name), *map(int, packing)) for name, *packing in json.loads(text))
