"""A door that is opened by the helper and not by this process."""

from __future__ import annotations

from typing import Literal

from surefoot.errors import MachineError
from surefoot.rig.doors import Door, DoorRange
from surefoot.rig.elevated.messages import READ, STOCK, WRITE
from surefoot.rig.elevated.pipe import HelperPipe


class ElevatedDoor:
    """Name, unit of measure and side are this machine's own; values go through the helper, which bounds them again."""

    def __init__(self, local: Door, pipe: HelperPipe) -> None:
        self.name, self.domain, self.unit = local.name, local.domain, local.unit
        self.toward: Literal["down", "up"] = local.toward
        self.says = f"{local.says}, with the administrator's rights"
        self._pipe = pipe

    def why_not(self) -> str:
        """What the helper says to being asked."""
        try:
            self._told()
        except MachineError as error:
            return error.message()
        return ""

    def range(self) -> DoorRange:
        """As the helper allows it."""
        told = self._told()
        return DoorRange(told["low"], told["high"], told["step"])

    def stock(self) -> float | None:
        """The maker's value, or what the helper found first under this boot: never the word of an earlier process."""
        return self._told()["stock"]

    def read(self) -> float:
        """The value now."""
        return self._told()["value"]

    def write(self, value: float) -> None:
        """Set it; stock is asked for by its name, so that the helper knows that nothing is left to put back."""
        stock = self._told()["stock"]
        if abs(value - stock) < 1e-9:
            self._pipe.ask(STOCK, door=self.name)
        else:
            self._pipe.ask(WRITE, door=self.name, value=value)

    def _told(self) -> dict[str, float]:
        return self._pipe.ask(READ, door=self.name)
