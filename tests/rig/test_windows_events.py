"""The event log of Windows: records written by its documentation, and what is made of them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from surefoot.rig.windows.event_log import command, records_since
from surefoot.rig.windows.events import ending_in, fault_of, faults_in_records, parse_events
from surefoot.rig.windows.watch import EventLogWatch
from surefoot.runs import Outcome

START = datetime(2031, 5, 4, 9, 0, tzinfo=UTC)


def record(provider: str, number: int, *, level: int = 4, minute: float = 0, at: int = 1, **data: str) -> str:
    moment = (START + timedelta(minutes=minute)).strftime("%Y-%m-%dT%H:%M:%S")
    values = "".join(f"<Data Name='{name}'>{value}</Data>" for name, value in data.items())
    return (
        "<Event xmlns='http://schemas.microsoft.com/win/2004/08/events/event'><System>"
        f"<Provider Name='{provider}' Guid='{{00000000-0000-0000-0000-000000000000}}'/>"
        f"<EventID Qualifiers='0'>{number}</EventID><Level>{level}</Level>"
        f"<TimeCreated SystemTime='{moment}.1234567Z'/><EventRecordID>{at}</EventRecordID>"
        f"<Channel>System</Channel><Computer>bench</Computer></System><EventData>{values}</EventData></Event>"
    )


def ending(*records: str):
    return ending_in(parse_events("\n".join(records)))


def test_a_record_is_read_whole():
    (read,) = parse_events(record("Microsoft-Windows-Kernel-Power", 41, level=1, at=812, BugcheckCode="159"))
    assert (read.provider, read.number, read.level, read.record) == ("Microsoft-Windows-Kernel-Power", 41, 1, 812)
    assert read.at == START + timedelta(microseconds=123456)
    assert read.data == {"BugcheckCode": "159"}


def test_a_torn_record_loses_no_other():
    whole = record("Display", 4101)
    assert len(parse_events(f"<Events>{whole}<Event><System></Event>{whole}{whole[:200]}")) == 2
    assert parse_events("no XML at all") == []


@pytest.mark.parametrize(
    ("records", "kind", "words"),
    [
        # A stop code goes before all else (Microsoft: event 41, scenario 1).
        ([record("Microsoft-Windows-Kernel-Power", 41, level=1, minute=5, BugcheckCode="292")], "crash", "0x00000124"),
        # The power button held down (scenario 2).
        (
            [
                record(
                    "Microsoft-Windows-Kernel-Power",
                    41,
                    level=1,
                    BugcheckCode="0",
                    PowerButtonTimestamp="133000000000000000",
                )
            ],
            "froze",
            "button",
        ),
        # Neither (scenario 3).
        (
            [record("Microsoft-Windows-Kernel-Power", 41, level=1, BugcheckCode="0", PowerButtonTimestamp="0")],
            "crash",
            "without a shutdown",
        ),
        ([record("EventLog", 6008, level=2)], "crash", "without a shutdown"),
        (
            [
                record("EventLog", 6008, level=2, at=1),
                record(
                    "Microsoft-Windows-WER-SystemErrorReporting", 1001, level=2, at=2, param1="0x0000009c (0x0, 0x1)"
                ),
            ],
            "crash",
            "0x0000009c",
        ),
        (
            [
                record(
                    "User32", 1074, at=1, param1=r"C:\Windows\servicing\TrustedInstaller.exe (BENCH)", param3="update"
                ),
                record("EventLog", 6006, at=2, minute=1),
                record("Microsoft-Windows-Kernel-General", 12, at=3, minute=2),
            ],
            "planned",
            "TrustedInstaller.exe (update)",
        ),
        ([record("Microsoft-Windows-Kernel-General", 13, at=2)], "planned", "in order"),
    ],
)
def test_how_it_went_down(records, kind, words):
    found = ending(*records)
    assert found is not None and found.kind == kind
    assert words in found.words


def test_only_the_first_restart_counts():
    # The run's boot was shut down in order; the crash came to a later one.
    found = ending(
        record("EventLog", 6006, at=1, minute=1),
        record("Microsoft-Windows-Kernel-General", 12, at=2, minute=2),
        record("Microsoft-Windows-Kernel-Power", 41, level=1, at=3, minute=90, BugcheckCode="1"),
    )
    assert found is not None and found.kind == "planned"


def test_a_restart_that_was_asked_for_and_not_carried_out_is_none():
    assert ending(record("User32", 1074)) is None
    assert ending() is None


@pytest.mark.parametrize(
    ("text", "outcome", "part"),
    [
        (record("Microsoft-Windows-WHEA-Logger", 19, level=3, ErrorSource="1", ApicId="4"), Outcome.CORRECTED, "cpu"),
        (record("Microsoft-Windows-WHEA-Logger", 18, level=2), Outcome.CORRECTED, "cpu"),
        (record("Microsoft-Windows-WHEA-Logger", 17, level=3), Outcome.CORRECTED, "bus"),
        (record("Microsoft-Windows-WHEA-Logger", 47, level=3), Outcome.CORRECTED, "memory"),
        (record("Display", 4101, level=3), Outcome.DRIVER_RESET, "gpu"),
        (record("nvlddmkm", 14, level=2), Outcome.DRIVER_RESET, "gpu"),
    ],
)
def test_faults(text, outcome, part):
    fault = fault_of(parse_events(text)[0])
    assert fault is not None and (fault.outcome, fault.part) == (outcome, part)


def test_information_is_no_fault():
    quiet = [
        record("Microsoft-Windows-WHEA-Logger", 1, level=4),
        record("nvlddmkm", 1, level=4),
        record("EventLog", 6005),
    ]
    assert faults_in_records(parse_events("".join(quiet))) == []


def test_the_gravest_comes_first():
    read = parse_events(record("Microsoft-Windows-WHEA-Logger", 19, level=3) + record("Display", 4101, level=3))
    assert [fault.outcome for fault in faults_in_records(read)] == [Outcome.DRIVER_RESET, Outcome.CORRECTED]


def test_each_is_told_once():
    log = parse_events(record("Display", 4101, level=3, at=5))
    watch = EventLogWatch(lambda since: log)
    assert len(watch.since()) == 1
    assert watch.since() == []
    log += parse_events(record("Display", 4101, level=3, at=6))
    assert len(watch.since()) == 1


def test_a_log_that_cannot_be_asked_is_said():
    assert records_since(START) is None  # not on this system
    assert EventLogWatch(lambda since: None).blind_spots()
    assert EventLogWatch(lambda since: []).blind_spots() == ()


def test_the_command_is_an_argument_list_with_the_moment_in_utc():
    arguments = command(datetime.fromisoformat("2031-05-04T11:00:00+02:00"))
    assert arguments[:3] == ["wevtutil", "query-events", "System"]
    assert "2031-05-04T09:00:00.000Z" in arguments[3]
