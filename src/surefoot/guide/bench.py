"""The bench: the machine under test and all that works on it, as one thing to hand on."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from surefoot.guide.machine import Machine
from surefoot.guide.voice import Voice
from surefoot.journal import Journal
from surefoot.rig.hands.guard import disagreements
from surefoot.rig.protocols import Hands
from surefoot.units import Setting, Unit


@dataclass(frozen=True)
class Bench:
    """A unit with the journal it is kept in, the machine that it is, a voice, and whoever applies its settings.

    ``given_hands``: in place of those that the unit's card names.
    """

    journal: Journal
    unit: Unit
    machine: Machine
    voice: Voice
    given_hands: Hands | None = None

    @cached_property
    def hands(self) -> Hands:
        """Whoever applies a setting. Raises BadInput for hands that are not known or that nobody is there to be."""
        if self.given_hands is not None:
            return self.given_hands
        return self.machine.hands(self.unit, self.voice.ask if self.voice.attended else None)

    def apply(self, setting: Setting) -> Setting | None:
        """Have a setting applied. Returns what was read back, None when nothing reads back.

        Raises BadInput for a setting that must never be applied, MachineError when it could not be.
        """
        return self.hands.apply(self.unit, setting)

    def missing(self, wanted: Setting, read: Setting | None) -> list[str]:
        """In words, every knob that does not read as wanted; [] when all do, or when nothing was read back."""
        return [] if read is None else disagreements(self.unit, wanted, read)
