"""Supply and battery, ``/sys/class/power_supply`` (kernel documentation, ABI sysfs-class-power): microvolts,
microamperes, microwatts, percent, tenths of a degree Celsius."""

from __future__ import annotations

from pathlib import Path

from surefoot.rig.sensors.files import in_order, read_number, read_text

SUPPLIES = "sys/class/power_supply"
_MICRO = 1e-6


class PowerSupply:
    """``supply.count.online`` (1: mains), and of each battery its charge, voltage, current, power and temperature.

    ``battery.power`` is positive while the battery gives and negative while it takes; ``battery.count.discharging``
    is 1 while it gives.
    """

    name = "power supply"

    def __init__(self, root: Path) -> None:
        self._mains: list[Path] = []
        self._batteries: list[Path] = []
        for supply in in_order(root / SUPPLIES, "*"):
            # Batteries of a mouse or a headset are devices, not the machine's.
            if read_text(supply / "scope") == "Device":
                continue
            kind = read_text(supply / "type")
            if kind == "Battery":
                self._batteries.append(supply)
            elif kind in ("Mains", "USB", "Wireless"):
                self._mains.append(supply)
        self._channels = tuple(self.read())

    def channels(self) -> tuple[str, ...]:
        """Those that could be read when the source was made."""
        return self._channels

    def read(self) -> dict[str, float]:
        """One sample."""
        sample: dict[str, float] = {}
        online = [value for supply in self._mains if (value := read_number(supply / "online")) is not None]
        if online:
            # A USB port tells 2 when it is the one in use among several of a kind; anything but 0 is a supply.
            sample["supply.count.online"] = float(any(online))
        for number, battery in enumerate(self._batteries, start=1):
            domain = "battery" if number == 1 else f"battery-{number}"
            for quantity, value in _battery(battery).items():
                sample[f"{domain}.{quantity}"] = value
        return sample

    def missing(self) -> tuple[str, ...]:
        """Nothing of its own."""
        return ()


def _battery(folder: Path) -> dict[str, float]:
    found: dict[str, float] = {}
    charge = read_number(folder / "capacity")
    if charge is not None and 0 <= charge <= 100:
        found["charge"] = charge
    volts = read_number(folder / "voltage_now")
    amperes = read_number(folder / "current_now")
    watts = read_number(folder / "power_now")
    status = read_text(folder / "status") or ""
    if volts is not None:
        found["voltage"] = volts * _MICRO
    if amperes is not None:
        found["current"] = abs(amperes) * _MICRO
    power = None
    if watts is not None:
        power = abs(watts) * _MICRO
    elif volts is not None and amperes is not None:
        power = abs(volts * _MICRO * amperes * _MICRO)
    if power is not None:
        # Drivers differ in the sign of the current; the status does not.
        found["power"] = -power if status == "Charging" else power
    if status:
        found["count.discharging"] = float(status == "Discharging")
    tenths = read_number(folder / "temp")
    if tenths is not None and -400 <= tenths <= 1500:
        found["temperature"] = tenths / 10
    return found
