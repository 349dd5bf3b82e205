"""What the event log of Windows says of the hardware and of restarts: its records read, and what they mean. Pure.

Record layout: the event schema of the Windows Event Log (Microsoft's documentation). Providers and numbers from
Microsoft's documentation of the events; those marked so from memory:

- ``Microsoft-Windows-Kernel-Power`` 41: the system restarted without having shut down; ``BugcheckCode``,
  ``PowerButtonTimestamp``, ``SleepInProgress`` (Microsoft, "Event ID 41").
- ``EventLog`` 6008: the last shutdown was unexpected; 6006: the log was stopped, as a clean shutdown does.
- ``User32`` 1074: a process or person has asked for a restart or shutdown, with the reason (from memory).
- ``Microsoft-Windows-WER-SystemErrorReporting`` 1001: the stop code (from memory).
- ``Microsoft-Windows-WHEA-Logger``: hardware errors; in its even numbers from 16 fatal, in its odd ones corrected,
  and 1 fatal, 2 corrected (titles of the provider's events, read); 46 and 47 memory, fatal and corrected (from
  memory). The level of a record says the same: 1 and 2 are an error, 3 a warning.
- ``Display`` 4101: the display driver stopped responding and has recovered (from memory).
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Final

from surefoot.rig.faults import LoggedFault
from surefoot.runs import Ending, Outcome

NAMESPACE: Final = "{http://schemas.microsoft.com/win/2004/08/events/event}"
MOST_RECORDS: Final = 20_000

KERNEL_POWER: Final = "Microsoft-Windows-Kernel-Power"
WHEA: Final = "Microsoft-Windows-WHEA-Logger"
STOP_CODE: Final = "Microsoft-Windows-WER-SystemErrorReporting"
EVENT_LOG: Final = "EventLog"
ASKED_FOR: Final = "User32"
GENERAL: Final = "Microsoft-Windows-Kernel-General"


@dataclass(frozen=True, slots=True)
class EventRecord:
    """One record: who wrote it, its number, level (1 critical to 4 information), time (UTC), place, and its data.

    ``data``: by name; values without a name are numbered from "0".
    """

    provider: str
    number: int
    level: int
    at: datetime
    record: int = -1
    data: Mapping[str, str] = field(default_factory=dict)


def parse_events(text: str) -> list[EventRecord]:
    """Records from XML, as ``wevtutil query-events /format:xml`` writes them, with or without a root element.

    What is no record, or lacks its number or time, is left out; text that is no XML gives what was whole before.
    """
    found: list[EventRecord] = []
    # One record at a time: one torn record must not lose the others.
    for match in re.finditer(r"<Event[ >].*?</Event>", text, re.DOTALL):
        if len(found) >= MOST_RECORDS:
            break
        try:
            event = ET.fromstring(match[0])
        except ET.ParseError:
            continue
        if (record := _record(event)) is not None:
            found.append(record)
    return found


def _record(event: ET.Element) -> EventRecord | None:
    system = _child(event, "System")
    if system is None:
        return None
    provider, number, created = (_child(system, name) for name in ("Provider", "EventID", "TimeCreated"))
    if provider is None or number is None or created is None:
        return None
    at = _moment(created.get("SystemTime", ""))
    digits = (number.text or "").strip()
    if at is None or not digits.isdigit():
        return None
    return EventRecord(
        provider=provider.get("Name", ""),
        number=int(digits),
        level=_whole(_text(system, "Level"), 4),
        at=at,
        record=_whole(_text(system, "EventRecordID"), -1),
        data=_data(event),
    )


def _child(element: ET.Element, name: str) -> ET.Element | None:
    found = element.find(f"{NAMESPACE}{name}")
    return found if found is not None else element.find(name)


def _text(element: ET.Element, name: str) -> str:
    found = _child(element, name)
    return (found.text or "").strip() if found is not None else ""


def _whole(text: str, otherwise: int) -> int:
    return int(text) if text.isdigit() else otherwise


def _data(event: ET.Element) -> dict[str, str]:
    data: dict[str, str] = {}
    section = _child(event, "EventData")
    if section is None:
        section = _child(event, "UserData")
    for item in section.iter() if section is not None else ():
        if item.tag.rpartition("}")[2] == "Data":
            data[item.get("Name") or str(len(data))] = (item.text or "").strip()
    return data


def _moment(text: str) -> datetime | None:
    """``2026-05-04T09:11:12.1234567Z``: the log has seven digits, the library reads six."""
    try:
        read = datetime.fromisoformat(re.sub(r"(\.\d{6})\d+", r"\1", text.replace("Z", "+00:00")))
    except ValueError:
        return None
    return read if read.tzinfo else read.replace(tzinfo=UTC)


def fault_of(record: EventRecord) -> LoggedFault | None:
    """What one record says of the hardware; None when it says nothing of this kind."""
    if record.provider == WHEA:
        return _hardware(record)
    if record.provider == "Display" and record.number == 4101:
        name = record.data.get("0", "")
        words = f"display driver {name} stopped responding and has recovered" if name else "display driver recovered"
        return LoggedFault(Outcome.DRIVER_RESET, "gpu", words)
    if record.number in _DRIVERS.get(record.provider.lower(), frozenset()):
        return LoggedFault(Outcome.DRIVER_RESET, "gpu", f"graphics driver {record.provider}: event {record.number}")
    return None


# Numbers under which the makers' drivers write that an engine faulted or was reset (from memory: the drivers' events
# 13 and 14 carry an error of the graphics engine, 153 its reset; 4101 is the system's own).
_DRIVERS: Final[Mapping[str, frozenset[int]]] = {"nvlddmkm": frozenset({13, 14, 153})}


def _hardware(record: EventRecord) -> LoggedFault | None:
    # Level 4 is information ("successfully initialized", a summary): no error.
    if record.level >= 4:
        return None
    part = "memory" if record.number in (46, 47) else "bus" if record.number in (16, 17) else "processor"
    source = ", ".join(
        f"{name} {record.data[name]}"
        for name in ("ErrorSource", "ErrorType", "ApicId", "MCABank")
        if record.data.get(name)
    )
    kind = "corrected" if record.level == 3 else "fatal"
    said = f"the system logged a {kind} hardware error ({part}; event {record.number}{'; ' + source if source else ''})"
    # A fatal one that left the system running is no less a failure than a corrected one; the outcome that names
    # hardware errors is the same. One that took the system down is judged by the restart.
    return LoggedFault(Outcome.CORRECTED, "cpu" if part == "processor" else part, said)


def faults_in_records(records: Iterable[EventRecord]) -> list[LoggedFault]:
    """What the records say, a driver reset before corrected errors."""
    found = [fault for record in records if (fault := fault_of(record)) is not None]
    return sorted(found, key=lambda fault: fault.outcome is not Outcome.DRIVER_RESET)


def ending_in(records: Iterable[EventRecord]) -> Ending | None:
    """How the boot that these records begin in came to its end: the first restart that they tell of.

    None when they tell of none. ``froze``: switched off by its button held down; ``crash``: a stop code, or down
    without a shutdown; ``planned``: somebody or something asked for it and it shut down.
    """
    ordered = sorted(records, key=lambda record: (record.at, record.record))
    asked: EventRecord | None = None
    stopped: EventRecord | None = None
    for record in ordered:
        if record.provider == ASKED_FOR and record.number == 1074:
            asked = record
        elif (record.provider == EVENT_LOG and record.number == 6006) or (
            record.provider == GENERAL and record.number == 13
        ):
            stopped = record
        elif record.provider == KERNEL_POWER and record.number == 41:
            return _unexpected(record, ordered)
        elif record.provider == EVENT_LOG and record.number == 6008:
            # Written at the next start beside 41 where that is written at all.
            power = next((one for one in ordered if one.provider == KERNEL_POWER and one.number == 41), None)
            return _unexpected(power, ordered)
        elif record.provider == GENERAL and record.number == 12 and stopped is not None:
            return _planned(asked)
    return _planned(asked) if stopped is not None else None


def _planned(asked: EventRecord | None) -> Ending:
    if asked is None:
        return Ending("planned", "the system was shut down in order")
    who, why = asked.data.get("param1", asked.data.get("0", "")), asked.data.get("param3", asked.data.get("2", ""))
    told = f" by {who.rpartition(chr(92))[2].split(' ')[0]}" if who else ""
    return Ending("planned", f"a restart or shutdown was asked for{told}{f' ({why})' if why else ''}")


def _unexpected(power: EventRecord | None, records: list[EventRecord]) -> Ending:
    code = _number(power.data.get("BugcheckCode", "0")) if power is not None else 0
    reported = next((one for one in records if one.provider == STOP_CODE and one.number == 1001), None)
    if code:
        return Ending("crash", f"the system stopped with code 0x{code:08x}")
    if reported is not None:
        text = reported.data.get("param1", reported.data.get("0", ""))
        match = re.search(r"0x[0-9a-fA-F]+", text)
        return Ending("crash", f"the system stopped with code {match[0] if match else text or 'unknown'}")
    if power is not None and _number(power.data.get("PowerButtonTimestamp", "0")):
        return Ending("froze", "the system was switched off by its power button, held down")
    if power is not None and _number(power.data.get("SleepInProgress", "0")):
        return Ending("crash", "the system went down while it went to sleep or woke")
    return Ending("crash", "the system went down without a shutdown and without a stop code: reset, or power lost")


def _number(text: str) -> int:
    try:
        return int(text, 0)
    except ValueError:
        return int(text) if text.isdigit() else 0
