"""Each kind of sensor file against the units that the kernel's own documents state.

The documents: hwmon sysfs interface; thermal sysfs; CPU performance scaling (cpufreq); power capping framework;
Intel thermal throttle events reporting; ABI sysfs-class-power; EDAC; amdgpu thermal controls. The NVML API reference
for the graphics library. Files and numbers are made up; what is checked is the unit and the meaning of the name.
"""

from __future__ import annotations

import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

sys.path.insert(0, str(Path(__file__).parent.parent / "rig"))

from tree import Tree

from surefoot.rig.sensors.cpufreq import Cpufreq
from surefoot.rig.sensors.energy import energy_used_joules
from surefoot.rig.sensors.hwmon import Hwmon
from surefoot.rig.sensors.memory_errors import MemoryErrors
from surefoot.rig.sensors.nvml import Nvml, flags_of
from surefoot.rig.sensors.power_supply import PowerSupply
from surefoot.rig.sensors.powercap import Powercap
from surefoot.rig.sensors.thermal_zones import ThermalZones
from surefoot.rig.sensors.throttle import ThrottleCounters


@pytest.fixture
def tree(tmp_path: Path) -> Tree:
    return Tree(tmp_path)


# Linux kernel documentation, "hwmon sysfs interface" (hwmon/sysfs-interface): the unit of each kind of file.
HWMON_UNITS = [
    ("temp1_input", 54_321, "board.temperature.chip", 54.321),  # millidegree Celsius
    ("in0_input", 1_234, "board.voltage.in0", 1.234),  # millivolt
    ("fan1_input", 3_120, "board.fan", 3120.0),  # revolution/min
    ("curr1_input", 2_500, "board.current", 2.5),  # milliampere
    ("power1_average", 48_000_000, "board.power", 48.0),  # microWatt
    ("power1_input", 48_000_000, "board.power", 48.0),  # microWatt
    ("pwm1", 255, "board.duty.fan", 100.0),  # integer value in the range 0 to 255
    ("pwm1", 0, "board.duty.fan", 0.0),
]


@pytest.mark.parametrize(("file", "raw", "channel", "value"), HWMON_UNITS)
def test_hwmon_units(tree, file, raw, channel, value):
    tree.chip("chip", **{file: raw})
    assert Hwmon(tree.root).read() == {channel: pytest.approx(value)}


def test_hwmon_limits_have_the_unit_of_what_they_limit(tree):
    # hwmon/sysfs-interface: temp[1-*]_crit in millidegree Celsius, power[1-*]_cap in microWatt.
    tree.chip(
        "amdgpu", temp1_label="edge", temp1_input=60_000, temp1_crit=97_000, power1_average=1, power1_cap=90_000_000
    )
    sample = Hwmon(tree.root).read()
    assert sample["gpu.temperature-limit"] == pytest.approx(97.0)
    assert sample["gpu.power-limit"] == pytest.approx(90.0)


def test_hwmon_fault_file_of_1_means_not_to_believe_the_sensor(tree):
    # hwmon/sysfs-interface: temp[1-*]_fault, 1: fault occurred (for example an open diode).
    chip = tree.chip("chip", temp1_input=25_000, temp1_fault=0)
    source = Hwmon(tree.root)
    assert source.read() == {"board.temperature.chip": 25.0}
    (chip / "temp1_fault").write_text("1\n")
    assert source.read() == {}


def test_hwmon_energy_counter(tree):
    # hwmon/sysfs-interface: energy[1-*]_input, cumulative energy use in microJoule; power is its change over time.
    chip = tree.chip("amd_energy", energy1_label="Esocket0", energy1_input=7_000_000)
    clock = iter([0.0, 2.0])
    source = Hwmon(tree.root, clock=lambda: next(clock))
    (chip / "energy1_input").write_text("37000000\n")
    assert source.read()["cpu.power.esocket0"] == pytest.approx(15.0)


def test_coretemp_labels(tree):
    # Kernel documentation, hwmon/coretemp: "Package id N" is the package, "Core N" a core.
    tree.chip("coretemp", temp1_label="Package id 0", temp1_input=71_000, temp5_label="Core 3", temp5_input=69_000)
    assert Hwmon(tree.root).read() == {"cpu.temperature": 71.0, "cpu.temperature.core-3": 69.0}


def test_k10temp_labels(tree):
    # Kernel documentation, hwmon/k10temp: Tdie is the die, Tctl the control temperature (may be offset), Tccd a part.
    tree.chip(
        "k10temp", temp1_label="Tctl", temp1_input=80_000, temp2_label="Tdie", temp2_input=70_000,
        temp3_label="Tccd1", temp3_input=66_000,
    )  # fmt: skip
    assert Hwmon(tree.root).read() == {
        "cpu.temperature.control": 80.0,
        "cpu.temperature": 70.0,
        "cpu.temperature.die-1": 66.0,
    }


def test_amdgpu_files(tree):
    # Kernel documentation, gpu/amdgpu/thermal: edge, junction, mem; millivolts; microWatts; freq1 (gfx) and freq2
    # (memory) in hertz; gpu_busy_percent in percent.
    tree.chip(
        "amdgpu",
        temp1_label="edge", temp1_input=64_000, temp2_label="junction", temp2_input=78_000,
        temp3_label="mem", temp3_input=72_000, in0_label="vddgfx", in0_input=875, power1_average=48_000_000,
        fan1_input=2850, freq1_label="sclk", freq1_input=2_105_000_000, freq2_label="mclk", freq2_input=875_000_000,
        device__gpu_busy_percent=97,
    )  # fmt: skip
    assert Hwmon(tree.root).read() == {
        "gpu.temperature": 64.0,
        "gpu.temperature.hotspot": 78.0,
        "gpu.temperature.memory": 72.0,
        "gpu.voltage": 0.875,
        "gpu.power": 48.0,
        "gpu.fan": 2850.0,
        "gpu.clock": 2105.0,
        "gpu.clock.memory": 875.0,
        "gpu.busy": 97.0,
    }


def test_thermal_zone_units(tree):
    # Kernel documentation, driver-api/thermal/sysfs-api: temp and trip_point_[0-*]_temp in millidegree Celsius; a trip
    # of type "critical" is where the system shuts down.
    tree.zone(
        "x86_pkg_temp", 65_500, trip_point_0_type="passive", trip_point_0_temp=80_000,
        trip_point_1_type="critical", trip_point_1_temp=105_000,
    )  # fmt: skip
    assert ThermalZones(tree.root).read() == {"cpu.temperature": 65.5, "cpu.temperature-limit": 105.0}


def test_cpufreq_units(tree):
    # Kernel documentation, admin-guide/pm/cpufreq: frequencies in kHz.
    tree.cpu(0, "cpufreq", scaling_cur_freq=3_400_000, scaling_max_freq=4_200_000, cpuinfo_max_freq=4_700_000)
    assert Cpufreq(tree.root).read() == {"cpu.clock": 3400.0, "cpu.clock.core-0": 3400.0, "cpu.clock-limit": 4200.0}


def test_powercap_energy_and_limits(tree):
    # Kernel documentation, power/powercap: energy_uj in micro joules, constraint_N_power_limit_uw in micro watts,
    # constraint_N_name its name.
    zone = tree.power_zone(
        "intel-rapl:0", "package-0", energy_uj=1_000_000, max_energy_range_uj=262_143_328_850,
        constraint_0_name="long_term", constraint_0_power_limit_uw=28_000_000,
        constraint_1_name="short_term", constraint_1_power_limit_uw=64_000_000,
    )  # fmt: skip
    clock = iter([10.0, 12.0])
    source = Powercap(tree.root, clock=lambda: next(clock))
    (zone / "energy_uj").write_text("51000000\n")
    assert source.read() == {
        "cpu.power": pytest.approx(25.0),
        "cpu.power-limit": 28.0,
        "cpu.power-limit.long-term": 28.0,
        "cpu.power-limit.short-term": 64.0,
    }


def test_powercap_counter_wraps_at_its_range(tree):
    # Kernel documentation, power/powercap: max_energy_range_uj, the range of the energy counter in micro joules.
    zone = tree.power_zone("intel-rapl:0", "package-0", energy_uj=262_143_328_000, max_energy_range_uj=262_143_328_850)
    clock = iter([0.0, 1.0])
    source = Powercap(tree.root, clock=lambda: next(clock))
    (zone / "energy_uj").write_text("29999150\n")
    assert source.read()["cpu.power"] == pytest.approx(30.0)
    assert energy_used_joules(262_143_328_000, 29_999_150, 262_143_328_850) == pytest.approx(30.0)


def test_throttle_counters(tree):
    # Kernel documentation, admin-guide/thermal/intel_thermal_throttle: how often the core or package was throttled.
    folder = tree.cpu(0, "thermal_throttle", core_throttle_count=5, package_throttle_count=7)
    source = ThrottleCounters(tree.root)
    assert source.read() == {"cpu.thermal-flag": 0.0}
    (folder / "package_throttle_count").write_text("8\n")
    assert source.read() == {"cpu.thermal-flag": 1.0}
    assert source.read() == {"cpu.thermal-flag": 0.0}


def test_power_supply_units(tree):
    # Kernel documentation, ABI/testing/sysfs-class-power: microV, microA, microW, capacity in percent, temp in tenths
    # of a degree Celsius; online 0 or 1 (2: online programmable).
    tree.supply("AC", type="Mains", online=1)
    tree.supply(
        "BAT0", type="Battery", status="Discharging", capacity=87, voltage_now=15_200_000, current_now=1_500_000,
        power_now=22_800_000, temp=312,
    )  # fmt: skip
    assert PowerSupply(tree.root).read() == {
        "supply.count.online": 1.0,
        "battery.charge": 87.0,
        "battery.voltage": pytest.approx(15.2),
        "battery.current": pytest.approx(1.5),
        "battery.power": pytest.approx(22.8),
        "battery.count.discharging": 1.0,
        "battery.temperature": 31.2,
    }


def test_battery_power_from_voltage_and_current(tree):
    # The same document: a battery may offer current and voltage instead of power; their product is the power.
    tree.supply("BAT1", type="Battery", status="Charging", voltage_now=12_000_000, current_now=2_000_000)
    assert PowerSupply(tree.root).read()["battery.power"] == pytest.approx(-24.0)


def test_memory_error_counters(tree):
    # Kernel documentation, EDAC: ce_count and ue_count of a memory controller, corrected and uncorrected errors.
    tree.memory_controller(0, 3, 0)
    tree.memory_controller(1, 4, 1)
    assert MemoryErrors(tree.root).read() == {"memory.count.corrected": 7.0, "memory.count.uncorrected": 1.0}


# NVML API reference, clocks event reasons: the bits and their meaning.
@pytest.mark.parametrize(
    ("bits", "thermal", "power", "throttle"),
    [
        (0x0, 0, 0, 0),
        (0x1, 0, 0, 0),  # GPU idle
        (0x2, 0, 0, 0),  # applications clocks setting
        (0x4, 0, 1, 0),  # software power cap
        (0x8, 0, 0, 1),  # hardware slowdown
        (0x10, 0, 0, 0),  # sync boost
        (0x20, 1, 0, 0),  # software thermal slowdown
        (0x40, 1, 0, 0),  # hardware thermal slowdown
        (0x80, 0, 1, 0),  # hardware power brake
        (0x100, 0, 0, 0),  # display clock setting
        (0x8 | 0x40, 1, 0, 1),
    ],
)
def test_clock_event_reasons(bits, thermal, power, throttle):
    assert flags_of(bits) == {"thermal-flag": thermal, "power-flag": power, "throttle-flag": throttle}


class Library(SimpleNamespace):
    """As the vendor's bindings behave: some calls are not supported by a card."""

    class NVMLError(Exception):
        pass

    def nvmlInit(self):
        pass

    def nvmlDeviceGetCount(self):
        return 1

    def nvmlDeviceGetHandleByIndex(self, index):
        return index

    def nvmlDeviceGetFanSpeed(self, card):
        raise self.NVMLError("not supported")


def test_nvml_units():
    # NVML API reference: nvmlDeviceGetPowerUsage and ...EnforcedPowerLimit in milliwatts, clocks in MHz, degrees C.
    library = Library(
        nvmlDeviceGetTemperature=lambda card, sensor: 61,
        nvmlDeviceGetClockInfo=lambda card, kind: {0: 1980, 2: 2619}[kind],
        nvmlDeviceGetPowerUsage=lambda card: 118_500,
        nvmlDeviceGetEnforcedPowerLimit=lambda card: 140_000,
        nvmlDeviceGetUtilizationRates=lambda card: SimpleNamespace(gpu=99, memory=42),
        nvmlDeviceGetCurrentClocksThrottleReasons=lambda card: 0x4,
    )
    source = Nvml(library)
    assert source.read() == {
        "gpu.temperature": 61.0,
        "gpu.clock": 1980.0,
        "gpu.clock.memory": 2619.0,
        "gpu.power": pytest.approx(118.5),
        "gpu.power-limit": pytest.approx(140.0),
        "gpu.busy": 99.0,
        "gpu.busy.memory": 42.0,
        "gpu.reasons": 4.0,
        "gpu.thermal-flag": 0.0,
        "gpu.power-flag": 1.0,
        "gpu.throttle-flag": 0.0,
    }
    assert set(source.channels()) == set(source.read())


def test_throttle_time(tree):
    # The same document: package_throttle_total_time_ms, the cumulative time in milliseconds.
    folder = tree.cpu(0, "thermal_throttle", package_throttle_count=7, package_throttle_total_time_ms=1000)
    clock = iter([0.0, 0.0, 2.0, 4.0])
    source = ThrottleCounters(tree.root, clock=lambda: next(clock))
    (folder / "package_throttle_count").write_text("8\n")
    (folder / "package_throttle_total_time_ms").write_text("1500\n")
    assert source.read() == {"cpu.thermal-flag": pytest.approx(0.25)}
    assert source.read() == {"cpu.thermal-flag": 0.0}
