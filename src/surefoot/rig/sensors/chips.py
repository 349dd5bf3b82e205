"""What the kernel's hardware-monitoring drivers measure: driver name and label to domain and part.

Names and labels are those of the kernel's documentation of each driver (Documentation/hwmon and Documentation/gpu);
from memory where that page was not at hand.
"""

from __future__ import annotations

import re

from surefoot.rig.sensors.files import word

_DOMAINS: tuple[tuple[str, str], ...] = (
    (r"coretemp|k10temp|k8temp|zenpower|fam15h_power|amd_energy|via_cputemp|cpu_thermal|cpu-thermal", "cpu"),
    (r"amdgpu|radeon|nouveau|i915|xe|gpu_thermal|gpu-thermal", "gpu"),
    (r"nvme", "ssd"),
    (r"drivetemp|scsi", "disk"),
    (r"jc42|spd5118|ee1004", "memory"),
    (r"bat\d*|.*battery.*|cw2015.*|sbs.*", "battery"),
    (r"pch_.*|.*chipset.*", "chipset"),
    (r"iwlwifi.*|mt79.*|ath\d+k.*|rtw.*|brcmf.*", "wireless"),
    (r"r8169.*|igb.*|ixgbe.*|bnxt.*|mlx5.*|enp.*|eth.*", "network"),
)
BOARD = "board"


def domain_of(driver: str) -> str:
    """The domain that a driver's chip belongs to; ``board`` for every other chip."""
    for pattern, domain in _DOMAINS:
        if re.fullmatch(pattern, driver.lower()):
            return domain
    return BOARD


# Per driver: label to part. "" is the whole of the domain.
_LABELS: dict[str, tuple[tuple[str, str], ...]] = {
    # coretemp: "Package id N" and "Core N" (Documentation/hwmon/coretemp).
    "coretemp": ((r"package id 0", ""), (r"package id (\d+)", r"package-\1"), (r"core (\d+)", r"core-\1")),
    # k10temp: Tctl is for fan control and may lie above the die's own temperature by a fixed offset; Tdie is the
    # die; Tccd1 and so on its parts (Documentation/hwmon/k10temp).
    "k10temp": ((r"tdie", ""), (r"tctl", "control"), (r"tccd(\d+)", r"die-\1")),
    "zenpower": ((r"tdie", ""), (r"tctl", "control"), (r"tccd(\d+)", r"die-\1")),
    # amdgpu: edge, junction (the hottest spot) and mem; sclk and mclk; vddgfx and vddnb (Documentation/gpu/amdgpu).
    "amdgpu": (
        (r"edge", ""),
        (r"junction", "hotspot"),
        (r"mem", "memory"),
        (r"sclk", ""),
        (r"mclk", "memory"),
        (r"vddgfx", ""),
        (r"vddnb", "northbridge"),
        (r"ppt|slowppt", ""),
        (r"fastppt", "fast"),
    ),
    "i915": ((r"pkg", ""), (r"vram", "memory")),
    "xe": ((r"pkg", ""), (r"card", "card"), (r"vram", "memory")),
    # nvme: "Composite" is the drive's own figure.
    "nvme": ((r"composite", ""), (r"sensor (\d+)", r"sensor-\1")),
}


def part_of(driver: str, label: str, number: int) -> str:
    """The part that a label names; without a label the first of its kind is the whole and others are numbered."""
    if not label:
        return "" if number <= 1 else f"{number}"
    for pattern, part in _LABELS.get(driver.lower(), ()):
        match = re.fullmatch(pattern, label.strip().lower())
        if match:
            return match.expand(part)
    return word(label)


def by_label(domain: str, label: str) -> str:
    """A board chip's fan may be a processor's or a graphics card's: the domain that its label names, else its own."""
    words = set(word(label).split("-"))
    if domain == BOARD and "cpu" in words:
        return "cpu"
    if domain == BOARD and "gpu" in words:
        return "gpu"
    return domain
