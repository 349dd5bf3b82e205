"""The bench: the machine under test and all that works on it, as one thing to hand on."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from surefoot.errors import BadInput
from surefoot.guide.found import found_before, write_found
from surefoot.guide.machine import Machine
from surefoot.guide.voice import Voice
from surefoot.journal import Journal
from surefoot.rig.guardian import WithGuardian, with_guardian
from surefoot.rig.guardian.reports import FILE_NAME
from surefoot.rig.hands.guard import disagreements, guard
from surefoot.rig.protocols import Hands
from surefoot.search import Goal, refusal
from surefoot.units import Conditions, Setting, Unit


@dataclass(frozen=True)
class Bench:
    """A unit with the journal it is kept in, the machine that it is, a voice, and whoever applies its settings.

    ``given_hands``: in place of those that the unit's card names; ``goal``: its strides are the ones kept to. `apply`
    is the one door to the hands: whoever comes, card and rules are asked first, and the journal is told.
    ``temperatures_seen``: the domains whose temperature was read so far: what tells nothing any more is missed.
    """

    journal: Journal
    unit: Unit
    machine: Machine
    voice: Voice
    given_hands: Hands | None = None
    goal: Goal = field(default_factory=Goal)
    temperatures_seen: set[str] = field(default_factory=set)
    _excepted: set[Setting] = field(default_factory=set)

    @cached_property
    def hands(self) -> Hands:
        """Whoever applies a setting. Raises BadInput for hands that are not known or that nobody is there to be."""
        if self.given_hands is not None:
            return self.given_hands
        prompt = self.voice.ask if self.voice.attended else None
        hands = self.machine.hands(self.unit, prompt, found_before(self.journal, self.unit, self.machine.boot_id()))
        if hands.kind == "ask" or self.machine.source == "virtual":
            return hands
        # Whatever ends this process, the unit goes back to stock.
        return with_guardian(hands, self.guardian_log)

    @property
    def guardian_log(self) -> Path:
        """Where a guardian writes that it stepped in."""
        return self.journal.path.parent / FILE_NAME

    def leave_applied(self) -> None:
        """The setting that stands is to outlive this process: the guardian goes without putting it back."""
        if isinstance(self.hands, WithGuardian):
            self.hands.close()

    def apply(self, setting: Setting, why: str = "applied") -> Setting | None:
        """Have a setting applied. Returns what was read back, None when nothing reads back.

        That it may be applied is on disk before the hands are called; that stock is back, after. Raises BadInput for a
        setting that card or rules forbid, MachineError when it could not be applied.
        """
        self.permit(setting)
        write_found(self.journal, self.unit, self.machine, self.hands)
        if not setting.is_stock:
            self._stand(setting, why)
        read = self.hands.apply(self.unit, setting)
        if setting.is_stock and self.left_applied is not None and not self.missing(setting, read):
            self._stand(setting, "back at stock")
        return read

    def permit(self, setting: Setting) -> None:
        """Raises BadInput, before anything is touched, for a setting that card or rules forbid."""
        guard(self.unit, setting)
        if setting.is_stock or setting in self._excepted:
            return
        if rule := self.forbidden(setting):
            raise BadInput(rule, where=f"unit {self.unit.name!r}", remedy="Nothing was applied.")

    def forbidden(self, setting: Setting) -> str | None:
        """The rule against holding a setting on this unit now, in words; None when there is none."""
        runs = self.journal.runs(self.unit.name)
        now = Conditions(firmware=self.unit.firmware, driver=self.unit.driver)
        rule = refusal(self.unit, runs, setting, self.goal, conditions=now)
        if rule and refusal(self.unit, runs, setting, self.goal) is None:
            rule += " Runs under another firmware or driver do not count."
        return rule

    def make_exception(self, setting: Setting, rule: str) -> None:
        """Let a setting past a rule of the search, written down; never past the card."""
        self.journal.note_exception(self.unit.name, setting, rule, at=self.machine.now())
        self._excepted.add(setting)

    @property
    def left_applied(self) -> Setting | None:
        """The setting off stock that may be applied now, as the journal tells it; None when it tells of none."""
        standing = self.journal.standing(self.unit.name)
        return None if standing is None or standing.setting.is_stock else standing.setting

    def missing(self, wanted: Setting, read: Setting | None) -> list[str]:
        """In words, every knob that does not read as wanted; [] when all do, or when nothing was read back."""
        return [] if read is None else disagreements(self.unit, wanted, read)

    def _stand(self, setting: Setting, why: str) -> None:
        machine = self.machine
        self.journal.stand(self.unit.name, setting, why=why, boot_id=machine.boot_id(), at=machine.now())
