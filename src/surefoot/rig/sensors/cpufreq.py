"""Processor clocks, ``/sys/devices/system/cpu/cpuN/cpufreq``, in kilohertz (kernel documentation, CPU performance
scaling)."""

from __future__ import annotations

from pathlib import Path

from surefoot.rig.sensors.files import in_order, read_number

CPUS = "sys/devices/system/cpu"


class Cpufreq:
    """``cpu.clock.core-N`` for each core, ``cpu.clock`` their mean, and ``cpu.clock-limit`` as set now.

    Cores are numbered as the topology files do, so that core 3 here is core 3 of the temperatures; of two logical
    processors on one core the faster counts.
    """

    name = "cpufreq"

    def __init__(self, root: Path) -> None:
        self._files: list[tuple[str, Path]] = []
        self._limits: list[Path] = []
        for cpu in in_order(root / CPUS, "cpu[0-9]*"):
            folder = cpu / "cpufreq"
            if not folder.is_dir():
                continue
            self._files.append((_core(cpu), folder / "scaling_cur_freq"))
            self._limits.append(folder / "scaling_max_freq")
            self._limits.append(folder / "cpuinfo_max_freq")
        self._channels = tuple(self.read())

    def channels(self) -> tuple[str, ...]:
        """Those that could be read when the source was made."""
        return self._channels

    def read(self) -> dict[str, float]:
        """MHz."""
        cores: dict[str, float] = {}
        for core, path in self._files:
            value = read_number(path)
            if value is not None and value > 0:
                cores[core] = max(value / 1e3, cores.get(core, 0.0))
        sample = {f"cpu.clock.{core}": value for core, value in cores.items()}
        if cores:
            sample["cpu.clock"] = sum(cores.values()) / len(cores)
        limits = [value / 1e3 for path in self._limits[::2] if (value := read_number(path))]
        if not limits:
            limits = [value / 1e3 for path in self._limits[1::2] if (value := read_number(path))]
        if limits:
            sample["cpu.clock-limit"] = max(limits)
        return sample

    def missing(self) -> tuple[str, ...]:
        """Nothing of its own."""
        return ()


def _core(cpu: Path) -> str:
    number = read_number(cpu / "topology" / "core_id")
    package = read_number(cpu / "topology" / "physical_package_id")
    if number is None:
        return f"core-{cpu.name.removeprefix('cpu')}"
    # As the temperatures do: the cores of a second package are told apart.
    return f"core-{number:.0f}" if not package else f"core-{number:.0f}-{package + 1:.0f}"
