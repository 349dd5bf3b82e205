"""The loads as this machine and this journal know them."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from surefoot.errors import BadInput, MachineError
from surefoot.guide.card_commands import see_commands
from surefoot.guide.try_load import heat_here
from surefoot.guide.voice import Voice
from surefoot.load_names import CPU
from surefoot.rig.loads.catalogue import about
from surefoot.rig.protocols import Load
from surefoot.rig.registry import load_names, make_load, why_not
from surefoot.units import Unit

if TYPE_CHECKING:
    from surefoot.journal import Journal

PER_CORE = "cpu-per-core"


@dataclass(frozen=True, slots=True)
class LoadHere:
    """One load. ``peaks``: the highest temperatures (Celsius, by channel) of the ``runs`` kept in the journal."""

    name: str
    finds: str
    needs: str
    exercises: tuple[str, ...]
    why_not: str = ""
    runs: int = 0
    peaks: dict[str, float] = field(default_factory=dict)


def loads_here(unit: Unit | None, journal: Journal | None) -> tuple[LoadHere, ...]:
    """Every load that could be named, a unit's own first, with what the journal's runs say of its heat."""
    kept: dict[str, list[dict[str, float]]] = {}
    if journal is not None:
        for one in [unit] if unit is not None else journal.units():
            for run in journal.runs(one.name):
                if run.closing is not None and run.plan.source == "rig":
                    peaks = dict(run.closing.detail.get("peaks", {}))
                    kept.setdefault(run.plan.load, []).append(peaks)
    heat = heat_here(kept)
    own = {card.name: card for card in unit.loads} if unit is not None else {}
    found = []
    for name in load_names(unit):
        told = about(name, own.get(name))
        here = LoadHere(name, told.finds, told.needs, make_load(name, unit).exercises())
        reason = "" if name in own else why_not(name)
        found.append(replace(here, why_not=reason, runs=len(kept.get(name, ())), peaks=heat.get(name, {})))
    return tuple(found)


def load_to_try(name: str, unit: Unit | None, per_core: bool, voice: Voice) -> Load:
    """The load that is asked for; a command of the card's is shown and confirmed first where it never was.

    Raises BadInput for an unknown one, one done by hand, or one that nobody confirms; MachineError if not here.
    """
    if per_core:
        if name not in (CPU, PER_CORE):
            raise BadInput(f"load {name!r} cannot be run one core at a time.", remedy="Leave the name out, or use cpu.")
        name = PER_CORE
    load = make_load(name, unit)
    own = unit is not None and any(card.name == name for card in unit.loads)
    if not own and (reason := why_not(name)):
        raise MachineError(f"load {name!r} cannot be run here: it {reason}.")
    if unit is not None and own and not load.by_hand:
        see_commands(unit, voice)
    if load.by_hand:
        raise BadInput(
            f"load {name!r} is done by hand: there is nothing to run.", remedy="Hold it with `surefoot measure`."
        )
    return load
