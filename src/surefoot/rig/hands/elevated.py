"""Documented hands behind a helper that has the administrator's rights, where their doors are closed to the user."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from surefoot.errors import MachineError
from surefoot.rig.card_commands import hands_commands, see_confirmed
from surefoot.rig.doors import door
from surefoot.rig.elevated.doors import ElevatedDoor
from surefoot.rig.elevated.pipe import HelperPipe, start
from surefoot.rig.hands.documented import DocumentedHands, Find
from surefoot.units import Setting, Unit


class ElevatedHands:
    """As `DocumentedHands`, each door opened by the helper alone, which is its own guardian: it puts back what it
    changed when its pipe ends. ``pipe``, ``find``: in place of the card's means and this machine's doors, for tests.

    Raises BadInput for a card that does not fit or that was not confirmed on this machine, before anybody is asked for
    a password; MachineError when the helper cannot be had.
    """

    kind = "documented"
    can_read_back = True

    def __init__(
        self,
        unit: Unit,
        prompt: Callable[[str, str], str] | None = None,
        *,
        found: Mapping[str, float] | None = None,
        pipe: HelperPipe | None = None,
        find: Find = door,
    ) -> None:
        DocumentedHands(unit, found=found, find=find)
        if pipe is None:
            see_confirmed(*hands_commands(unit.hands))
            pipe = start(unit.hands.elevate, attended=prompt is not None)
        self._pipe = helper = pipe
        try:
            self._hands = DocumentedHands(unit, found=found, find=lambda name: ElevatedDoor(find(name), helper))
            self._see_first_found(unit, found or {})
        except BaseException:
            self._pipe.close()
            raise

    def _see_first_found(self, unit: Unit, before: Mapping[str, float]) -> None:
        """Two words on what stock is must be one: else something was changed before the helper first looked."""
        for name, value in before.items():
            if name in self.found and abs(self.found[name] - value) > unit.knob(name).step / 2:
                measure = unit.knob(name).unit
                raise MachineError(
                    f"it stood at {value:g} {measure} when it was first seen under this boot, and the helper first "
                    f"found {self.found[name]:g} {measure}.",
                    where=f"knob {name!r}",
                    remedy="Restart the machine: then it is at stock for certain.",
                )

    @property
    def found(self) -> Mapping[str, float]:
        """What stock is, by knob, as the helper found it."""
        return self._hands.found

    @property
    def guardian(self) -> int | None:
        """Process number of the helper."""
        return self._pipe.process

    def start(self, unit: Unit) -> None:
        """It is at its post since it was made."""

    def apply(self, unit: Unit, setting: Setting) -> Setting | None:
        """As `DocumentedHands` does."""
        return self._hands.apply(unit, setting)

    def read_back(self, unit: Unit) -> Setting | None:
        """As `DocumentedHands` does."""
        return self._hands.read_back(unit)

    def close(self) -> None:
        """Let the helper go; what stands then, stays."""
        self._pipe.stop()
