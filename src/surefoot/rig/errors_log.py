"""Corrected hardware errors and driver resets that the system saw: its counters, and its kernel's log."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path

from surefoot.rig.faults import LoggedFault as LoggedFault
from surefoot.rig.kernel_log import LogLine, read_since
from surefoot.rig.sensors.memory_errors import count_memory_errors
from surefoot.rig.system_name import system_name
from surefoot.rig.windows.watch import EventLogWatch
from surefoot.runs import Outcome

# What the kernel writes when it has corrected a hardware error, by driver: the machine-check handler (mce), the error
# detection and correction drivers (EDAC), firmware-reported errors (GHES/CPER), and PCI Express error reporting (AER).
# Wording of the kernel's own sources, from memory but for the first, which was read.
_CORRECTED: tuple[tuple[str, str], ...] = (
    (r"mce: \[Hardware Error\]: Machine check events logged", "cpu"),
    (r"\[Hardware Error\]:.*\b(Machine Check|Corrected error|MC\d+_STATUS)", "cpu"),
    (r"EDAC MC\d+: \d+ (CE|UE) ", "memory"),
    (r"\{\d+\}\[Hardware Error\]: Hardware error from APEI", "machine"),
    (r"AER: (Multiple )?Corrected error (message )?received", "bus"),
    (r"PCIe Bus Error: severity=Correct", "bus"),
)
# What the graphics drivers write when the device was reset, hung or lost. From memory of the drivers' sources and of
# the vendor's own list of event numbers (Xid).
_RESETS: tuple[tuple[str, str], ...] = (
    (r"amdgpu .*\bGPU reset (begin|succeeded|\(\d+\) succeeded|failed)", "gpu"),
    (r"amdgpu.*\bring \S+ timeout", "gpu"),
    (r"\[drm.*\] \*ERROR\* ring \S+ timeout", "gpu"),
    (r"\bradeon .*GPU (lockup|reset|softreset)", "gpu"),
    (r"\b(i915|xe) .*(GPU HANG|Resetting (chip|rcs|bcs|vcs|ccs)|GT reset|Engine reset|wedged)", "gpu"),
    (r"nouveau .*(fifo: .*(killed|timeout|fault)|channel \d+ killed)", "gpu"),
    (r"NVRM: Xid \([^)]*\): \d+", "gpu"),
    (r"NVRM: GPU .*(has fallen off the bus|is lost)", "gpu"),
    (r"\bdrm\b.*device wedged", "gpu"),
)
_XID = re.compile(r"NVRM: Xid \([^)]*\): (\d+)")
# Event numbers that only clean up after another, or a program that ended (vendor's list, from memory: 43 stopped after
# another fault, 45 preemptive cleanup). 13 (graphics exception) and 31 (page fault) may be a program's own mistake as
# well, but are what a clock too high shows first (common practice, no source): they count.
_CLEANING_UP_XIDS = frozenset({43, 45})
# Memory errors that the graphics card corrected or contained (the same list, from memory): not a reset.
_CORRECTED_XIDS = frozenset({63, 64, 92, 94, 171, 172})


def classify(text: str) -> LoggedFault | None:
    """What one line of the kernel's log says of the hardware; None when it says nothing of this kind. Pure."""
    if match := _XID.search(text):
        number = int(match[1])
        if number in _CLEANING_UP_XIDS:
            return None
        outcome = Outcome.CORRECTED if number in _CORRECTED_XIDS else Outcome.DRIVER_RESET
        return LoggedFault(outcome, "gpu", text.strip())
    for pattern, part in _RESETS:
        if re.search(pattern, text, re.IGNORECASE):
            return LoggedFault(Outcome.DRIVER_RESET, part, text.strip())
    for pattern, part in _CORRECTED:
        if re.search(pattern, text):
            return LoggedFault(Outcome.CORRECTED, part, text.strip())
    return None


def faults_in(lines: Iterable[LogLine]) -> list[LoggedFault]:
    """What the lines say, the gravest first: a driver reset goes before corrected errors. Pure."""
    found = [fault for line in lines if (fault := classify(line.text)) is not None]
    return sorted(found, key=lambda fault: fault.outcome is not Outcome.DRIVER_RESET)


class ErrorWatch:
    """Corrected errors and driver resets, each told once.

    The counters and the end of the log are noted when the watch begins, so that what was there before never counts
    against a run. ``late``: begun only when something is asked: then the log is judged by its times alone.
    """

    def __init__(self, root: Path | None = None, *, late: bool = False) -> None:
        self._root = root
        self._tree = root or Path("/")
        self._began = datetime.now(UTC)
        self._counts = count_memory_errors(self._tree)
        self._told = -1 if late else self._last_number()

    def _last_number(self) -> int:
        return max((line.number for line in read_since(_LONG_AGO, self._root).lines), default=-1)

    def since(self, moment: datetime | None = None) -> list[LoggedFault]:
        """What was logged since ``moment`` (the start of the watch for None), the gravest first. Never raises.

        What an earlier call has told is not told again.
        """
        lines = read_since(moment or self._began, self._root).lines
        found = faults_in(line for line in lines if line.number < 0 or line.number > self._told)
        self._told = max([self._told, *(line.number for line in lines)])
        before, self._counts = self._counts, count_memory_errors(self._tree)
        if before is not None and self._counts is not None:
            for name, old, new in zip(("corrected", "uncorrected"), before, self._counts, strict=True):
                if new > old:
                    message = f"the kernel counted {new - old:.0f} {name} memory errors"
                    found.append(LoggedFault(Outcome.CORRECTED, "memory", message))
        return found


_LONG_AGO = datetime(1970, 1, 1, tzinfo=UTC)
Watch = ErrorWatch | EventLogWatch
_WATCHES: dict[Path | None, Watch] = {}


def _begin(root: Path | None, *, late: bool = False) -> Watch:
    if root is None and system_name() == "windows":
        return EventLogWatch()
    return ErrorWatch(root, late=late)


def watch(root: Path | None = None) -> Watch:
    """The watch of this process over a machine, begun at the first call. Call it before a run starts."""
    if root not in _WATCHES:
        _WATCHES[root] = _begin(root)
    return _WATCHES[root]


def faults_since(moment: datetime, root: Path | None = None) -> list[LoggedFault]:
    """Corrected hardware errors and driver resets that the system logged since, the gravest first.

    [] when there were none, and when the system does not tell: `blind_spots` says whether it does.
    """
    if root not in _WATCHES:
        _WATCHES[root] = _begin(root, late=True)
    return _WATCHES[root].since(moment)


def blind_spots(root: Path | None = None) -> tuple[str, ...]:
    """In words: what of this the system does not tell this user, and what cannot be judged without it."""
    if root is None and system_name() == "windows":
        return EventLogWatch().blind_spots()
    said = []
    why_not = read_since(datetime.now(UTC), root).why_not
    if why_not:
        said.append(
            f"{why_not[0].upper()}{why_not[1:]}: corrected errors and driver resets in it cannot be seen, so a run "
            "that had some may be called held."
        )
    if count_memory_errors(root or Path("/")) is None:
        said.append("No counters of memory errors: corrected memory errors can only be seen in the kernel's log.")
    return tuple(said)
