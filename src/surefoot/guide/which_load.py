"""Which load a run is held under. A joint run is held under one that works every tuned part at the same time."""

from __future__ import annotations

from surefoot.errors import MachineError
from surefoot.guide.bench import Bench
from surefoot.search import Step
from surefoot.units import Knob


def load_for(bench: Bench, step: Step, wanted: str | None) -> str:
    """Name of the load for a step: the one that was asked for, the step's own, or the machine's for that knob.

    For a joint run the one that was asked for is taken only where it works every part that is off stock: heat and
    supply are shared, and half of the worst case is not it. What is taken in its place, and why, is said.
    """
    if step.purpose != "joint":
        return wanted or step.load or bench.machine.default_load(bench.unit, step.knob or None)
    tuned = [knob for knob in bench.unit.leaders() if step.setting.value(knob.name)]
    if wanted and (idle := _idle(bench, wanted, tuned)):
        left = " and ".join(idle)
        bench.voice.say(f"{wanted} leaves {left} idle; all are held together now, so another is taken.", "warn")
        wanted = None
    return wanted or _there(bench, step.load) or bench.machine.default_load(bench.unit, None)


def _idle(bench: Bench, name: str, knobs: list[Knob]) -> list[str]:
    """The knobs that a load does not bear on; [] when it does not say what it bears on."""
    exercised = {part.casefold() for part in bench.machine.load(name, bench.unit).exercises()} - {"transition"}
    return [knob.name for knob in knobs if exercised and not _bears(exercised, knob)]


def _bears(exercised: set[str], knob: Knob) -> bool:
    domain = knob.domain.casefold()
    return bool(exercised & {knob.name.casefold(), domain, domain.partition("-")[0]})


def _there(bench: Bench, name: str) -> str:
    """The load where it can be had on this machine, else ""; why not is said."""
    if not name:
        return ""
    try:
        bench.machine.load(name, bench.unit)
    except MachineError as error:
        bench.voice.say(f"{error.message()} The parts cannot be loaded at the same time with it.", "warn")
        return ""
    return name
