"""Have a setting applied by the unit's hands, outside a run."""

from __future__ import annotations

from surefoot.errors import MachineError
from surefoot.guide.machine import Machine
from surefoot.guide.voice import Voice
from surefoot.rig.hands import make_hands
from surefoot.rig.hands.guard import disagreements
from surefoot.units import Setting, Unit


def apply_setting(unit: Unit, setting: Setting, voice: Voice, machine: Machine | None = None) -> Setting:
    """Apply and return what was read back (what was asked for when nothing reads back).

    Raises BadInput for a setting that must never be applied, MachineError when it could not be, or is not there.
    """
    prompt = voice.ask if voice.attended else None
    hands = machine.hands(unit, prompt) if machine else make_hands(unit, prompt=prompt)
    read = hands.apply(unit, setting)
    if read is None:
        return setting
    if wrong := disagreements(unit, setting, read):
        raise MachineError(
            f"{'; '.join(wrong)}.", where=f"unit {unit.name!r}", remedy="Check the utility that applies it, or restart."
        )
    return read
