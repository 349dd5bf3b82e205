"""What this machine offers: sensors, loads, the errors it tells of, its boot, and what cannot be judged here."""

from __future__ import annotations

import re
import time
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

from surefoot.errors import MachineError
from surefoot.rig.boot import BOOT_TIME_PREFIX, boot_identity, operating_system
from surefoot.rig.endings import restart_record
from surefoot.rig.errors_log import blind_spots
from surefoot.rig.loads.gpu.load import graphics_devices
from surefoot.rig.loads.processors import allowed_processors
from surefoot.rig.power_mode import power_mode
from surefoot.rig.questions import Answer, answers
from surefoot.rig.registry import GPU, loads, sensors, why_not
from surefoot.rig.sampler import Sampler
from surefoot.rig.second_machine import second_machine
from surefoot.rig.system_name import system_name
from surefoot.runs import Channel

# Power is the change of a counter over time: between the two looks at the sensors enough must have been counted.
SETTLE_SECONDS = 0.5


@dataclass(frozen=True, slots=True)
class SensorReading:
    """One channel now: ``value`` in ``unit`` (None when it could not be read), and where it comes from."""

    channel: str
    value: float | None
    unit: str
    source: str


@dataclass(frozen=True, slots=True)
class LoadOffer:
    """A load that comes with Surefoot; ``why_not`` is "" where it can be started."""

    name: str
    exercises: tuple[str, ...]
    by_hand: bool
    why_not: str


@dataclass(frozen=True, slots=True)
class Survey:
    """Everything that `survey` found."""

    operating_system: str
    boot_identity: str
    boot_is_certain: bool
    processors: tuple[int, ...]
    sensors: tuple[SensorReading, ...]
    loads: tuple[LoadOffer, ...]
    graphics: tuple[dict[str, str], ...]
    power_mode: str | None = None
    answers: tuple[Answer, ...] = ()
    missing: tuple[str, ...] = field(default=())
    second_machine: tuple[str, ...] = ()


def survey(root: Path | None = None, settle_seconds: float = SETTLE_SECONDS) -> Survey:
    """Look at this machine; takes about ``settle_seconds``. ``root``: of the kernel's files, for tests."""
    # Asked meanwhile: opening every graphics driver takes a second or more.
    with ThreadPoolExecutor(max_workers=1) as pool:
        asked = pool.submit(_graphics)
        sampler = Sampler(sensors(root))
        time.sleep(settle_seconds)
        sample = sampler.read()
        graphics, no_graphics = asked.result()
    identity = boot_identity()
    certain = not identity.startswith(BOOT_TIME_PREFIX)
    blind = blind_spots(root)
    missing = [*sampler.missing(), *blind]
    mode = power_mode(root)
    if not certain:
        missing.append("No boot identity but the boot time: setting the clock by much may look like a restart.")
    return Survey(
        operating_system=operating_system(),
        boot_identity=identity,
        boot_is_certain=certain,
        second_machine=second_machine(),
        processors=allowed_processors(),
        sensors=tuple(
            SensorReading(channel, sample.get(channel), Channel.parse(channel).unit, source)
            for channel, source in sampler.channels().items()
        ),
        loads=_offers(no_graphics),
        graphics=tuple(graphics),
        power_mode=mode,
        answers=answers(
            sampler.channels(),
            system="linux" if root is not None else system_name(),
            boot_is_certain=certain,
            restart_record=restart_record(root),
            # Counters of memory errors are a help beside the log, not the answer.
            faults_blind=[text for text in blind if "log" in text.split(":")[0].lower()],
            power_mode=mode,
        ),
        missing=tuple(missing),
    )


def _graphics() -> tuple[list[dict[str, str]], str]:
    """The graphics devices, and why none of them can be loaded ("" when one can)."""
    if reason := why_not(GPU):
        return [], reason
    try:
        devices = graphics_devices()
    except MachineError as error:
        return [], error.message()
    if not devices:
        return [], "no graphics device was found"
    real = any(device["kind"] != "software" for device in devices)
    return devices, "" if real else "no graphics device but one worked out by the processor"


def _offers(no_graphics: str) -> tuple[LoadOffer, ...]:
    found = []
    for name, make in loads().items():
        load = make()
        reason = no_graphics if any(part.startswith("gpu") for part in load.exercises()) else why_not(name)
        found.append(LoadOffer(name, load.exercises(), load.by_hand, reason))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Row:
    """One line for a reader: one channel, or many of a kind with the range of their values."""

    channels: str
    low: float | None
    high: float | None
    unit: str
    source: str


def rows(readings: Iterable[SensorReading], most: int = 4) -> list[Row]:
    """The readings as lines: more than ``most`` numbered parts of one kind (cores, fans) are one line. Pure."""
    kinds: dict[tuple[str, str], list[SensorReading]] = {}
    for reading in readings:
        kinds.setdefault((_kind(reading.channel), reading.source), []).append(reading)
    found = []
    for (kind, source), members in kinds.items():
        if len(members) <= most:
            found += [Row(item.channel, item.value, item.value, item.unit, source) for item in members]
            continue
        values = [item.value for item in members if item.value is not None]
        name = f"{kind} ({len(members)})"
        found.append(Row(name, min(values, default=None), max(values, default=None), members[0].unit, source))
    return found


def _kind(channel: str) -> str:
    # cpu.clock.core-3 and cpu.clock.core-11-2 are of the kind cpu.clock.core-*.
    return re.sub(r"-\d+(-\d+)?$", "-*", channel) if channel.count(".") > 1 else channel
