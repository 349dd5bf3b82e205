"""What a sensor source, a load and a pair of hands each are. One to a file, found through `surefoot.rig.registry`."""

from __future__ import annotations

from typing import Any, Protocol, runtime_checkable

from surefoot.runs import LoadState as LoadState
from surefoot.units import Setting, Unit


class SensorSource(Protocol):
    """Something that can be read for sensor values, in canonical channels and units."""

    name: str

    def channels(self) -> tuple[str, ...]:
        """The canonical channels this machine offers through it; () when there is nothing."""
        ...

    def read(self) -> dict[str, float]:
        """One sample. A channel that cannot be read now is left out; never raises for a sensor that went away."""
        ...

    def missing(self) -> tuple[str, ...]:
        """In words: what is not there, and what cannot be judged without it."""
        ...


class LoadSession(Protocol):
    """A load that has been started."""

    def poll(self) -> LoadState:
        """What it says now; returns at once."""
        ...

    def stop(self) -> LoadState:
        """End it, all its processes too, and give the last word. May be called twice."""
        ...


@runtime_checkable
class TellsOfCores(Protocol):
    """A session that knows what each of its workers does."""

    def cores(self) -> dict[str, dict[str, Any]]:
        """What each does now, by the worker's words."""
        ...


class Load(Protocol):
    """Something that can be run while a setting is held."""

    name: str
    by_hand: bool

    def exercises(self) -> tuple[str, ...]:
        """The domains it bears on: ``cpu``, ``gpu``, ``memory``; with ``transition`` when it goes idle to full."""
        ...

    def start(self, minutes: float) -> LoadSession:
        """Begin. Raises MachineError, in words, when it cannot."""
        ...


class Hands(Protocol):
    """Whoever applies a setting."""

    kind: str

    @property
    def can_read_back(self) -> bool:
        """Whether `read_back` can say anything."""
        ...

    def apply(self, unit: Unit, setting: Setting) -> Setting | None:
        """Set it. Returns the setting as read back, or None when it cannot be read back.

        Raises MachineError when it could not be applied.
        """
        ...

    def read_back(self, unit: Unit) -> Setting | None:
        """What is set now; None when that cannot be known. Raises MachineError when reading failed."""
        ...
