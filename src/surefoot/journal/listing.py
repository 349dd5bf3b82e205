"""Runs chosen and flattened for a list, a table or another tool."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import Any

from surefoot.errors import BadInput
from surefoot.harmless import for_cell
from surefoot.runs import Outcome, Run
from surefoot.units import Unit

OPEN = "open"
PAGE_RUNS = 100
"""Runs on a page of the list for people."""
_FIRST = ("run", "unit", "opened_at_utc", "closed_at_utc")
_REST = (
    *("load", "purpose", "searched_knob", "planned [min]", "minutes [min]", "outcome", "timed", "judged_by"),
    *("ambient [degC]", "power_mode", "cooling", "supply", "firmware", "driver", "operating_system"),
    *("heartbeats", "source", "note", "closing_note", "corrections"),
)


def chosen(
    runs: Sequence[Run],
    unit: Unit,
    *,
    outcomes: Sequence[str] = (),
    knob: str | None = None,
    last: int | None = None,
) -> list[Run]:
    """The runs with one of the outcomes (or ``open``), that searched or moved a knob, of these the last so many.

    Raises BadInput for an outcome or knob that there is not, and for ``last`` below 1.
    """
    allowed = [*(outcome.value for outcome in Outcome), OPEN]
    for outcome in outcomes:
        if outcome not in allowed:
            raise BadInput(
                f"there is no outcome {outcome!r}.", where="--outcome", remedy=f"Outcomes: {_said(allowed)}."
            )
    if last is not None and last < 1:
        raise BadInput(f"{last} runs cannot be shown; give at least 1.", where="--last")
    if knob is not None and not any(knob in _moved(run) for run in runs):
        unit.knob(knob)
    found = [
        run for run in runs if (not outcomes or outcome_of(run) in outcomes) and (knob is None or knob in _moved(run))
    ]
    return found if last is None else found[-last:]


def page_of(runs: Sequence[Run], page: int) -> list[Run]:
    """A page of runs, oldest first; page 1 holds the newest. Raises BadInput for a page that there is not."""
    pages = pages_of(runs)
    if not 1 <= page <= pages:
        raise BadInput(f"there is no page {page}.", where="--page", remedy=f"Pages: 1 (the newest) to {pages}.")
    last = len(runs) - (page - 1) * PAGE_RUNS
    return list(runs[max(0, last - PAGE_RUNS) : last])


def pages_of(runs: Sequence[Run]) -> int:
    """How many pages they fill; one at least."""
    return max(1, -(-len(runs) // PAGE_RUNS))


def _said(names: Sequence[str]) -> str:
    return ", ".join(names)


def _moved(run: Run) -> set[str]:
    return {*run.setting.values, *run.plan.setting.values, *([run.plan.knob] if run.plan.knob else [])}


def outcome_of(run: Run) -> str:
    """The outcome in a word, ``open`` when there is none yet."""
    return run.outcome.value if run.outcome else OPEN


def as_record(run: Run, unit: Unit, written: Run | None = None) -> dict[str, Any]:
    """A run as one flat record for tools: times UTC, minutes under load, the setting as a dictionary and in words.

    ``written``: the run as it was first written, when it was corrected since.
    """
    closing = run.closing
    return {
        "id": run.id,
        "unit": run.plan.unit_name,
        "opened_at": run.opened_at,
        "closed_at": run.closed_at,
        "setting": dict(run.setting.values),
        "setting_words": run.setting.describe(unit),
        "planned_setting": dict(run.plan.setting.values),
        "load": run.plan.load,
        "purpose": run.plan.purpose,
        "knob": run.plan.knob,
        "planned_minutes": run.plan.planned_minutes,
        "minutes": run.minutes,
        "outcome": outcome_of(run),
        "outcome_says": run.outcome.says if run.outcome else "not closed yet",
        "timed": closing.timed if closing else None,
        "judged_by": closing.judged_by if closing else None,
        "detail": closing.detail if closing else {},
        "conditions": run.plan.conditions.model_dump(),
        "heartbeats": run.heartbeats,
        "boot_id": run.plan.boot_id,
        "source": run.plan.source,
        "note": run.plan.note,
        "closing_note": closing.note if closing else "",
        "corrections": [one.model_dump() for one in run.corrections],
        "first_written": None if written is None else as_record(written, unit),
    }


def csv_text(runs: Sequence[Run], unit: Unit) -> str:
    """The runs as CSV by RFC 4180 (CRLF, quotes doubled): one row a run, units in the header, times UTC.

    One column for each knob, of the card or of an earlier one; a knob at stock is 0.
    """
    measures = {knob.name: knob.unit for knob in unit.knobs}
    for run in runs:
        for name in run.setting.values:
            measures.setdefault(name, "")
    heads = [f"{name} [{measure}]" if measure else name for name, measure in measures.items()]
    file = io.StringIO(newline="")
    out = csv.writer(file, lineterminator="\r\n")
    out.writerow([*_FIRST, *(for_cell(head) for head in heads), *_REST])
    for run in runs:
        record = as_record(run, unit)
        where = run.plan.conditions
        out.writerow(
            _safe(value)
            for value in [
                *(run.id, run.plan.unit_name, run.opened_at.isoformat(), run.closed_at and run.closed_at.isoformat()),
                *(run.setting.value(name) for name in measures),
                *(run.plan.load, run.plan.purpose, run.plan.knob),
                *(run.plan.planned_minutes, run.minutes, record["outcome"], record["timed"], record["judged_by"]),
                *(where.ambient_celsius, where.power_mode, where.cooling, where.supply),
                *(where.firmware, where.driver, where.operating_system),
                *(run.heartbeats, run.plan.source, run.plan.note, record["closing_note"]),
                "; ".join(f"{one.kind} by {one.who}: {one.why}" for one in run.corrections),
            ]
        )
    return file.getvalue()


def _safe(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.10g}"
    return for_cell(value)
