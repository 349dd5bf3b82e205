"""A whole session on a machine whose cores have offsets of their own: each core gets an edge and a certificate."""

from __future__ import annotations

from pathlib import Path

import pytest

from surefoot.guide.bench import Bench
from surefoot.guide.goals import goal_for
from surefoot.guide.session import Options, Session
from surefoot.guide.settle import Settling
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal
from surefoot.rehearsal.machine import MachineDown, VirtualMachine
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.search import assess
from surefoot.units import Knob, Unit

EDGES = {"core-0": 120, "core-1": 88, "core-2+3": 104}
FAST = Options(agreed=True, sample_seconds=10, heartbeat_seconds=120, settling=Settling(at_most_minutes=1))


def test_each_core_is_tried_alone_and_all_are_held_together(tmp_path: Path) -> None:
    knobs = tuple(
        Knob(name, "cpu", "mV", "down", 5, 200, cores=tuple(int(core) for core in name[5:].split("+")))
        for name in EDGES
    )
    unit = Unit(name="cores", knobs=knobs)
    truth = {name: VirtualUnit(edge, 5, soft_share=0.5) for name, edge in EDGES.items()}
    machine = VirtualMachine(unit, truth, seed=4)
    with Journal.open(tmp_path / "journal.sqlite") as journal:
        journal.add_unit(unit)
        for _ in range(40):
            try:
                end = Session(Bench(journal, unit, machine, Unattended()), FAST).run()
                break
            except MachineDown:
                machine.restart()
        runs = journal.runs(unit.name)
        found = assess(unit, runs, goal_for(unit))
        assert end.known is not None and end.known == found.known
        alone = {run.plan.load for run in runs if run.plan.purpose != "joint" and not run.setting.is_stock}
        assert alone == {"cpu-core-0", "cpu-core-1", "cpu-core-2+3"}
        assert any(run.plan.purpose == "joint" and run.plan.load == "cpu" for run in runs)
        for name, edge in truth.items():
            value = end.known.setting.value(name)
            assert value < 0 and edge.mttf_hours(-value) >= 100, (name, value)
            assert found.edges[name] == pytest.approx(edge.edge, abs=10), "what idled while another worked says nothing"
