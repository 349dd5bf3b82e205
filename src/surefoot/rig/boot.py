"""Which boot this is: how a machine that went down is told from a tool that was stopped."""

from __future__ import annotations

import os
import platform
from pathlib import Path

REHEARSED = "SUREFOOT_REHEARSE_BOOT"
LINUX_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
BOOT_TIME_PREFIX = "boot-time:"
# Elsewhere the identity is the boot time, which is computed from the wall clock: setting the clock moves it a little.
BOOT_TIME_TOLERANCE_SECONDS = 30.0


def boot_identity(boot_id_file: Path = LINUX_BOOT_ID) -> str:
    """Text that is the same until the machine boots again.

    On Linux the kernel's random boot_id (kernel documentation, sysctl kernel.random); elsewhere the boot time. The
    environment's `SUREFOOT_REHEARSE_BOOT` goes before both: so that what follows a crash can be tried without one.
    """
    if rehearsed := os.environ.get(REHEARSED):
        return f"rehearsed: {rehearsed}"
    try:
        text = boot_id_file.read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):
        text = ""
    if text:
        return text
    import psutil

    return f"{BOOT_TIME_PREFIX}{psutil.boot_time():.0f}"


def same_boot(one: str | None, other: str | None) -> bool | None:
    """Whether two identities are of one boot; None when one is not known or they are of different kinds."""
    if one is None or other is None:
        return None
    one_is_time, other_is_time = (text.startswith(BOOT_TIME_PREFIX) for text in (one, other))
    if one_is_time != other_is_time:
        return None
    if not one_is_time:
        return one == other
    try:
        moments = [float(text.removeprefix(BOOT_TIME_PREFIX)) for text in (one, other)]
    except ValueError:
        return None
    return abs(moments[0] - moments[1]) <= BOOT_TIME_TOLERANCE_SECONDS


def operating_system() -> str:
    """Name and release of the operating system, for the conditions of a run."""
    return f"{platform.system()} {platform.release()}".strip()
