"""Finds sensor sources, loads and hands by name. What is new is entered here and touches no other file."""

from __future__ import annotations

from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from surefoot.errors import BadInput
from surefoot.load_names import CPU, CPU_GPU, chosen_processors, core_load
from surefoot.rig.loads.gpu.programs import GPU_PROGRAMS
from surefoot.rig.loads.program import PROGRAMS
from surefoot.rig.protocols import Hands, Load, SensorSource
from surefoot.units import Knob, LoadCard, Unit

if TYPE_CHECKING:
    from surefoot.rig.loads.by_hand import ByHandLoad
    from surefoot.rig.loads.command import CommandLoad
    from surefoot.rig.loads.cpu import CpuLoad
    from surefoot.rig.loads.gpu.load import GpuLoad
    from surefoot.rig.loads.memory.load import MemoryLoad
    from surefoot.rig.loads.together import Together

BY_HAND = "by-hand"
GPU = "gpu"
GPU_MEMORY = "gpu-memory"
MEMORY = "memory"
EVERYTHING = "everything"
GPU_LIBRARY = "wgpu"


def _cpu(name: str) -> Callable[..., Load]:
    def make() -> CpuLoad:
        # Imported here: it brings what starts processes, and listing the loads must not.
        from surefoot.rig.loads.cpu import CpuLoad

        return CpuLoad(name)

    return make


def _gpu(name: str) -> Callable[..., Load]:
    def make() -> GpuLoad:
        from surefoot.rig.loads.gpu.load import GpuLoad

        return GpuLoad(name)

    return make


def _cpu_gpu() -> Together:
    from surefoot.rig.loads.cpu import CpuLoad
    from surefoot.rig.loads.gpu.load import GpuLoad
    from surefoot.rig.loads.together import Together

    # The graphics load first: it needs a moment to open its device, and the processor's must not run alone.
    return Together(CPU_GPU, (GpuLoad(GPU), CpuLoad(CPU, gives_way=True)))


def _memory() -> MemoryLoad:
    from surefoot.rig.loads.memory.load import MemoryLoad

    return MemoryLoad()


def _everything() -> Together:
    from surefoot.rig.loads.cpu import CpuLoad
    from surefoot.rig.loads.gpu.load import GpuLoad
    from surefoot.rig.loads.memory.load import MemoryLoad
    from surefoot.rig.loads.together import Together

    # Half of the free memory and two workers: the processor's own workers go through memory as well.
    memory = MemoryLoad(share=0.5, workers=2, gives_way=True)
    return Together(EVERYTHING, (GpuLoad(GPU), CpuLoad(CPU, gives_way=True), memory))


def _by_hand() -> ByHandLoad:
    from surefoot.rig.loads.by_hand import ByHandLoad

    return ByHandLoad()


def loads() -> dict[str, Callable[..., Load]]:
    """The loads that come with Surefoot by name, each as a maker without arguments."""
    return {
        **{name: _cpu(name) for name in PROGRAMS},
        **{name: _gpu(name) for name in GPU_PROGRAMS},
        MEMORY: _memory,
        CPU_GPU: _cpu_gpu,
        EVERYTHING: _everything,
        BY_HAND: _by_hand,
    }


def why_not(name: str) -> str:
    """Why a load that comes with Surefoot cannot be started here, in words; "" when it can, as far as is known.

    Whether there is a graphics device is only known once it is asked for; `surefoot.rig.survey` does.
    """
    if (name in GPU_PROGRAMS or name in (CPU_GPU, EVERYTHING)) and not has_module(GPU_LIBRARY):
        return "needs the extra: pip install 'surefoot[gpu]'"
    return ""


def load_names(unit: Unit | None = None) -> tuple[str, ...]:
    """Every name `make_load` knows for a unit: its card's own first, then the built-in ones."""
    own = tuple(card.name for card in unit.loads) if unit else ()
    return own + tuple(name for name in loads() if name not in own)


def make_load(name: str, unit: Unit | None = None) -> Load:
    """The load of that name: the unit card's own goes before a built-in one. Raises BadInput naming those there are."""
    for card in unit.loads if unit else ():
        if card.name == name:
            return _of_card(card)
    there = loads()
    if name in there:
        return there[name]()
    if chosen_processors(name):
        return _cpu(name)()
    raise BadInput(
        f"there is no load {name!r}.",
        where=f"unit {unit.name!r}" if unit else None,
        remedy=f"There are: {', '.join(load_names(unit))}.",
    )


def default_load(knob: Knob | None, unit: Unit) -> str:
    """Name of the load that exercises a knob, or all of a unit's knobs together for None.

    The one its card names; else a load of the card's that names the knob; else the built-in one for its domain; else a
    load of the card's that names its domain; else by hand. For all together: the load that they have in common; else a
    load of the card's that names them or their domains all; else the built-in one for all their domains.
    """
    return _of_knob(knob, unit) if knob is not None else _of_all(unit)


def _of_all(unit: Unit) -> str:
    knobs = unit.leaders()
    if not knobs:
        return CPU
    each = {_of_knob(knob, unit) for knob in knobs}
    if len(each) > 1:
        # Knobs of single cores are held together under the load of all of them.
        each = {CPU if chosen_processors(name) else name for name in each}
    if len(each) == 1:
        return each.pop()
    for card in unit.loads:
        if all(knob.name in card.exercises or knob.domain in card.exercises for knob in knobs):
            return card.name
    # The whole graphics load goes through its memory as well.
    if each <= {GPU, GPU_MEMORY}:
        return GPU
    if each <= {CPU, GPU, GPU_MEMORY}:
        return CPU_GPU
    return EVERYTHING if each <= {CPU, GPU, GPU_MEMORY, MEMORY} and has_module(GPU_LIBRARY) else BY_HAND


def _of_knob(knob: Knob, unit: Unit) -> str:
    if knob.load:
        return knob.load
    for card in unit.loads:
        if knob.name in card.exercises:
            return card.name
    built_in = _built_in_for(knob)
    if built_in:
        return built_in
    for card in unit.loads:
        if knob.domain in card.exercises:
            return card.name
    return BY_HAND


def _built_in_for(knob: Knob) -> str:
    domain = knob.domain.lower()
    if domain == "cpu" or domain.startswith("cpu-"):
        return core_load(knob.cores) if knob.cores else CPU
    if domain in ("memory", "ram"):
        return MEMORY
    if has_module(GPU_LIBRARY):
        if domain in ("gpu-memory", "vram") or (domain == "gpu" and "mem" in knob.name.lower()):
            return GPU_MEMORY
        if domain == "gpu" or domain.startswith("gpu-"):
            return GPU
    return ""


def _of_card(card: LoadCard) -> Load:
    if card.command:
        from surefoot.rig.loads.command import CommandLoad

        load: CommandLoad = CommandLoad(card)
        return load
    from surefoot.rig.loads.by_hand import ByHandLoad

    return ByHandLoad(card)


def make_hands(unit: Unit, *, prompt: Callable[[str, str], str] | None = None) -> Hands:
    """The hands of a unit's card. ``ask`` needs ``prompt``: question, answer that an empty reply means, to answer."""
    from surefoot.rig.hands import make_hands as make

    return make(unit, prompt=prompt)


def has_module(name: str) -> bool:
    """Whether an optional library is installed, without importing it."""
    try:
        return find_spec(name) is not None
    except (ImportError, ValueError):
        return False


def sensors(root: Path | None = None) -> list[SensorSource]:
    """The sensor sources that this machine has something to offer through. ``root``: of the file tree, for tests."""
    from surefoot.rig.sensors import found

    return found(root)
