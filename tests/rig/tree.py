"""A made-up tree of kernel files for the tests of the sensors: any file by its path, and whole parts of a machine."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path


class Tree:
    """A root folder in which files of one value are put, as the kernel would show them."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self._chips = 0
        self._zones = 0

    def put(self, path: str, value: object) -> Path:
        """One file, with the line's end that the kernel writes."""
        file = self.root / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(f"{value}\n", encoding="utf-8")
        return file

    def folder(self, path: str, files: Mapping[str, object]) -> Path:
        """A folder of such files."""
        for name, value in files.items():
            self.put(f"{path}/{name}", value)
        return self.root / path

    def chip(self, driver: str, **files: object) -> Path:
        """A chip under sys/class/hwmon; ``device__gpu_busy_percent`` stands for device/gpu_busy_percent."""
        path = f"sys/class/hwmon/hwmon{self._chips}"
        self._chips += 1
        return self.folder(path, {"name": driver, **{name.replace("__", "/"): value for name, value in files.items()}})

    def zone(self, kind: str, temp: object, **files: object) -> Path:
        """A thermal zone."""
        path = f"sys/class/thermal/thermal_zone{self._zones}"
        self._zones += 1
        return self.folder(path, {"type": kind, "temp": temp, **files})

    def cpu(self, number: int, folder: str, **files: object) -> Path:
        """Files in a folder of one logical processor."""
        return self.folder(f"sys/devices/system/cpu/cpu{number}/{folder}", files)

    def power_zone(self, place: str, name: str, **files: object) -> Path:
        """A zone of the power capping framework: place ``intel-rapl:0`` and the like."""
        return self.folder(f"sys/class/powercap/{place}", {"name": name, **files})

    def supply(self, name: str, **files: object) -> Path:
        """A supply or a battery."""
        return self.folder(f"sys/class/power_supply/{name}", files)

    def memory_controller(self, number: int, corrected: int, uncorrected: int) -> Path:
        """Error counters of a memory controller."""
        path = f"sys/devices/system/edac/mc/mc{number}"
        return self.folder(path, {"ce_count": corrected, "ue_count": uncorrected, "mc_name": "made up"})


def laptop(root: Path) -> Tree:
    """A whole laptop of our own making: a processor of two cores with four threads, a graphics card, a drive."""
    tree = Tree(root)
    tree.chip("acpitz", temp1_input=41000)
    tree.chip(
        "coretemp",
        temp1_label="Package id 0", temp1_input=71000, temp1_crit=100000, temp1_max=100000,
        temp2_label="Core 0", temp2_input=69000, temp2_crit=100000,
        temp3_label="Core 1", temp3_input=71000, temp3_crit=100000,
    )  # fmt: skip
    tree.chip(
        "amdgpu",
        temp1_label="edge", temp1_input=64000, temp1_crit=100000,
        temp2_label="junction", temp2_input=78000, temp2_crit=110000,
        temp3_label="mem", temp3_input=72000, temp3_crit=108000,
        in0_label="vddgfx", in0_input=875,
        power1_average=48000000, power1_cap=90000000,
        fan1_input=2850, pwm1=102,
        freq1_label="sclk", freq1_input=2105000000,
        freq2_label="mclk", freq2_input=875000000,
        device__gpu_busy_percent=97, device__mem_busy_percent=41,
    )  # fmt: skip
    tree.chip("nvme", temp1_label="Composite", temp1_input=46850, temp2_label="Sensor 1", temp2_input=51850)
    tree.chip("board_ec", fan1_label="CPU fan", fan1_input=3120, fan2_label="GPU fan", fan2_input=2870)
    tree.zone("x86_pkg_temp", 71000)
    tree.zone("acpitz", 41000, trip_point_0_type="critical", trip_point_0_temp=119000)
    for number in range(4):
        tree.cpu(number, "topology", core_id=number % 2, physical_package_id=0)
        tree.cpu(number, "cpufreq", scaling_cur_freq=3_400_000 + 1000 * number, scaling_max_freq=4_200_000)
        tree.cpu(number, "thermal_throttle", core_throttle_count=5, package_throttle_count=7)
    tree.power_zone(
        "intel-rapl:0", "package-0", energy_uj=5_000_000, max_energy_range_uj=262_143_328_850,
        constraint_0_name="long_term", constraint_0_power_limit_uw=28_000_000,
        constraint_1_name="short_term", constraint_1_power_limit_uw=64_000_000,
    )  # fmt: skip
    tree.power_zone("intel-rapl:0:0", "core", energy_uj=3_000_000, max_energy_range_uj=262_143_328_850)
    tree.supply("AC", type="Mains", online=1)
    tree.supply(
        "BAT0", type="Battery", status="Discharging", capacity=87,
        voltage_now=15_200_000, current_now=1_500_000, power_now=22_800_000,
    )  # fmt: skip
    tree.memory_controller(0, 2, 0)
    return tree
