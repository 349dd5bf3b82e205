"""A unit that was tuned, and a journal to live in."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from surefoot.journal import Journal
from surefoot.rehearsal.machine import FIRST_MOMENT
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.units import Knob, Unit

CORE = Knob("cpu-core", "cpu", "mV", "down", 5, 250)
BENCH = ((0, 10, True), (60, 5, True), (80, 10, True), (95, 10, True), (115, 1.5, False), (90, 20, True))


def tuned(journal: Journal, unit: Unit) -> None:
    """Log a short tuning with its edge near 110 mV."""
    for depth, minutes, held in BENCH:
        plan = RunPlan(
            unit_name=unit.name, setting=unit.setting_at({"cpu-core": depth}), load="cpu", planned_minutes=minutes,
            knob="cpu-core",
        )  # fmt: skip
        outcome = Outcome.HELD if held else Outcome.RESET
        journal.log_run(plan, Closing(outcome=outcome, minutes=minutes, judged_by="test"), at=FIRST_MOMENT)


@pytest.fixture
def unit() -> Unit:
    return Unit(name="shoebox-3", knobs=(CORE,))


@pytest.fixture
def journal(tmp_path: Path, unit: Unit) -> Iterator[Journal]:
    with Journal.open(tmp_path / "journal.sqlite") as opened:
        opened.add_unit(unit)
        tuned(opened, unit)
        yield opened
