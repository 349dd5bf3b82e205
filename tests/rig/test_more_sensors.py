"""Sensors of the kernel's newer interfaces, the power mode, and who answers which question."""

from __future__ import annotations

from pathlib import Path

import pytest
from tree import Tree

from surefoot.rig.power_mode import power_mode, scheme_of
from surefoot.rig.questions import answers
from surefoot.rig.sensors import found
from surefoot.rig.sensors.drm import Drm
from surefoot.rig.sensors.drm_clients import DrmClients, parse_fdinfo
from surefoot.rig.sensors.macos import ThermalStatus, flags_of
from surefoot.rig.sensors.pressure import Pressure


@pytest.fixture
def tree(tmp_path: Path) -> Tree:
    return Tree(tmp_path)


def test_i915_clock_and_reasons(tree):
    # Kernel documentation, ABI sysfs-driver-intel-i915: gt/gtN/rps_act_freq_mhz, throttle_reason_* of 0 or 1.
    gt = {"rps_act_freq_mhz": 1350, "throttle_reason_status": 1, "throttle_reason_pl1": 1, "throttle_reason_thermal": 0}
    tree.folder("sys/class/drm/card0/gt/gt0", {**gt, "throttle_reason_pl4": 0})
    tree.folder("sys/class/drm/card0-DP-1", {"status": "connected"})
    assert Drm(tree.root).read() == {
        "gpu.clock": 1350.0, "gpu.power-flag": 1.0, "gpu.thermal-flag": 0.0, "gpu.current-flag": 0.0,
    }  # fmt: skip
    assert "igpu.clock" in Drm(tree.root, other_gpu=True).read()


def test_xe_takes_the_fastest_of_its_parts(tree):
    # Kernel documentation, xe: device/tileN/gtN/freq0/act_freq and freq0/throttle/reason_*.
    for number, mhz, hot in ((0, 2050, 0), (1, 900, 1)):
        base = f"sys/class/drm/card1/device/tile0/gt{number}/freq0"
        tree.folder(base, {"act_freq": mhz, "throttle/reason_prochot": hot, "throttle/reason_vr_tdc": 0})
    assert Drm(tree.root).read() == {"gpu.clock": 2050.0, "gpu.thermal-flag": 1.0, "gpu.current-flag": 0.0}


def test_an_older_kernel_tells_the_clock_alone(tree):
    tree.put("sys/class/drm/card0/gt_act_freq_mhz", 600)
    assert Drm(tree.root).read() == {"gpu.clock": 600.0}


FDINFO = """pos:\t0
drm-driver:\tmade-up
drm-pdev:\t0000:01:00.0
drm-client-id:\t{client}
drm-engine-render:\t{render} ns
drm-engine-copy:\t5 ns
drm-engine-capacity-video:\t2
drm-memory-vram:\t4096 KiB
"""


def test_use_of_a_card_from_what_its_programs_used(tree):
    # Kernel documentation, DRM client usage stats: drm-engine-<name>: <uint> ns; one client may have several
    # descriptors, told apart by drm-client-id.
    for process, descriptor, client, render in ((10, 3, 1, 0), (10, 4, 1, 0), (11, 3, 2, 0)):
        tree.put(f"proc/{process}/fdinfo/{descriptor}", FDINFO.format(client=client, render=render))
        link = tree.root / f"proc/{process}/fd/{descriptor}"
        link.parent.mkdir(parents=True, exist_ok=True)
        link.symlink_to("/dev/dri/renderD128")
    clock = iter([0.0, 2.0])
    source = DrmClients(tree.root, clock=lambda: next(clock))
    assert source.channels() == ("gpu.busy",)
    for process, descriptor, client, render in ((10, 3, 1, 600), (10, 4, 1, 600), (11, 3, 2, 500)):
        tree.put(f"proc/{process}/fdinfo/{descriptor}", FDINFO.format(client=client, render=render * 1_000_000))
    assert source.read() == {"gpu.busy": pytest.approx(55.0)}


def test_fdinfo_of_other_files_is_nothing():
    assert parse_fdinfo("pos:\t0\nflags:\t02\n") == ("", "", {})
    assert parse_fdinfo("drm-engine-render:\tmany ns\n") == ("", "", {})


def test_pressure(tree):
    # Kernel documentation, PSI: "some avg10=0.00 avg60=0.00 avg300=0.00 total=0".
    tree.put("proc/pressure/cpu", "some avg10=12.50 avg60=3.00 avg300=1.00 total=99\nfull avg10=0.00 avg60=0.00")
    assert Pressure(tree.root).read() == {"system.busy.waiting-cpu": 12.5}


def test_power_mode_is_the_platform_profile_before_the_governor(tree):
    assert power_mode(tree.root) is None
    for number in (0, 1):
        tree.put(f"sys/devices/system/cpu/cpufreq/policy{number}/scaling_governor", "powersave")
    assert power_mode(tree.root) == "powersave"
    tree.put("sys/devices/system/cpu/cpufreq/policy1/scaling_governor", "performance")
    assert power_mode(tree.root) is None
    tree.put("sys/firmware/acpi/platform_profile", "low-power")
    assert power_mode(tree.root) == "low-power"


@pytest.mark.parametrize(
    ("text", "scheme"),
    [
        ("Power Scheme GUID: 381b4222-f694-41f0-9685-ff5bb260df2e  (Balanced)\r\n", "Balanced"),
        ("GUID des Energieschemas: 8c5e7fda-e8bf-4a96-9a85-a6e23a8c635c  (Höchstleistung)", "Höchstleistung"),
        ("", None),
        ("no scheme (at all)", None),
    ],
)
def test_power_scheme(text, scheme):
    assert scheme_of(text) == scheme


@pytest.mark.parametrize(
    ("text", "flags"),
    [
        ("CPU_Scheduler_Limit \t= 100\nCPU_Available_CPUs \t= 8\nCPU_Speed_Limit \t= 72\n", {"cpu.thermal-flag": 1.0}),
        ("CPU_Speed_Limit = 100", {"cpu.thermal-flag": 0.0}),
        ("Note: No CPU power status has been recorded\n", {"cpu.thermal-flag": 0.0}),
        ("", {}),
    ],
)
def test_macos_speed_limit(text, flags):
    assert flags_of(text) == flags
    assert ThermalStatus(lambda: text).read() == flags


def test_a_card_with_its_own_chip_is_not_read_twice(tree):
    tree.chip("amdgpu", freq1_label="sclk", freq1_input=2_000_000_000, device__gpu_busy_percent=40)
    tree.put("sys/class/drm/card0/gt/gt0/rps_act_freq_mhz", 700)
    names = {channel for source in found(tree.root) for channel in source.channels()}
    assert {"gpu.clock", "igpu.clock"} <= names


def test_every_question_is_answered_or_has_a_remedy():
    channels = {"cpu.temperature": "hwmon", "cpu.clock.core-0": "cpufreq", "gpu.power": "NVML"}
    told = answers(
        channels,
        system="linux",
        boot_is_certain=True,
        restart_record="",
        faults_blind=["the log is closed"],
        power_mode=None,
    )
    by = {one.question: one for one in told}
    assert by["Is the processor over its ceiling?"].by == "hwmon"
    assert by["What clock does the processor run at?"].by == "cpufreq"
    assert not by["Is the graphics card over its ceiling?"].is_answered
    assert all(one.is_answered or one.remedy for one in told)
    assert "journal" in by["Were errors corrected, or a driver reset?"].remedy
