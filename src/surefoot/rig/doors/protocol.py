"""What a door is: one quantity that this machine documents as settable."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol


@dataclass(frozen=True, slots=True)
class DoorRange:
    """What the interface itself takes, as absolute values in the door's unit of measure, and in which steps."""

    low: float
    high: float
    step: float


class Door(Protocol):
    """One quantity of one part. Values are absolute, in ``unit``, as the interface counts them."""

    name: str
    """By which a card names it: ``powercap:long-term``."""
    domain: str
    unit: str
    toward: Literal["down", "up"]
    says: str
    """In words, what it sets and by which interface."""

    def why_not(self) -> str:
        """Why it cannot be used now, in words (locked, closed to this user, not there); "" when it can."""
        ...

    def range(self) -> DoorRange:
        """What may be written. Raises MachineError when the interface does not say."""
        ...

    def stock(self) -> float | None:
        """The maker's own value where the interface documents it; None where only what was found first can tell."""
        ...

    def read(self) -> float:
        """The value now. Raises MachineError when it cannot be read."""
        ...

    def write(self, value: float) -> None:
        """Set it. Raises MachineError when it was not taken."""
        ...
