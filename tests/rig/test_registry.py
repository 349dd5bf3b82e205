"""Loads are found by name."""

from __future__ import annotations

import subprocess
import sys

import pytest

from surefoot.errors import BadInput
from surefoot.rig import registry
from surefoot.rig.registry import default_load, load_names, loads, make_load, why_not
from surefoot.units import Knob, LoadCard, Unit


def knob(name: str, domain: str, **more) -> Knob:
    return Knob(name, domain, more.pop("unit", "mV"), more.pop("toward", "down"), 5, 150, **more)


def unit(*knobs: Knob, loads: tuple[LoadCard, ...] = ()) -> Unit:
    return Unit(name="bench", knobs=knobs, loads=loads)


def test_every_load_that_comes_with_it_can_be_made_and_says_what_it_exercises():
    for name, make in loads().items():
        load = make()
        assert load.name == name
        assert isinstance(load.exercises(), tuple)
    assert make_load("cpu").exercises() == ("cpu", "transition")
    assert make_load("cpu-heavy").exercises() == ("cpu",)
    assert make_load("by-hand").by_hand


def test_the_units_own_loads_go_before():
    own = unit(loads=(LoadCard(name="cpu", command=("x",)), LoadCard(name="game", instructions="Play.")))
    assert type(make_load("cpu", own)).__name__ == "CommandLoad"
    assert make_load("game", own).by_hand
    assert load_names(own)[:2] == ("cpu", "game")
    assert len(load_names(own)) == len(set(load_names(own)))


def test_an_unknown_load_is_bad_input_that_names_those_there_are():
    with pytest.raises(BadInput, match=r"'burn'.*game.*cpu-transitions"):
        make_load("burn", unit(loads=(LoadCard(name="game"),)))


CORE = knob("core", "cpu")
CLOCK = knob("gpu-core", "gpu", unit="MHz", toward="up")
OWN_GPU = LoadCard(name="render", command=("x",), exercises=("gpu",))


@pytest.mark.parametrize(
    ("a_knob", "cards", "name"),
    [
        (CORE, (), "cpu"),
        (knob("cache", "cpu-cache"), (), "cpu"),
        (knob("core", "cpu", load="mine"), (), "mine"),
        (CORE, (LoadCard(name="own", exercises=("core",)),), "own"),
        # The built-in one checks itself: it goes before a load that only names the domain.
        (CORE, (LoadCard(name="own", exercises=("cpu",)),), "cpu"),
        (knob("fabric", "soc"), (), "by-hand"),
        (knob("fabric", "soc"), (LoadCard(name="own", exercises=("soc",)),), "own"),
    ],
)
def test_the_load_of_a_knob(a_knob, cards, name):
    assert default_load(a_knob, unit(a_knob, loads=cards)) == name


MEMORY = knob("gpu-memory", "gpu", unit="MHz", toward="up")


def test_the_load_of_a_graphics_knob_with_and_without_the_library(monkeypatch):
    for a_knob, with_library in ((CLOCK, "gpu"), (MEMORY, "gpu-memory"), (knob("vram", "vram"), "gpu-memory")):
        monkeypatch.setattr(registry, "has_module", lambda name: True)
        assert default_load(a_knob, unit(a_knob)) == with_library
        monkeypatch.setattr(registry, "has_module", lambda name: False)
        assert default_load(a_knob, unit(a_knob)) == "by-hand"
        assert default_load(a_knob, unit(a_knob, loads=(OWN_GPU,))) == (
            "render" if a_knob.domain == "gpu" else "by-hand"
        )


def test_why_a_graphics_load_is_not_here(monkeypatch):
    monkeypatch.setattr(registry, "has_module", lambda name: False)
    assert "surefoot[gpu]" in why_not("gpu")
    assert "surefoot[gpu]" in why_not("cpu-gpu")
    assert why_not("cpu") == why_not("by-hand") == ""


def test_the_load_of_processor_and_graphics_together(monkeypatch):
    monkeypatch.setattr(registry, "has_module", lambda name: True)
    assert default_load(None, unit(CORE, CLOCK, MEMORY)) == "cpu-gpu"
    assert default_load(None, unit(CLOCK, MEMORY)) == "gpu"
    assert make_load("cpu-gpu").exercises() == ("gpu", "gpu-memory", "transition", "cpu")
    monkeypatch.setattr(registry, "has_module", lambda name: False)
    assert default_load(None, unit(CORE, CLOCK)) == "by-hand"


def test_the_load_of_the_whole_unit():
    assert default_load(None, unit(CORE)) == "cpu"
    assert default_load(None, unit(CORE, knob("cache", "cpu", linked_to="core"))) == "cpu"
    everything = LoadCard(name="all", command=("x",), exercises=("cpu", "gpu"))
    assert default_load(None, unit(CORE, CLOCK, loads=(OWN_GPU, everything))) == "all"
    assert default_load(None, unit(knob("fabric", "soc"))) == "by-hand"
    assert default_load(None, unit()) == "cpu"


def test_looking_at_the_loads_imports_nothing_heavy():
    heavy = "[name for name in ('pandas', 'scipy', 'wgpu') if name in sys.modules]"
    code = f"import sys, surefoot.rig.registry as registry; registry.loads(); print({heavy})"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_knob_of_some_cores_is_exercised_by_a_load_of_those_alone():
    one, pair = knob("core-3", "cpu", cores=(3,)), knob("pair", "cpu", cores=(0, 1))
    both = unit(one, pair)
    assert default_load(one, both) == "cpu-core-3"
    assert default_load(pair, both) == "cpu-core-0+1"
    assert make_load("cpu-core-0+1").exercises() == ("cpu", "transition", "core-0", "core-1")
    assert default_load(None, both) == "cpu"
    assert default_load(knob("ram", "memory"), both) == "memory"
