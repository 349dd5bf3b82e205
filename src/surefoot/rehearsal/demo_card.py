"""The demo's machine: a small desktop of the Third Arch repair workshop, which does not exist, and how it is measured.

It came in clogged with dust and loud. The workshop measures it, blows the dust out, finds its edges, and measures it
again: at the workbench, where it may draw what it likes, and at the counter, where it must be quiet.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from surefoot.units import GoalCard, Knob, LoadCard, Setting, Unit

BOTH_LOAD: Final = "whole-bench"
CPU_LOAD: Final = "gear-check"
GPU_LOAD: Final = "clock-tower"
AS_IT_CAME_IN: Final = "clogged with dust"
CLEANED: Final = "dust blown out"
WORKBENCH: Final = "workbench"
COUNTER: Final = "counter"
ROOM_CELSIUS: Final = 23.5


@dataclass(frozen=True, slots=True)
class Stage:
    """One configuration that is measured: what the workshop calls it, and what is set."""

    name: str
    mode: str
    cooling: str
    setting: Setting


def demo_unit(name: str = "shoebox-3") -> Unit:
    """The card of the virtual desktop, as it came in."""
    return Unit(
        name=name,
        parts={
            "processor": "10 cores, 118 W for long",
            "graphics": "desktop card, 164 W",
            "memory": "48 GB, four modules",
            "cooling": "two tower coolers, three slow fans, a case like a shoebox",
        },
        firmware="R-0.93",
        driver="V-58.1",
        cooling=AS_IT_CAME_IN,
        power_mode=WORKBENCH,
        supply="built in, 520 W",
        supply_watts=520,
        ceilings_celsius={"cpu": 92, "gpu": 86},
        power_limits_watts={"cpu": 118, "gpu": 164},
        knobs=(
            Knob("cpu-core", "cpu", "mV", "down", 4, 140, load=CPU_LOAD),
            Knob("cpu-cache", "cpu", "mV", "down", 4, 140, load=CPU_LOAD, linked_to="cpu-core"),
            Knob("gpu-core", "gpu", "MHz", "up", 20, 280, load=GPU_LOAD),
        ),
        loads=(
            LoadCard(name=CPU_LOAD, instructions="Self-checking sums on every core.", exercises=("cpu",), soft=True),
            LoadCard(name=GPU_LOAD, instructions="The clock tower scene, in a loop.", exercises=("gpu",)),
            LoadCard(name=BOTH_LOAD, instructions="Sums and the clock tower together.", exercises=("cpu", "gpu")),
        ),
        goal=GoalCard(mttf_hours=100, confidence=0.90),
        notes="Third Arch repair workshop, shelf over the vice. Rehearsal data: this machine does not exist.",
    )


def stages_before() -> tuple[Stage, ...]:
    """At stock: as it came in, then with the dust out."""
    stock = Setting()
    return (
        Stage("as it came in", WORKBENCH, AS_IT_CAME_IN, stock),
        Stage("dust out", WORKBENCH, CLEANED, stock),
    )


def stages_after(tuned: Setting) -> tuple[Stage, ...]:
    """With the dust out, stock and the setting that was found, in both power modes: compared as a trial."""
    stock = Setting()
    return (
        Stage("dust out", WORKBENCH, CLEANED, stock),
        Stage("counter", COUNTER, CLEANED, stock),
        Stage("dust out, tuned", WORKBENCH, CLEANED, tuned),
        Stage("counter, tuned", COUNTER, CLEANED, tuned),
    )
