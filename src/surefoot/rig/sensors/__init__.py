"""Sensor sources: whatever can be read for temperatures, clocks, power and fans. One to a file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from surefoot.rig.system_name import system_name

if TYPE_CHECKING:
    # The helper with the administrator's rights reads files through this room, and knows nothing but Python's own.
    from surefoot.rig.protocols import SensorSource


def found(root: Path | None = None) -> list[SensorSource]:
    """The sources that have something to offer on this machine; the first that offers a channel is believed.

    ``root``: of the file tree, for tests; then only what is in the tree counts, not the machine the test runs on.
    """
    sources: list[SensorSource] = []
    other_gpu = False
    if root is None:
        from surefoot.rig.sensors.nvml import Nvml

        cards = Nvml()
        other_gpu = bool(cards.channels())
        sources.append(cards)
    if root is not None or system_name() == "linux":
        sources += _kernel_files(root or Path("/"), other_gpu)
    if root is None and system_name() == "windows":
        from surefoot.rig.sensors.windows import WindowsCounters

        sources.append(WindowsCounters())
    if root is None and system_name() == "macos":
        from surefoot.rig.sensors.macos import ThermalStatus

        sources.append(ThermalStatus())
    if root is None:
        from surefoot.rig.sensors.system import System

        sources.append(System())
    return [source for source in sources if source.channels() or source.missing()]


def _kernel_files(root: Path, other_gpu: bool) -> list[SensorSource]:
    from surefoot.rig.sensors.cpufreq import Cpufreq
    from surefoot.rig.sensors.drm import Drm
    from surefoot.rig.sensors.drm_clients import DrmClients
    from surefoot.rig.sensors.hwmon import Hwmon
    from surefoot.rig.sensors.memory_errors import MemoryErrors
    from surefoot.rig.sensors.power_supply import PowerSupply
    from surefoot.rig.sensors.powercap import Powercap
    from surefoot.rig.sensors.pressure import Pressure
    from surefoot.rig.sensors.thermal_zones import ThermalZones
    from surefoot.rig.sensors.throttle import ThrottleCounters

    chips = Hwmon(root, other_gpu=other_gpu)
    # A card that tells its clock through its chip is not the one that DRM's own files tell of.
    other_gpu = other_gpu or "gpu.clock" in chips.channels()
    busy = other_gpu or "gpu.busy" in chips.channels()
    return [
        chips,
        Drm(root, other_gpu=other_gpu),
        ThermalZones(root),
        Cpufreq(root),
        Powercap(root),
        ThrottleCounters(root),
        PowerSupply(root),
        MemoryErrors(root),
        Pressure(root),
        *([] if busy else [DrmClients(root)]),
    ]
