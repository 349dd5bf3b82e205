"""The load under which all tuned knobs are held at once: heat and supply are shared, and this is the worst case."""

from __future__ import annotations

from collections.abc import Sequence

from surefoot.load_names import CPU, CPU_GPU
from surefoot.search.run_evidence import part_of
from surefoot.units import Knob, LoadCard, Unit

PARTS_OF_IT = frozenset({"cpu", "gpu"})


def load_together(unit: Unit, knobs: Sequence[Knob]) -> str:
    """Name of a load that exercises every one of some knobs at the same time, or "" where none is known.

    The one that their cards have in common; else a load of the unit's card that bears on them all; else the built-in
    one for processor and graphics together, where the knobs are of both, or for all cores, where they are of single
    cores; else "".
    """
    named = {knob.load for knob in knobs}
    if len(named) == 1 and (only := named.pop()):
        return only
    for card in unit.loads:
        if all(_bears(card, knob) for knob in knobs):
            return card.name
    parts = {part_of(knob.domain) for knob in knobs}
    if parts == {"cpu"} and any(knob.cores for knob in knobs):
        return CPU
    return CPU_GPU if parts == PARTS_OF_IT else ""


def _bears(card: LoadCard, knob: Knob) -> bool:
    domain = knob.domain.lower()
    said = {part.lower() for part in card.exercises}
    return knob.name in card.exercises or domain in said or part_of(domain) in said
