"""What several of the guide's tests need."""

from __future__ import annotations

from datetime import UTC, datetime

from surefoot.journal import Journal
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.search import Goal
from surefoot.units import Conditions, Unit

BEFORE = datetime(2026, 11, 1, tzinfo=UTC)

WIDE = Goal(max_stride=500)
"""Strides wide enough for a test to go where it likes, once something has held at stock."""


def held_before(
    journal: Journal, unit: Unit, *depths: float, firmware: str | None = None, at: datetime = BEFORE
) -> None:
    """Log that the unit held at these depths of its first knob: the rules let nobody off stock without."""
    for depth in depths:
        plan = RunPlan(
            unit_name=unit.name,
            setting=unit.setting_at({unit.knobs[0].name: depth}),
            load="everything",
            planned_minutes=20,
            conditions=Conditions(firmware=firmware),
            source="hand",
        )
        journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=20, judged_by="test"), at=at)
