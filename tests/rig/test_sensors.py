"""The sensors on a made-up tree: names, odd values, what vanishes."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from tree import Tree, laptop

from surefoot.rig.registry import sensors
from surefoot.rig.sampler import Sampler
from surefoot.rig.sensors.cpufreq import Cpufreq
from surefoot.rig.sensors.files import word
from surefoot.rig.sensors.hwmon import Hwmon
from surefoot.rig.sensors.nvml import Nvml
from surefoot.rig.sensors.power_supply import PowerSupply
from surefoot.rig.sensors.powercap import Powercap
from surefoot.rig.sensors.system import System
from surefoot.rig.sensors.thermal_zones import ThermalZones
from surefoot.runs import Channel


@pytest.fixture
def tree(tmp_path: Path) -> Tree:
    return Tree(tmp_path)


def test_a_whole_laptop(tmp_path):
    laptop(tmp_path)
    sampler = Sampler(sensors(tmp_path))
    sample = sampler.read()
    expected = {
        "cpu.temperature": 71.0,
        "cpu.temperature.core-0": 69.0,
        "cpu.temperature-limit": 100.0,
        "cpu.temperature-limit.core-1": 100.0,
        "cpu.clock.core-0": 3402.0,
        "cpu.clock.core-1": 3403.0,
        "cpu.clock": 3402.5,
        "cpu.clock-limit": 4200.0,
        "cpu.power-limit.short-term": 64.0,
        "cpu.thermal-flag": 0.0,
        "cpu.fan": 3120.0,
        "gpu.temperature.hotspot": 78.0,
        "gpu.temperature-limit.hotspot": 110.0,
        "gpu.power-limit": 90.0,
        "gpu.duty.fan": 40.0,
        "gpu.fan": 2850.0,
        "ssd.temperature": 46.85,
        "ssd.temperature.sensor-1": 51.85,
        "board.temperature": 41.0,
        "supply.count.online": 1.0,
        "battery.charge": 87.0,
        "memory.count.corrected": 2.0,
    }
    assert {name: sample.get(name) for name in expected} == pytest.approx(expected)
    # Every name can be parsed, and what is offered is what is read, power apart, which needs a past.
    for name in sample:
        assert str(Channel.parse(name)) == name
    assert set(sample) <= set(sampler.channels())
    assert sampler.channels()["cpu.temperature"] == "hwmon"
    assert sampler.missing() == ()


def test_a_machine_with_nothing_is_no_error_and_says_what_cannot_be_judged(tmp_path):
    sampler = Sampler(sensors(tmp_path))
    assert sampler.sources == ()
    assert sampler.read() == {}
    assert sampler.channels() == {}
    said = " ".join(sampler.missing())
    for word_ in ("processor temperature", "ceiling", "throttle", "power", "fan", "battery"):
        assert word_ in said


def test_what_vanishes_in_the_middle_is_left_out_and_comes_back(tree):
    chip = tree.chip(
        "coretemp", temp1_label="Package id 0", temp1_input=50_000, temp2_label="Core 0", temp2_input=49_000
    )
    source = Hwmon(tree.root)
    assert source.read() == {"cpu.temperature": 50.0, "cpu.temperature.core-0": 49.0}
    (chip / "temp1_input").unlink()
    assert source.read() == {"cpu.temperature.core-0": 49.0}
    shutil.rmtree(chip)
    assert source.read() == {}
    tree.put("sys/class/hwmon/hwmon0/temp1_input", 51_000)
    assert source.read() == {"cpu.temperature": 51.0}


@pytest.mark.parametrize("text", ["", "garbage", "nan", "inf", "-128000", "250000", "\x00\xff"])
def test_what_is_no_temperature_is_left_out(tree, text):
    tree.chip("chip", temp1_input=text)
    assert Hwmon(tree.root).read() == {}
    assert Hwmon(tree.root).channels() == ()


@pytest.mark.parametrize("limit", [0, 65_261_850, -273_150, 1000])
def test_a_limit_that_is_not_set_is_no_limit(tree, limit):
    tree.chip("nvme", temp1_label="Composite", temp1_input=40_000, temp1_crit=limit)
    assert Hwmon(tree.root).read() == {"ssd.temperature": 40.0}


def test_without_a_die_temperature_the_control_temperature_is_the_processors(tree):
    tree.chip("k10temp", temp1_label="Tctl", temp1_input=61_000, temp3_label="Tccd1", temp3_input=58_000)
    assert Hwmon(tree.root).read() == {"cpu.temperature": 61.0, "cpu.temperature.die-1": 58.0}


def test_two_packages_keep_their_cores_apart(tree):
    for package in range(2):
        tree.chip(
            "coretemp",
            temp1_label=f"Package id {package}",
            temp1_input=60_000 + package,
            temp1_crit=100_000,
            temp2_label="Core 0",
            temp2_input=50_000 + 1000 * package,
            temp2_crit=90_000 + 5000 * package,
        )
        tree.cpu(package, "topology", core_id=0, physical_package_id=package)
        tree.cpu(package, "cpufreq", scaling_cur_freq=3_000_000 + 1000 * package)
    sample = Hwmon(tree.root).read()
    assert sample["cpu.temperature.core-0"] == 50.0
    assert sample["cpu.temperature.core-0-2"] == 51.0
    assert sample["cpu.temperature-limit.core-0-2"] == 95.0
    assert sample["cpu.temperature.package-1"] == pytest.approx(60.001)
    assert Cpufreq(tree.root).read()["cpu.clock.core-0-2"] == 3001.0


CARD = {"temp1_label": "edge", "temp1_input": 50_000, "freq2_label": "mclk", "freq2_input": 800_000_000}


def test_an_integrated_graphics_part_is_told_from_a_card(tree):
    tree.chip("amdgpu", temp1_label="edge", temp1_input=45_000)
    tree.chip("amdgpu", **CARD)
    sample = Hwmon(tree.root).read()
    assert sample["igpu.temperature"] == 45.0
    assert sample["gpu.temperature"] == 50.0


def test_an_integrated_graphics_part_alone_is_the_gpu(tree):
    tree.chip("amdgpu", temp1_label="edge", temp1_input=45_000)
    assert Hwmon(tree.root).read() == {"gpu.temperature": 45.0}
    assert Hwmon(tree.root, other_gpu=True).read() == {"igpu.temperature": 45.0}


def test_second_cards_and_drives_are_numbered(tree):
    tree.chip("amdgpu", **CARD)
    tree.chip("amdgpu", **CARD)
    tree.chip("nvme", temp1_label="Composite", temp1_input=40_000)
    tree.chip("nvme", temp1_label="Composite", temp1_input=41_000)
    sample = Hwmon(tree.root).read()
    assert sample["gpu-2.temperature"] == 50.0
    assert sample["ssd-2.temperature"] == 41.0


def test_the_same_name_twice_is_told_apart_with_its_limit(tree):
    tree.chip("chip", temp1_label="spot", temp1_input=30_000, temp1_crit=90_000)
    tree.chip("chip", temp1_label="spot", temp1_input=31_000, temp1_crit=95_000)
    assert Hwmon(tree.root).read() == {
        "board.temperature.chip-spot": 30.0,
        "board.temperature-limit.chip-spot": 90.0,
        "board.temperature.chip-spot-2": 31.0,
        "board.temperature-limit.chip-spot-2": 95.0,
    }


def test_a_zone_that_a_driver_reads_too_is_believed_from_the_driver(tree):
    tree.chip("coretemp", temp1_label="Package id 0", temp1_input=70_000)
    tree.zone("x86_pkg_temp", 12_000)
    assert Sampler(sensors(tree.root)).read() == {"cpu.temperature": 70.0}
    assert ThermalZones(tree.root).read() == {"cpu.temperature": 12.0}


def test_several_packages_give_one_power(tree):
    for package in range(2):
        tree.power_zone(f"intel-rapl:{package}", f"package-{package}", energy_uj=0, max_energy_range_uj=10**12)
    tree.power_zone("intel-rapl:0:0", "dram", energy_uj=0, max_energy_range_uj=10**12)
    clock = iter([0.0, 1.0])
    source = Powercap(tree.root, clock=lambda: next(clock))
    tree.put("sys/class/powercap/intel-rapl:0/energy_uj", 30_000_000)
    tree.put("sys/class/powercap/intel-rapl:1/energy_uj", 20_000_000)
    tree.put("sys/class/powercap/intel-rapl:0:0/energy_uj", 4_000_000)
    sample = source.read()
    assert sample == pytest.approx(
        {"cpu.power": 50.0, "cpu.power.package-0": 30.0, "cpu.power.package-1": 20.0, "memory.power": 4.0}
    )
    assert set(sample) == set(source.channels())


def test_the_same_package_through_two_interfaces_counts_once(tree):
    tree.power_zone("intel-rapl:0", "package-0", energy_uj=0, max_energy_range_uj=10**12)
    tree.power_zone("intel-rapl-mmio:0", "package-0", energy_uj=0, max_energy_range_uj=10**12)
    assert Powercap(tree.root).channels() == ("cpu.power",)


def test_power_after_a_gap_in_which_the_counter_may_have_gone_round_is_left_out(tree):
    zone = tree.power_zone("intel-rapl:0", "package-0", energy_uj=0, max_energy_range_uj=262_143_328_850)
    clock = iter([0.0, 1.0, 3600.0, 3601.0])
    source = Powercap(tree.root, clock=lambda: next(clock))
    for microjoules, watts in ((10_000_000, 10.0), (50_000_000, None), (70_000_000, 20.0)):
        (zone / "energy_uj").write_text(f"{microjoules}\n")
        assert source.read().get("cpu.power") == (pytest.approx(watts) if watts else None)


def test_counters_closed_to_this_user_are_said(tree):
    zone = tree.power_zone("intel-rapl:0", "package-0", max_energy_range_uj=10**12)
    # A folder stands for a file that exists and cannot be read; the tests may run as the administrator.
    (zone / "energy_uj").mkdir()
    source = Powercap(tree.root)
    assert source.channels() == ()
    assert "administrator" in source.missing()[0]
    assert source.missing()[0] in Sampler(sensors(tree.root)).missing()


def test_a_mouse_is_not_the_machines_battery(tree):
    tree.supply("hid-mouse", type="Battery", scope="Device", capacity=3)
    tree.supply("BAT0", type="Battery", capacity=90)
    tree.supply("BAT1", type="Battery", capacity=80)
    assert PowerSupply(tree.root).read() == {"battery.charge": 90.0, "battery-2.charge": 80.0}


def test_on_battery(tree):
    tree.supply("AC", type="Mains", online=0)
    tree.supply("usb", type="USB", online=0)
    assert PowerSupply(tree.root).read() == {"supply.count.online": 0.0}


def test_no_graphics_library_is_no_error():
    class Broken:
        class NVMLError(Exception):
            pass

        def nvmlInit(self):
            raise self.NVMLError("driver not loaded")

    assert Nvml(Broken()).channels() == ()
    assert Nvml(Broken()).read() == {}


def test_psutil_on_this_machine():
    source = System()
    assert "cpu.busy" in source.channels()
    assert 0 <= source.read()["cpu.busy"] <= 100
    # Where it stands for everything it must not fail, whatever the system lacks.
    assert set(System(whole=True).channels()) >= {"cpu.busy"}


def test_this_machine_whatever_it_has():
    sampler = Sampler(sensors())
    sample = sampler.read()
    assert "cpu.busy" in sample
    for name in sample:
        Channel.parse(name)


@pytest.mark.parametrize(("label", "part"), [("Core 0", "core-0"), ("  T_CPU (°C) ", "t-cpu-c"), ("°", ""), ("A", "a")])
def test_a_label_becomes_a_part_of_a_name(label, part):
    assert word(label) == part
