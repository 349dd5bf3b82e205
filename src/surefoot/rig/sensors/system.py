"""What psutil reads on every system: how busy the processor is, and elsewhere than on Linux the sensors it knows."""

from __future__ import annotations

import sys

import psutil

from surefoot.rig.sensors.chips import domain_of, part_of
from surefoot.rig.sensors.files import SANE_CELSIUS


class System:
    """``cpu.busy`` everywhere; clock, temperatures, fans and battery where ``whole``, by default not on Linux."""

    name = "psutil"

    def __init__(self, whole: bool | None = None) -> None:
        self._whole = whole if whole is not None else not sys.platform.startswith("linux")
        # The first answer is meaningless: psutil measures between two calls.
        psutil.cpu_percent(interval=None)
        self._channels = tuple(self.read())

    def channels(self) -> tuple[str, ...]:
        """Those that could be read when the source was made."""
        return self._channels

    def read(self) -> dict[str, float]:
        """One sample; what psutil cannot read on this system is left out."""
        sample = {"cpu.busy": float(psutil.cpu_percent(interval=None))}
        try:
            clock = psutil.cpu_freq()
            # On Linux the kernel's own files tell more where they exist; this is what is left on a virtual machine.
            if clock is not None and clock.current:
                sample["cpu.clock"] = float(clock.current)
        except (OSError, NotImplementedError, RuntimeError, AttributeError):
            pass
        if self._whole:
            sample.update(_temperatures())
            sample.update(_fans())
            sample.update(_battery())
        return sample

    def missing(self) -> tuple[str, ...]:
        """Nothing of its own."""
        return ()


def _temperatures() -> dict[str, float]:
    try:
        chips = psutil.sensors_temperatures()
    except (AttributeError, OSError, RuntimeError):
        return {}
    found: dict[str, float] = {}
    for driver, entries in chips.items():
        for number, entry in enumerate(entries, start=1):
            if entry.current is None or not SANE_CELSIUS[0] <= entry.current <= SANE_CELSIUS[1]:
                continue
            part = part_of(driver, entry.label, number)
            found.setdefault(".".join(filter(None, (domain_of(driver), "temperature", part))), float(entry.current))
    return found


def _fans() -> dict[str, float]:
    try:
        chips = psutil.sensors_fans()
    except (AttributeError, OSError, RuntimeError):
        return {}
    found: dict[str, float] = {}
    for driver, entries in chips.items():
        for number, entry in enumerate(entries, start=1):
            part = part_of(driver, entry.label, number)
            found.setdefault(".".join(filter(None, (domain_of(driver), "fan", part))), float(entry.current))
    return found


def _battery() -> dict[str, float]:
    try:
        battery = psutil.sensors_battery()
    except (AttributeError, OSError, RuntimeError):
        return {}
    if battery is None:
        return {}
    found = {"battery.charge": float(battery.percent)}
    if battery.power_plugged is not None:
        found["supply.count.online"] = float(battery.power_plugged)
    return found
