"""A ceiling whose temperature vanishes under a run stops it as not judged."""

from __future__ import annotations

import pytest
from guide_bench import WIDE, held_before

from surefoot.guide.bench import Bench
from surefoot.guide.hold import hold
from surefoot.guide.run_in_hand import Holding
from surefoot.guide.settle import Settling, settle
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal
from surefoot.rehearsal.machine import VirtualMachine
from surefoot.runs import Outcome, RunPlan
from surefoot.units import Unit


@pytest.mark.parametrize("after", [0, 20])
def test_a_temperature_that_vanishes(journal: Journal, unit: Unit, machine: VirtualMachine, after: int) -> None:
    held_before(journal, unit, 0)
    real, count = machine.sample, 0

    def sample() -> dict[str, float]:
        nonlocal count
        count += 1
        found = real()
        return found if count <= after else {key: value for key, value in found.items() if "temperature" not in key}

    machine.sample = sample  # type: ignore[method-assign]
    plan = RunPlan(unit_name=unit.name, setting=unit.setting_at({"cpu-core": 5}), load="cpu", planned_minutes=3)
    run = hold(Bench(journal, unit, machine, Unattended(), None, WIDE), plan, Holding(1, 10))
    if not after:
        # Never read at all is said before the run, and is the user's choice.
        assert run.outcome is Outcome.HELD
        return
    assert run.outcome is Outcome.VOID and run.closing is not None
    assert "not judged" in run.closing.judged_by and "cpu temperature" in run.closing.judged_by
    assert run.minutes < 1


def test_a_temperature_that_vanishes_while_the_start_is_waited_for(
    journal: Journal, unit: Unit, machine: VirtualMachine
) -> None:
    """Seen with a log that stopped in between: the run went on without its ceiling."""
    held_before(journal, unit, 0)
    bench = Bench(journal, unit, machine, Unattended(), None, WIDE)
    real, told = machine.sample, 3

    def sample() -> dict[str, float]:
        nonlocal told
        told -= 1
        return {key: value for key, value in real().items() if told >= 0 or "temperature" not in key}

    machine.sample = sample  # type: ignore[method-assign]
    start, words = settle(bench, Settling(within_celsius=-300), {"cpu.temperature": 20.0})
    assert (start, "told no more" in words) == ({}, True)
    plan = RunPlan(unit_name=unit.name, setting=unit.setting_at({"cpu-core": 5}), load="cpu", planned_minutes=3)
    run = hold(bench, plan, Holding(1, 10))
    assert run.outcome is Outcome.VOID and run.closing is not None and "not judged" in run.closing.judged_by
