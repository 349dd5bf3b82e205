"""Asking Windows for the records of its system log, through the command that it documents for that."""

from __future__ import annotations

import shutil
import subprocess
from datetime import UTC, datetime
from typing import Final

from surefoot.rig.system_name import system_name
from surefoot.rig.windows.events import MOST_RECORDS, EventRecord, parse_events

SECONDS: Final = 20.0
PROVIDERS: Final = (
    "Microsoft-Windows-Kernel-Power",
    "Microsoft-Windows-Kernel-General",
    "Microsoft-Windows-WHEA-Logger",
    "Microsoft-Windows-WER-SystemErrorReporting",
    "EventLog",
    "User32",
    "Display",
    "nvlddmkm",
)


def query(since: datetime) -> str:
    """The query, in the log's own XPath: records of the providers that matter since a moment."""
    moment = since.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")
    providers = " or ".join(f"@Name='{name}'" for name in PROVIDERS)
    return f"*[System[Provider[{providers}] and TimeCreated[@SystemTime>='{moment}']]]"


def command(since: datetime) -> list[str]:
    """The command, oldest record first."""
    return ["wevtutil", "query-events", "System", f"/query:{query(since)}", "/format:xml", f"/count:{MOST_RECORDS}"]


def records_since(since: datetime) -> list[EventRecord] | None:
    """The records since a moment, oldest first; None where the log cannot be asked. Never raises."""
    if system_name() != "windows" or shutil.which("wevtutil") is None:
        return None
    try:
        done = subprocess.run(command(since), capture_output=True, timeout=SECONDS, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return None
    if done.returncode:
        return None
    return parse_events(_text(done.stdout))


def _text(data: bytes) -> str:
    # It writes UTF-16 to some consoles and the console's code page to others.
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    return data.decode("utf-8", errors="replace")
