"""The power mode that the system is in, as a condition of a run."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from typing import Final

from surefoot.rig.sensors.files import in_order, read_text
from surefoot.rig.system_name import system_name

PROFILE: Final = "sys/firmware/acpi/platform_profile"
CHOICES: Final = "sys/firmware/acpi/platform_profile_choices"
SECONDS: Final = 5.0


def power_mode(root: Path | None = None) -> str | None:
    """The mode in the system's own word; None where it tells none. Never raises.

    Linux: the platform profile (kernel documentation, ABI sysfs-platform_profile), else the processors' energy
    preference or governor where all agree; Windows: the active power scheme (``powercfg /getactivescheme``).
    """
    system = system_name()
    if root is not None or system == "linux":
        return _linux(root or Path("/"))
    if system == "windows":
        return scheme_of(_run(["powercfg", "/getactivescheme"]))
    return None


def _linux(root: Path) -> str | None:
    if profile := read_text(root / PROFILE):
        return profile
    for name in ("energy_performance_preference", "scaling_governor"):
        policies = in_order(root / "sys/devices/system/cpu/cpufreq", "policy[0-9]*")
        found = {text for policy in policies if (text := read_text(policy / name))}
        if len(found) == 1:
            return found.pop()
    return None


def scheme_of(text: str) -> str | None:
    """``Power Scheme GUID: 381b4222-... (Balanced)`` is "Balanced", in whatever language the rest is. Pure."""
    match = re.search(
        r"[0-9a-fA-F]{8}(?:-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}\s*\((.+)\)\s*$", text.strip(), re.MULTILINE
    )
    return match[1].strip() if match else None


def _run(command: list[str]) -> str:
    if shutil.which(command[0]) is None:
        return ""
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=SECONDS, check=False, errors="replace")
    except (OSError, subprocess.TimeoutExpired):
        return ""
    return done.stdout
