"""A joint run loads every tuned part at the same time, whatever load was asked for."""

from __future__ import annotations

from dataclasses import replace

import pytest

from surefoot.errors import MachineError
from surefoot.guide.bench import Bench
from surefoot.guide.voice import Unattended
from surefoot.guide.which_load import load_for
from surefoot.journal import Journal
from surefoot.rehearsal.machine import VirtualLoad, VirtualMachine
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.runs import Purpose
from surefoot.search import Step
from surefoot.units import Knob, LoadCard, Unit

CORE = Knob("cpu-core", "cpu", "mV", "down", 5, 250)
CLOCK = Knob("gpu-core", "gpu", "MHz", "up", 15, 300)
BOTH = LoadCard(name="both", command=("x",), exercises=("cpu", "gpu"))
HALF = LoadCard(name="half", command=("x",), exercises=("cpu",))
UNIT = Unit(name="shoebox-3", knobs=(CORE, CLOCK), loads=(HALF, BOTH))


class OneOff(VirtualMachine):
    """Without one of its loads."""

    without = ""

    def load(self, name: str, unit: Unit) -> VirtualLoad:
        if name == self.without:
            raise MachineError(f"the load {name!r} cannot be started here.")
        return super().load(name, unit)


@pytest.fixture
def bench(journal: Journal) -> Bench:
    edges = {"cpu-core": VirtualUnit(100, 5), "gpu-core": VirtualUnit(140, 9)}
    return Bench(journal, UNIT, OneOff(UNIT, edges, seed=1), Unattended())


def step(purpose: Purpose, load: str = "", **depths: float) -> Step:
    setting = UNIT.setting_at({name.replace("_", "-"): depth for name, depth in depths.items()})
    knob = "" if purpose == "joint" else "cpu-core"
    return Step(
        stop=False,
        why_stop="",
        knob=knob,
        purpose=purpose,
        setting=setting,
        minutes=10,
        failure_chance=0.1,
        reason="",
        claim="",
        settles="",
        proposal=None,
        load=load,
    )


def said(bench: Bench) -> str:
    assert isinstance(bench.voice, Unattended)
    return " ".join(text for _, text in bench.voice.said)


def test_a_search_run_takes_what_was_asked_for_then_the_steps_own_then_the_knobs(bench: Bench) -> None:
    assert load_for(bench, step("search", "mix", cpu_core=40), "half") == "half"
    assert load_for(bench, step("search", "mix", cpu_core=40), None) == "mix"
    assert load_for(bench, step("search", cpu_core=40), None) == bench.machine.default_load(UNIT, "cpu-core")


def test_a_joint_run_does_not_take_half_a_load(bench: Bench) -> None:
    joint = step("joint", "both", cpu_core=40, gpu_core=60)
    assert load_for(bench, joint, "half") == "both"
    assert "half leaves gpu-core idle" in said(bench)
    assert load_for(bench, step("joint", "both", cpu_core=40), "half") == "half", "one knob off stock: half is all"


def test_a_joint_run_takes_a_load_that_works_every_part(bench: Bench) -> None:
    assert load_for(bench, step("joint", "other", cpu_core=40, gpu_core=60), "both") == "both"
    assert said(bench) == ""


def test_a_load_that_cannot_be_had_is_told_and_the_machines_own_is_taken(bench: Bench) -> None:
    assert isinstance(bench.machine, OneOff)
    bench.machine.without = "cpu-gpu"
    found = load_for(bench, step("joint", "cpu-gpu", cpu_core=40, gpu_core=60), None)
    assert found == bench.machine.default_load(UNIT, None) != "cpu-gpu"
    assert "cannot be started here" in said(bench)


def test_what_a_load_leaves_idle_is_told_by_knob_and_domain_alone(bench: Bench) -> None:
    """A part is loaded where the load names its knob, its domain or the domain's first word, in whatever case; that it
    goes from idle to full says nothing of parts, and a load that names none is taken at its word."""
    memory = Knob("vram", "gpu-memory", "MHz", "up", 10, 500)
    loads = (
        LoadCard(name="by-knob", command=("x",), exercises=("CPU-Core", "gpu")),
        LoadCard(name="by-jump", command=("x",), exercises=("transition",)),
        LoadCard(name="jump-of-one", command=("x",), exercises=("cpu", "transition")),
        BOTH,
    )
    unit = Unit(name="shoebox-3", knobs=(CORE, CLOCK, memory), loads=loads)
    edges = {knob.name: VirtualUnit(100, 5) for knob in unit.knobs}
    bench = Bench(bench.journal, unit, OneOff(unit, edges, seed=1), bench.voice)
    joint = step("joint", "both", cpu_core=40)
    joint = replace(joint, setting=unit.setting_at({"cpu-core": 40, "gpu-core": 60, "vram": 100}))
    assert load_for(bench, joint, "by-knob") == "by-knob", "gpu bears on gpu-memory too"
    assert load_for(bench, joint, "by-jump") == "by-jump" and said(bench) == ""
    assert load_for(bench, joint, "jump-of-one") == "both"
    assert "jump-of-one leaves gpu-core and vram idle" in said(bench)
