"""Offsets of a graphics card through the kernel's overdrive table, ``pp_od_clk_voltage`` (kernel documentation, amdgpu
thermal controls): ``OD_SCLK``, ``OD_MCLK`` and ``OD_VDDGFX_OFFSET``, bounded by ``OD_RANGE``; ``c`` commits.

Where the table is not offered the administrator has not opened overdrive, and nothing here opens it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from surefoot.errors import MachineError
from surefoot.rig.doors.files import closed, number_in, write_text
from surefoot.rig.doors.protocol import DoorRange
from surefoot.rig.sensors.files import in_order, read_number, read_text

CARDS = "sys/class/drm"
TABLE = "pp_od_clk_voltage"


@dataclass(frozen=True)
class OverdriveTable:
    """The table as text, read. ``highest``: by ``SCLK`` and ``MCLK`` the highest state in MHz; ``offset_mv``: the
    voltage offset, None where there is none; ``ranges``: by name (low, high)."""

    highest: dict[str, tuple[int, float]]
    offset_mv: float | None
    ranges: dict[str, tuple[float, float]]


def parse_table(text: str) -> OverdriveTable:
    """The table from its text. Pure; what is not understood is left out."""
    highest: dict[str, tuple[int, float]] = {}
    ranges: dict[str, tuple[float, float]] = {}
    offset: float | None = None
    section = ""
    for line in text.splitlines():
        if heading := re.match(r"\s*(OD_\w+):", line):
            section = heading[1]
        elif section in ("OD_SCLK", "OD_MCLK") and (state := re.match(r"\s*(\d+):\s*(\d+)\s*M[Hh]z", line)):
            name = section.removeprefix("OD_")
            if name not in highest or int(state[1]) >= highest[name][0]:
                highest[name] = (int(state[1]), float(state[2]))
        elif section == "OD_VDDGFX_OFFSET" and (value := re.match(r"\s*(-?\d+)\s*m[Vv]", line)):
            offset = float(value[1])
        elif section == "OD_RANGE" and (
            span := re.match(r"\s*(\w+):\s*(-?\d+)\s*(?:M[Hh]z|m[Vv])\s+(-?\d+)\s*(?:M[Hh]z|m[Vv])", line)
        ):
            ranges[span[1]] = (float(span[2]), float(span[3]))
    return OverdriveTable(highest, offset, ranges)


class _OverdriveDoor:
    domain = "gpu"

    def __init__(self, file: Path, name: str, says: str) -> None:
        self._file, self.name, self.says = file, name, says

    def _table(self) -> OverdriveTable:
        text = read_text(self._file)
        if text is None:
            raise MachineError("the card's overdrive table cannot be read.", where=str(self._file))
        return parse_table(text)

    def _commit(self, command: str) -> None:
        write_text(self._file, f"{command}\n")
        write_text(self._file, "c\n")

    def why_not(self) -> str:
        """Closed to this user."""
        return closed(self._file)


class OverdriveClock(_OverdriveDoor):
    """The highest state of the core's or the memory's clock, in MHz."""

    unit = "MHz"
    toward: Literal["down", "up"] = "up"

    def __init__(self, file: Path, which: Literal["SCLK", "MCLK"]) -> None:
        part = "core" if which == "SCLK" else "memory"
        super().__init__(file, f"overdrive:{part}-clock", f"highest {part} clock of the graphics card, by overdrive")
        self._which: str = which

    def range(self) -> DoorRange:
        """The card's own range."""
        found = self._table().ranges.get(self._which)
        if found is None:
            raise MachineError(f"the card gives no range for {self._which}.", where=str(self._file))
        return DoorRange(*found, 1.0)

    def stock(self) -> float | None:
        """The table does not tell the value that it came with once it was changed."""
        return None

    def read(self) -> float:
        """MHz."""
        found = self._table().highest.get(self._which)
        if found is None:
            raise MachineError(f"the card tells no state of {self._which}.", where=str(self._file))
        return found[1]

    def write(self, value: float) -> None:
        """MHz."""
        state = self._table().highest.get(self._which)
        number = state[0] if state else 1
        self._commit(f"{'s' if self._which == 'SCLK' else 'm'} {number} {round(value)}")


class OverdriveVoltage(_OverdriveDoor):
    """The offset of the core's voltage, in mV; down only."""

    unit = "mV"
    toward: Literal["down", "up"] = "down"

    def __init__(self, file: Path) -> None:
        super().__init__(file, "overdrive:core-voltage", "voltage offset of the graphics core, by overdrive")

    def range(self) -> DoorRange:
        """The card's own range where it tells one, and never above 0."""
        low, _ = self._table().ranges.get("VDDGFX_OFFSET", (-200.0, 0.0))
        return DoorRange(low, 0.0, 1.0)

    def stock(self) -> float | None:
        """No offset."""
        return 0.0

    def read(self) -> float:
        """mV."""
        offset = self._table().offset_mv
        if offset is None:
            raise MachineError("the card tells no voltage offset.", where=str(self._file))
        return offset

    def write(self, value: float) -> None:
        """mV. Raises MachineError for one above 0, whoever asks."""
        if value > 0:
            raise MachineError("a voltage above stock is never set.", where=self.name)
        self._commit(f"vo {round(value)}")


class PowerCap:
    """The card's power cap, ``power1_cap`` (hwmon sysfs interface): microwatts; never above ``power1_cap_default``."""

    name, domain, unit = "overdrive:power", "gpu", "W"
    toward: Literal["down", "up"] = "down"
    says = "power limit of the graphics card, by the kernel's power cap"

    def __init__(self, chip: Path) -> None:
        self._chip = chip
        self._found = number_in(chip / "power1_cap") * 1e-6

    def why_not(self) -> str:
        """Closed to this user."""
        return closed(self._chip / "power1_cap")

    def range(self) -> DoorRange:
        """From the card's least to its default, in watts; what was found where no default is told."""
        least = (read_number(self._chip / "power1_cap_min") or 0.0) * 1e-6
        high = self.stock() or self._found
        return DoorRange(min(least, high), high, 1.0)

    def stock(self) -> float | None:
        """The card's default."""
        value = read_number(self._chip / "power1_cap_default")
        return value * 1e-6 if value else None

    def read(self) -> float:
        """Watts."""
        return number_in(self._chip / "power1_cap") * 1e-6

    def write(self, value: float) -> None:
        """Watts."""
        write_text(self._chip / "power1_cap", f"{round(value * 1e6)}\n")


def overdrive_doors(root: Path) -> Iterator[OverdriveClock | OverdriveVoltage | PowerCap]:
    """Those of the first card that offers a table, and its power cap."""
    for card in in_order(root / CARDS, "card[0-9]*"):
        if not re.fullmatch(r"card\d+", card.name):
            continue
        file = card / "device" / TABLE
        chip = next(
            (one for one in in_order(card / "device" / "hwmon", "hwmon*") if (one / "power1_cap").exists()), None
        )
        if not file.exists() and chip is None:
            continue
        if file.exists():
            table = parse_table(read_text(file) or "")
            if "SCLK" in table.highest and "SCLK" in table.ranges:
                yield OverdriveClock(file, "SCLK")
            if "MCLK" in table.highest and "MCLK" in table.ranges:
                yield OverdriveClock(file, "MCLK")
            if table.offset_mv is not None:
                yield OverdriveVoltage(file)
        if chip is not None and read_number(chip / "power1_cap") is not None:
            yield PowerCap(chip)
        return
