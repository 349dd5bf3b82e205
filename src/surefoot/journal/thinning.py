"""Thinned traces: fewer samples of a run, by somebody's word, with a record of it that stays."""

from __future__ import annotations

import sqlite3
from datetime import datetime

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict

from surefoot.errors import BadInput
from surefoot.journal.moments import moment, stamp
from surefoot.journal.traces import TraceRecords
from surefoot.runs import Trace


class Thinning(BaseModel):
    """What was done to the samples of a run. ``every_seconds``: one sample for each such stretch of time was kept."""

    model_config = ConfigDict(frozen=True)
    run_id: int
    at: datetime
    who: str
    every_seconds: float
    samples_before: int
    samples_after: int


def kept(trace: Trace, every_seconds: float) -> NDArray[np.bool_]:
    """Which samples stay, (n,): the first of each stretch of time, the last of all, and of every channel its highest
    and its lowest. Each is as it was measured; nothing is averaged, so no peak is lost and none is made up."""
    stays = np.zeros(len(trace), dtype=bool)
    if not len(trace):
        return stays
    stretch = np.floor((trace.seconds - trace.seconds[0]) / every_seconds)
    stays[0] = stays[-1] = True
    stays[1:] |= np.diff(stretch) > 0
    for values in trace.channels.values():
        if not np.all(np.isnan(values)):
            stays[int(np.nanargmax(values))] = stays[int(np.nanargmin(values))] = True
    return stays


def thinned(trace: Trace, every_seconds: float) -> Trace:
    """The trace with those samples alone."""
    stays = kept(trace, every_seconds)
    channels = {name: values[stays] for name, values in trace.channels.items()}
    return Trace(trace.seconds[stays], channels, trace.started_at)


class ThinningRecords(TraceRecords):
    """The Journal's part that thins traces."""

    def would_thin(self, run_id: int, every_seconds: float) -> tuple[int, int]:
        """Samples of a run now, and after `thin_trace`. Raises BadInput for an unknown run."""
        self._known_run(run_id)
        parts = [self._assemble(run_id, blocks) for blocks in self._origins(run_id)]
        return sum(map(len, parts)), sum(int(kept(part, every_seconds).sum()) for part in parts)

    def thin_trace(self, run_id: int, every_seconds: float, *, who: str, at: datetime | None = None) -> Thinning | None:
        """Take samples of a closed run away, for good, and write down that it was done; None where all would stay.

        The record, what stays and what goes are one transaction. What is known of stability rests on heartbeats and
        closings, which are not touched. Raises BadInput for an unknown or open run, or a time that cannot be.
        """
        if not 0 < every_seconds < float("inf"):
            raise BadInput("one sample each how many seconds: a number above 0.")
        with self._store.transaction():
            self._known_run(run_id)
            if self._store.row("SELECT 1 FROM closings WHERE run_id = ?", (run_id,)) is None:
                raise BadInput("the run is still open.", where=f"run {run_id}")
            before, after = self.would_thin(run_id, every_seconds)
            if before == after:
                return None
            row = self._store.row("SELECT max(id) AS last FROM trace_blocks WHERE run_id = ?", (run_id,))
            heart = self._store.row("SELECT min(heartbeat_id) AS first FROM trace_blocks WHERE run_id = ?", (run_id,))
            assert row is not None and heart is not None
            parts = [thinned(self._assemble(run_id, blocks), every_seconds) for blocks in self._origins(run_id)]
            self._store.insert(
                "thinnings",
                run_id=run_id,
                at=stamp(at),
                who=who.strip() or "unknown",
                every_seconds=every_seconds,
                samples_before=before,
                samples_after=after,
                through_block=row["last"],
            )
            self._store.rows("DELETE FROM trace_blocks WHERE run_id = ? AND id <= ?", (run_id, row["last"]))
            for number, part in enumerate(parts):
                # Those of the heartbeats come first, and stay told from imported ones.
                self._put_blocks(run_id, part, heart["first"] if number == 0 else None)
        return self.thinnings(run_id)[-1]

    def thinnings(self, run_id: int) -> list[Thinning]:
        """What was done to a run's samples, oldest first; empty for most runs."""
        rows = self._store.rows("SELECT * FROM thinnings WHERE run_id = ? ORDER BY id", (run_id,))
        return [_thinning_of(row) for row in rows]


def _thinning_of(row: sqlite3.Row) -> Thinning:
    return Thinning(
        run_id=row["run_id"],
        at=moment(row["at"]),
        who=row["who"],
        every_seconds=row["every_seconds"],
        samples_before=row["samples_before"],
        samples_after=row["samples_after"],
    )
