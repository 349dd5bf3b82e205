"""The kernel's hardware-monitoring files, ``/sys/class/hwmon``.

Units are those of the kernel's "hwmon sysfs interface": temperatures in millidegrees Celsius, voltages in millivolts,
currents in milliamperes, power in microwatts, energy in microjoules, fans in revolutions a minute, duty 0 to 255;
``freqN_input`` of the graphics drivers in hertz.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from surefoot.rig.sensors.chips import BOARD, by_label, domain_of, part_of
from surefoot.rig.sensors.energy import EnergyMeter
from surefoot.rig.sensors.files import (
    SANE_CELSIUS,
    SANE_LIMIT_CELSIUS,
    FileChannel,
    FileSource,
    in_order,
    read_number,
    read_text,
)

HWMON = "sys/class/hwmon"
_MILLI = 1e-3
_MICRO = 1e-6
_FULL_DUTY = 255.0


class Hwmon(FileSource):
    """Every chip the kernel's drivers offer.

    ``other_gpu``: whether a graphics card is read in another way, so that an integrated one here is ``igpu``.
    """

    name = "hwmon"

    def __init__(self, root: Path, *, other_gpu: bool = False, clock: Callable[[], float] = time.monotonic) -> None:
        chips = _chips(root, other_gpu)
        super().__init__(entry for chip, driver, domain in chips for entry in _chip(chip, driver, domain))
        self._clock = clock
        taken = {entry.channel for entry in self._entries}
        self._meters = [
            meter
            for chip, driver, domain in chips
            for meter in _meters(chip, driver, domain)
            # A chip that tells its power itself needs no counter.
            if meter.channel not in taken and read_number(meter.path) is not None
        ]
        self._watts()

    def channels(self) -> tuple[str, ...]:
        """The files that could be read, and the power of every energy counter."""
        return super().channels() + tuple(meter.channel for meter in self._meters)

    def read(self) -> dict[str, float]:
        """One sample; the power from a counter is the mean since the last."""
        return {**super().read(), **self._watts()}

    def _watts(self) -> dict[str, float]:
        now = self._clock()
        found = {meter.channel: meter.watts(now) for meter in self._meters}
        return {channel: watts for channel, watts in found.items() if watts is not None}


def _chips(root: Path, other_gpu: bool) -> list[tuple[Path, str, str]]:
    """Each chip with its driver and domain."""
    chips = [(chip, read_text(chip / "name") or "") for chip in in_order(root / HWMON, "hwmon*")]
    domains = _name_domains(chips, other_gpu)
    return [(chip, driver, domain) for (chip, driver), domain in zip(chips, domains, strict=True)]


def _meters(chip: Path, driver: str, domain: str) -> Iterator[EnergyMeter]:
    for path, number in _inputs(chip, "energy"):
        yield EnergyMeter(_channel(domain, "power", driver, _label(path), number), path)


def _name_domains(chips: list[tuple[Path, str]], other_gpu: bool) -> list[str]:
    """A domain for each chip: the second graphics card is ``gpu-2``, the second drive ``ssd-2``, and so on."""
    plain = [domain_of(driver) for _, driver in chips]
    discrete = [
        domain == "gpu" and not _integrated(chip, driver) for domain, (chip, driver) in zip(plain, chips, strict=True)
    ]
    counted: dict[str, int] = {"gpu": 1} if other_gpu else {}
    names = []
    for index, domain in enumerate(plain):
        if domain == "gpu" and not discrete[index] and (other_gpu or any(discrete)):
            domain = "igpu"
        if domain in ("gpu", "igpu", "ssd", "disk", "memory", "battery"):
            counted[domain] = counted.get(domain, 0) + 1
            names.append(domain if counted[domain] == 1 else f"{domain}-{counted[domain]}")
        else:
            names.append(domain)
    return names


def _integrated(chip: Path, driver: str) -> bool:
    # amdgpu offers a memory clock and memory temperature on cards of their own only (kernel documentation, amdgpu).
    if driver == "amdgpu":
        return not (chip / "freq2_input").exists() and not (chip / "temp2_input").exists()
    return driver == "i915"


def _chip(chip: Path, driver: str, domain: str) -> Iterator[FileChannel]:
    yield from _temperatures(chip, driver, domain)
    for path, number in _inputs(chip, "in"):
        name = _channel(domain, "voltage", driver, _label(path), number, numbered="in")
        yield FileChannel(name, path, _MILLI)
    for path, number in _inputs(chip, "curr"):
        yield FileChannel(_channel(domain, "current", driver, _label(path), number), path, _MILLI)
    for path, number in _inputs(chip, "fan"):
        label = _label(path)
        owner = by_label(domain, label)
        part = part_of(driver, label, number) if owner == domain else ""
        yield FileChannel(_named(owner, "fan", part), path, 1.0, low=0.0)
    for path, number in _inputs(chip, "freq"):
        yield FileChannel(_channel(domain, "clock", driver, _label(path), number), path, 1e-6, low=0.0)
    yield from _powers(chip, driver, domain)
    for path in in_order(chip, "pwm*"):
        if match := re.fullmatch(r"pwm(\d+)", path.name):
            part = "fan" if match[1] == "1" else f"fan-{match[1]}"
            yield FileChannel(f"{domain}.duty.{part}", path, 100.0 / _FULL_DUTY, low=0.0, high=100.0)
    if domain.startswith(("gpu", "igpu")):
        yield FileChannel(f"{domain}.busy", chip / "device" / "gpu_busy_percent", 1.0, 0.0, 100.0)
        yield FileChannel(f"{domain}.busy.memory", chip / "device" / "mem_busy_percent", 1.0, 0.0, 100.0)


def _temperatures(chip: Path, driver: str, domain: str) -> Iterator[FileChannel]:
    found = [(path, number, _label(path)) for path, number in _inputs(chip, "temp")]
    parts = [part_of(driver, label, number) for _, number, label in found]
    # Without a Tdie the control temperature is the only one of the whole processor.
    if driver in ("k10temp", "zenpower") and "" not in parts:
        parts = ["" if part == "control" else part for part in parts]
    if driver == "coretemp":
        parts = _cores_by_package([label for _, _, label in found], parts)
    for (path, _, _), part in zip(found, parts, strict=True):
        if domain == BOARD and driver:
            part = "-".join(filter(None, (_word_of_driver(driver), part)))
        fault = path.with_name(path.name.replace("_input", "_fault"))
        low, high = SANE_CELSIUS
        yield FileChannel(_named(domain, "temperature", part), path, _MILLI, low, high, fault)
        limit = path.with_name(path.name.replace("_input", "_crit"))
        if limit.exists():
            low, high = SANE_LIMIT_CELSIUS
            yield FileChannel(_named(domain, "temperature-limit", part), limit, _MILLI, low, high)


def _cores_by_package(labels: list[str], parts: list[str]) -> list[str]:
    """The cores of a second processor package told apart from the first's: core 0 of package 1 is ``core-0-2``."""
    package = next((int(match[1]) for label in labels if (match := re.fullmatch(r"Package id (\d+)", label))), 0)
    return [f"{part}-{package + 1}" if package and part.startswith("core-") else part for part in parts]


def _word_of_driver(driver: str) -> str:
    # The firmware's own zone is the board as a whole.
    return "" if driver == "acpitz" else re.sub(r"[^a-z0-9]+", "-", driver.lower()).strip("-")


def _powers(chip: Path, driver: str, domain: str) -> Iterator[FileChannel]:
    seen: set[str] = set()
    # The average is steadier and is what most drivers offer; some only have the present value.
    for kind in ("average", "input"):
        for path in in_order(chip, f"power*_{kind}"):
            match = re.fullmatch(rf"power(\d+)_{kind}", path.name)
            if not match or match[1] in seen or read_number(path) is None:
                continue
            seen.add(match[1])
            label = read_text(chip / f"power{match[1]}_label") or ""
            yield FileChannel(_channel(domain, "power", driver, label, int(match[1])), path, _MICRO, low=0.0)
            cap = chip / f"power{match[1]}_cap"
            if cap.exists():
                name = _channel(domain, "power-limit", driver, label, int(match[1]))
                # A cap of 0 means that none is set.
                yield FileChannel(name, cap, _MICRO, low=1e-3)


def _inputs(chip: Path, kind: str) -> Iterator[tuple[Path, int]]:
    for path in in_order(chip, f"{kind}*_input"):
        if match := re.fullmatch(rf"{kind}(\d+)_input", path.name):
            yield path, int(match[1])


def _label(path: Path) -> str:
    return read_text(path.with_name(path.name.replace("_input", "_label"))) or ""


def _channel(domain: str, quantity: str, driver: str, label: str, number: int, numbered: str = "") -> str:
    if not label and numbered and domain == BOARD:
        return _named(domain, quantity, f"{numbered}{number}")
    # Voltages count from 0, everything else from 1.
    return _named(domain, quantity, part_of(driver, label, number + 1 if numbered == "in" else number))


def _named(domain: str, quantity: str, part: str) -> str:
    return f"{domain}.{quantity}.{part}" if part else f"{domain}.{quantity}"
