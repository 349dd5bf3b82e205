"""How a boot of Linux ended: from the system's journal of that boot, else from the login records (wtmp).

A boot that shut down in order says so as its last words; one that crashed says nothing. The journal's own words are
those of systemd's manual pages and sources (from memory); the record's layout is utmp(5)'s.
"""

from __future__ import annotations

import re
import shutil
import struct
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from surefoot.runs import Ending

JOURNAL_SECONDS: Final = 15.0
LAST_LINES: Final = 200
WTMP: Final = "var/log/wtmp"
MOST_BYTES: Final = 4 * 1024 * 1024

_IN_ORDER: Final = re.compile(
    r"systemd-shutdown\[|Reached target.*(Reboot|Power[- ]Off|Halt|Shutdown|Final)|"
    r"System is (rebooting|powering down|halting)|The system will (reboot|power off|halt) now|"
    r"systemd-journald\[\d+\]: Journal stopped|Shutting down\.$",
    re.IGNORECASE,
)
_FLAT: Final = re.compile(
    r"(battery|charge).*\bcritical|critical.*\bbattery|UPower.*(hibernate|power ?off)", re.IGNORECASE
)
_PANIC: Final = re.compile(r"Kernel panic|watchdog: BUG: (hard|soft) lockup|Machine check: .*fatal", re.IGNORECASE)


def ending_from_lines(lines: Sequence[str]) -> Ending | None:
    """What the last lines of a boot's journal say of its end; None for no lines. Pure."""
    if not lines:
        return None
    if panic := next((line for line in reversed(lines) if _PANIC.search(line)), None):
        return Ending("crash", f"the kernel's last words: {panic.strip()[-160:]}")
    if any(_IN_ORDER.search(line) for line in lines):
        if any(_FLAT.search(line) for line in lines):
            return Ending("power", "the battery was empty and the system shut down for that")
        return Ending("planned", "the system's journal of that boot ends with a shutdown in order")
    return Ending("crash", "the system's journal of that boot breaks off without a shutdown")


@dataclass(frozen=True, slots=True)
class LoginRecord:
    """One record of utmp(5): its type (1 run level, 2 boot), the user, and the time in seconds since 1970."""

    kind: int
    user: str
    at: float


# utmp(5) on Linux with glibc: short type, int pid, line[32], id[4], user[32], host[256], two shorts, int session,
# two ints of time, int[4] address, 20 unused; 384 bytes.
_RECORD: Final = struct.Struct("<h2xi32s4s32s256shhiii16s20s")
_RUN_LEVEL, _BOOT = 1, 2


def parse_wtmp(data: bytes) -> list[LoginRecord]:
    """Records in file order; what is torn at the end is left out. Pure."""
    found = []
    for start in range(0, len(data) - _RECORD.size + 1, _RECORD.size):
        kind, _, _, _, user, _, _, _, _, seconds, micro, *_ = _RECORD.unpack_from(data, start)
        name = user.split(b"\0", 1)[0].decode("utf-8", errors="replace")
        found.append(LoginRecord(kind, name, seconds + micro / 1e6))
    return found


def ending_from_records(records: Sequence[LoginRecord], since: datetime) -> Ending | None:
    """How the boot that was running at ``since`` ended: with a shutdown record before the next boot's, or without.

    None where no later boot was recorded, so that the records say nothing of it.
    """
    moment = since.timestamp()
    for record in records:
        if record.at < moment:
            continue
        if record.kind == _RUN_LEVEL and record.user == "shutdown":
            at = datetime.fromtimestamp(record.at, UTC)
            return Ending("planned", f"a shutdown in order was recorded at {at:%Y-%m-%d %H:%M} UTC")
        if record.kind == _BOOT:
            return Ending("crash", "the next boot was recorded without a shutdown before it")
    return None


def linux_ending(boot_id: str | None, since: datetime, root: Path | None = None) -> Ending | None:
    """Asked of the journal first, since it names the boot; then of the login records. None when neither says."""
    if root is None and boot_id and (lines := _journal(boot_id)):
        return ending_from_lines(lines)
    try:
        with ((root or Path("/")) / WTMP).open("rb") as file:
            file.seek(0, 2)
            whole = file.tell() // _RECORD.size
            # Only the end of a long file; records are of one length, so that a cut between them tears none.
            file.seek(max(0, whole - MOST_BYTES // _RECORD.size) * _RECORD.size)
            data = file.read(MOST_BYTES)
    except OSError:
        return None
    return ending_from_records(parse_wtmp(data), since)


def _journal(boot_id: str) -> list[str]:
    program = shutil.which("journalctl")
    name = boot_id.replace("-", "")
    if program is None or not re.fullmatch(r"[0-9a-f]{32}", name):
        return []
    command = [program, f"--boot={name}", "--no-pager", "--quiet", "--output=short", f"--lines={LAST_LINES}"]
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, timeout=JOURNAL_SECONDS, check=False, errors="replace"
        )
    except (OSError, subprocess.TimeoutExpired):
        return []
    return done.stdout.splitlines() if done.returncode == 0 else []
