"""What a session needs of the machine it tunes, and the machine in hand."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Protocol, runtime_checkable

from surefoot.errors import MachineError
from surefoot.rig.protocols import Hands, Load, SensorSource
from surefoot.runs import Ending
from surefoot.units import Unit

if TYPE_CHECKING:
    from surefoot.rig.guardian import GuardianReport
    from surefoot.runs import Outcome, Source

Fault = tuple["Outcome", str]
"""What the system logged: the outcome it means, and its words."""


class Machine(Protocol):
    """The machine in hand, or a virtual one with a clock of its own."""

    @property
    def source(self) -> Source:
        """``rig`` or ``virtual``: kept with every run."""
        ...

    def identity(self) -> str:
        """Which machine this is, over restarts; "" when that cannot be known."""
        ...

    def boot_id(self) -> str:
        """Identity of this boot."""
        ...

    def operating_system(self) -> str:
        """Name and release."""
        ...

    def now(self) -> datetime:
        """Wall-clock time, aware."""
        ...

    def seconds(self) -> float:
        """A clock that never runs backwards, seconds."""
        ...

    def asleep_seconds(self) -> float | None:
        """How long this boot has been suspended in all; None where that cannot be known."""
        ...

    def sleep(self, seconds: float) -> None:
        """Wait."""
        ...

    def sample(self) -> dict[str, float]:
        """The sensors now, in canonical channels."""
        ...

    def missing(self) -> Sequence[str]:
        """Which sensors are missing and what cannot be judged without them, in words."""
        ...

    def load(self, name: str, unit: Unit) -> Load:
        """The load of that name. Raises BadInput for an unknown one, MachineError for one that cannot be had here."""
        ...

    def default_load(self, unit: Unit, knob: str | None) -> str:
        """Name of the load that exercises a knob, or the whole unit for None."""
        ...

    def hands(
        self, unit: Unit, prompt: Callable[[str, str], str] | None, found: Mapping[str, float] | None = None
    ) -> Hands:
        """Whoever applies a setting on this unit. ``found``: what the journal says was there at first, by knob."""
        ...

    def faults_since(self, moment: datetime) -> Sequence[Fault]:
        """Corrected hardware errors and driver resets that the system logged since; [] when it does not tell."""
        ...

    def power_mode(self) -> str | None:
        """The mode that the system is in, in its own word; None where it tells none."""
        ...

    def up_seconds(self) -> float:
        """How long this boot has been up."""
        ...

    def ending(self, boot_id: str | None, since: datetime) -> Ending:
        """How the boot of that identity, which was running at ``since``, came to its end, as the system recorded it."""
        ...


@runtime_checkable
class MachineElsewhere(Machine, Protocol):
    """A machine whose own end keeps records that this one cannot see."""

    def seen_under_the_same_boot(self) -> Ending | None:
        """What it says of an open run though it is still the same boot, such as that it froze; None where nothing."""
        ...

    def guardian_reports(self, unit: Unit, since: datetime) -> list[GuardianReport]:
        """What the guardian there wrote down since."""
        ...


class RealMachine:
    """The machine that this process runs on.

    ``root``: where the kernel's files are looked for; ``more``: sensor sources beside the machine's own, believed
    before those.
    """

    source: Source = "rig"

    def __init__(self, root: Path | None = None, more: Sequence[SensorSource] = ()) -> None:
        from surefoot.rig.errors_log import watch
        from surefoot.rig.registry import sensors
        from surefoot.rig.sampler import Sampler

        self._sources = [*more, *sensors(root)]
        self._sampler = Sampler(self._sources)
        self._root = root
        # Begun now, before any run: counters tell only what has changed since.
        watch(root)

    def listen_to(self, source: SensorSource) -> None:
        """One more sensor source, believed before the others."""
        from surefoot.rig.sampler import Sampler

        self._sources = [source, *self._sources]
        self._sampler = Sampler(self._sources)

    def identity(self) -> str:
        """From the installation and the board."""
        from surefoot.rig.identity import machine_identity

        return machine_identity()

    def boot_id(self) -> str:
        """The kernel's boot identity, or the boot time."""
        from surefoot.rig.boot import boot_identity

        return boot_identity()

    def operating_system(self) -> str:
        """Name and release."""
        from surefoot.rig.boot import operating_system

        return operating_system()

    def now(self) -> datetime:
        """UTC."""
        return datetime.now(UTC)

    def seconds(self) -> float:
        """The system's monotonic clock."""
        return time.monotonic()

    def asleep_seconds(self) -> float | None:
        """From the two clocks of Linux, of which one runs on in sleep. Source: clock_getres(2), CLOCK_BOOTTIME."""
        if sys.platform != "linux":
            return None
        return time.clock_gettime(time.CLOCK_BOOTTIME) - time.clock_gettime(time.CLOCK_MONOTONIC)

    def sleep(self, seconds: float) -> None:
        """Wait."""
        time.sleep(seconds)

    def sample(self) -> dict[str, float]:
        """All sensors once."""
        return self._sampler.read()

    def missing(self) -> Sequence[str]:
        """In words."""
        return self._sampler.missing()

    def load(self, name: str, unit: Unit) -> Load:
        """From the registry: built in, the card's own, or by hand."""
        from surefoot.rig.registry import make_load, why_not

        load = make_load(name, unit)
        if name not in {card.name for card in unit.loads} and (why := why_not(name)):
            raise MachineError(f"the load {name!r} cannot be started here: {why}.")
        return load

    def default_load(self, unit: Unit, knob: str | None) -> str:
        """The card's word, else the domain's own."""
        from surefoot.rig.registry import default_load

        return default_load(unit.knob(knob) if knob else None, unit)

    def hands(
        self, unit: Unit, prompt: Callable[[str, str], str] | None, found: Mapping[str, float] | None = None
    ) -> Hands:
        """The card's hands."""
        from surefoot.rig.hands import make_hands

        return make_hands(unit, prompt=prompt, found=found)

    def faults_since(self, moment: datetime) -> Sequence[Fault]:
        """From the system's own logs."""
        from surefoot.rig.errors_log import faults_since

        return [(fault.outcome, fault.message) for fault in faults_since(moment, self._root)]

    def power_mode(self) -> str | None:
        """From the platform profile or the governor."""
        from surefoot.rig.power_mode import power_mode

        return power_mode(self._root)

    def up_seconds(self) -> float:
        """From the time of the boot."""
        import psutil

        return time.time() - psutil.boot_time()

    def ending(self, boot_id: str | None, since: datetime) -> Ending:
        """From the system's own records."""
        from surefoot.rig.endings import ending_of

        return ending_of(boot_id, since, self._root)
