"""What every command about one trace begins with: the run, its card and its samples; and how wide to draw."""

from __future__ import annotations

from typing import TYPE_CHECKING

from surefoot.cli.common import terminal_width
from surefoot.errors import BadInput

if TYPE_CHECKING:
    from surefoot.journal import Journal
    from surefoot.runs import Run, Trace
    from surefoot.units import Unit


def run_with_trace(journal: Journal, run_id: int) -> tuple[Run, Unit, Trace]:
    """The run, its unit's card and its samples. Raises BadInput for an unknown run or one without samples."""
    found = journal.run(run_id)
    trace = journal.trace(run_id)
    if not len(trace):
        raise BadInput(
            f"run {run_id} has no sensor trace.",
            remedy=f"Import one: surefoot trace import FILE --unit {found.plan.unit_name!r} --run {run_id}",
        )
    return found, journal.unit(found.plan.unit_name), trace


def width_here() -> int:
    """Columns to draw in: the terminal's, or those of a pipe."""
    return min(terminal_width(), 160)
