"""The journal as DataFrames, for people who draw and count for themselves. Works with pandas 2 and 3.

import surefoot

with surefoot.open_journal() as journal:
    runs = journal.runs("shoebox-3")
    print(runs.groupby("outcome")["minutes"].sum())
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Sequence
from types import TracebackType
from typing import TYPE_CHECKING, Any

from surefoot.runs import Run
from surefoot.scores.comparison import Comparison
from surefoot.scores.frame_curves import curve_point

if TYPE_CHECKING:
    import pandas as pd

    from surefoot.journal.reader import JournalReader


def open_journal(path: str | os.PathLike[str] | None = None) -> JournalFrames:
    """Open a journal for reading, as DataFrames.

    ``path``: its file or folder; by default the data directory (`SUREFOOT_HOME`, or the user data directory). Raises
    JournalError when there is none there or it cannot be used.
    """
    from surefoot.journal.reader import open_to_read

    return JournalFrames(open_to_read(path))


class JournalFrames:
    """A journal as DataFrames. Nothing is written. A context manager; else call `close`.

    Every method that takes a unit raises BadInput for one that is not there.
    """

    def __init__(self, journal: JournalReader) -> None:
        self.journal = journal

    def __enter__(self) -> JournalFrames:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self.journal.close()

    def units(self) -> pd.DataFrame:
        """One row a unit: ``unit``, ``firmware``, ``driver``, ``cooling``, ``knobs`` (their names), ``runs``."""
        import pandas as pd

        return pd.DataFrame(
            [
                {
                    "unit": unit.name,
                    "firmware": unit.firmware,
                    "driver": unit.driver,
                    "cooling": unit.cooling,
                    "knobs": ", ".join(knob.name for knob in unit.knobs),
                    "runs": len(self.journal.runs(unit.name)),
                }
                for unit in self.journal.units()
            ],
            columns=["unit", "firmware", "driver", "cooling", "knobs", "runs"],
        )

    def runs(self, unit_name: str) -> pd.DataFrame:
        """One row a run, oldest first; see `runs_frame`."""
        return runs_frame(self.journal.runs(unit_name))

    def trace(self, run: int) -> pd.DataFrame:
        """The trace of a run: index ``seconds``, a column a channel, NaN where not measured. Raises BadInput."""
        return self.journal.trace(run).to_frame()

    def traces(self, unit_name: str, channels: Sequence[str] | None = None) -> pd.DataFrame:
        """The traces of all runs of a unit, one under the other: ``run``, ``seconds``, then a column a channel.

        ``channels``: only these; one that a run lacks is NaN there.
        """
        import pandas as pd

        frames = []
        for run in self.journal.runs(unit_name):
            if not self.journal.has_trace(run.id):
                continue
            frame = self.trace(run.id).reset_index()
            if channels is not None:
                frame = frame.reindex(columns=["seconds", *channels])
            frame.insert(0, "run", run.id)
            frames.append(frame)
        if not frames:
            return pd.DataFrame(columns=["run", "seconds", *(channels or ())])
        return pd.concat(frames, ignore_index=True)

    def scores(self, unit_name: str) -> pd.DataFrame:
        """One row a score; the curves of frame times are in `frame_times`.

        ``run`` (missing where it is of a configuration), ``configuration``, ``score``, ``value``, ``unit``,
        ``higher_is_better``, ``at``, ``note``.
        """
        import pandas as pd

        rows = [
            {
                "run": entry.run_id,
                "configuration": entry.configuration,
                "score": entry.score.name,
                "value": entry.score.value,
                "unit": entry.score.unit,
                "higher_is_better": entry.score.higher_is_better,
                "at": entry.at,
                "note": entry.score.note,
            }
            for entry in self.journal.scores(unit_name)
            if curve_point(entry.score) is None
        ]
        names = ["run", "configuration", "score", "value", "unit", "higher_is_better", "at", "note"]
        return _typed(pd.DataFrame(rows, columns=names))

    def frame_times(self, unit_name: str) -> pd.DataFrame:
        """One row a percentile of a run's frame-time log: ``configuration`` (its name), ``run`` (missing where it is of
        a configuration), ``scene``, ``percent`` of the frames, ``milliseconds`` that they took at most."""
        import pandas as pd

        from surefoot.report.gather import gather

        gathered = gather(self.journal, unit_name)
        called = {one.key: one.name for one in gathered.configurations}
        rows = [
            (called[one.configuration], one.run_id, one.scene, percent, milliseconds)
            for one in gathered.curves
            for percent, milliseconds in one.milliseconds.items()
        ]
        frame = pd.DataFrame(rows, columns=["configuration", "run", "scene", "percent", "milliseconds"])
        frame["run"] = frame["run"].astype("Int64")
        return frame

    def readings(self, unit_name: str) -> pd.DataFrame:
        """One row an instrument reading.

        ``run``, ``configuration``, ``kind``, ``value``, ``unit``, ``place``, ``background`` (dB(A)), ``state``, ``at``,
        ``note``.
        """
        import pandas as pd

        units = {"sound": "dB(A)", "surface": "°C", "wall-power": "W", "battery": "%"}
        rows = [
            {
                "run": entry.run_id,
                "configuration": entry.configuration,
                "kind": entry.reading.kind,
                "value": entry.reading.value,
                "unit": units[entry.reading.kind],
                "place": entry.reading.place,
                "background": entry.reading.background,
                "state": entry.reading.state,
                "at": entry.reading.at or entry.at,
                "note": entry.reading.note,
            }
            for entry in self.journal.readings(unit_name)
        ]
        names = ["run", "configuration", "kind", "value", "unit", "place", "background", "state", "at", "note"]
        return _typed(pd.DataFrame(rows, columns=names))

    def comparison(
        self,
        unit_name: str,
        configurations: Sequence[str] = (),
        *,
        baseline: str | None = None,
        confidence: float = 0.95,
    ) -> pd.DataFrame:
        """Every metric of every configuration against the baseline; see `comparison_frame`.

        ``configurations``: names or numbers, all when empty; ``baseline``: the first when None. Raises BadInput when
        nothing was measured or a configuration is not there.
        """
        from surefoot.report.gather import comparison_of, gather

        found = comparison_of(gather(self.journal, unit_name), configurations, baseline=baseline, confidence=confidence)
        return comparison_frame(found)

    def limiters(self, unit_name: str) -> pd.DataFrame:
        """What held the clocks down: ``configuration``, ``domain``, ``limiter``, ``share`` (0 to 1), ``runs``."""
        import pandas as pd

        from surefoot.report.gather import gather

        gathered = gather(self.journal, unit_name)
        names = {one.key: one.name for one in gathered.configurations}
        rows = [
            (names[one.configuration], one.domain, label, share, one.runs)
            for one in gathered.limiters
            for label, share in one.shares.items()
        ]
        return pd.DataFrame(rows, columns=["configuration", "domain", "limiter", "share", "runs"])


RUN_COLUMNS = (
    "run", "begun", "ended", "purpose", "knob", "load", "planned_minutes", "minutes", "outcome", "judged_by", "source",
    "ambient_celsius", "power_mode", "cooling", "supply", "firmware", "driver", "operating_system", "configuration",
    "note",
)  # fmt: skip


def runs_frame(runs: Iterable[Run]) -> pd.DataFrame:
    """One row a run: `RUN_COLUMNS`, and a column ``setting.KNOB`` for every knob that was moved.

    A setting is a signed offset, 0 at stock; ``outcome`` is missing while a run is open; ``begun`` and ``ended`` are
    UTC; ``configuration`` is the key that scores and comparisons are grouped by.
    """
    import pandas as pd

    from surefoot.scores.configurations import key_of, parts_of

    runs = list(runs)
    knobs = sorted({name for run in runs for name in run.setting.values})
    rows = []
    for run in runs:
        known = run.plan.conditions
        closing = run.closing
        rows.append({
            "run": run.id,
            "begun": run.opened_at,
            "ended": run.closed_at,
            "purpose": run.plan.purpose,
            "knob": run.plan.knob,
            "load": run.plan.load,
            "planned_minutes": run.plan.planned_minutes,
            "minutes": run.minutes,
            "outcome": closing.outcome.value if closing else None,
            "judged_by": closing.judged_by if closing else None,
            "source": run.plan.source,
            **{name: getattr(known, name) for name in RUN_COLUMNS[11:18]},
            "configuration": key_of(parts_of(run)),
            "note": " ".join(part for part in (run.plan.note, closing.note if closing else "") if part),
            **{f"setting.{name}": run.setting.value(name) for name in knobs},
        })  # fmt: skip
    frame = pd.DataFrame(rows, columns=[*RUN_COLUMNS, *(f"setting.{name}" for name in knobs)])
    for name in ("begun", "ended"):
        frame[name] = pd.to_datetime(frame[name], utc=True)
    frame["ambient_celsius"] = frame["ambient_celsius"].astype("float64")
    return frame


def comparison_frame(comparison: Comparison) -> pd.DataFrame:
    """One row a metric and configuration.

    ``metric``, ``label``, ``unit``, ``better`` (``higher``, ``lower`` or empty), ``configuration``, ``baseline``,
    ``runs``, ``mean``, ``sd``, ``low``, ``high`` (interval of the mean), ``difference``, ``difference_low``,
    ``difference_high``, ``percent``, ``p_adjusted``, ``verdict``, ``is_real``, ``at_most``. NaN where there is none.
    """
    import pandas as pd

    names = {one.key: one.name for one in comparison.configurations}
    rows: list[dict[str, Any]] = []
    for row in comparison.rows:
        for cell in row.cells:
            gain = cell.gain
            rows.append({
                "metric": row.metric.name,
                "label": row.metric.label,
                "unit": row.metric.unit,
                "better": row.metric.better,
                "configuration": names[cell.configuration],
                "baseline": names.get(cell.against or "", ""),
                "runs": cell.runs,
                "mean": cell.mean,
                "sd": cell.sd,
                "low": cell.low,
                "high": cell.high,
                "difference": gain.absolute if gain else math.nan,
                "difference_low": gain.low if gain else math.nan,
                "difference_high": gain.high if gain else math.nan,
                "percent": gain.percent if gain else math.nan,
                "p_adjusted": gain.p_adjusted if gain else math.nan,
                "verdict": cell.verdict,
                "is_real": cell.is_real,
                "at_most": cell.at_most,
            })  # fmt: skip
    return pd.DataFrame(rows)


def _typed(frame: pd.DataFrame) -> pd.DataFrame:
    """Whole numbers that may be missing, and moments in UTC, alike in pandas 2 and 3."""
    import pandas as pd

    frame["run"] = frame["run"].astype("Int64")
    frame["at"] = pd.to_datetime(frame["at"], utc=True)
    return frame
