"""Corrected errors and driver resets, from made-up logs and counters."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tree import Tree

from surefoot.rig import errors_log
from surefoot.rig.errors_log import ErrorWatch, blind_spots, classify, faults_in, faults_since
from surefoot.rig.kernel_log import LogLine, parse_journal, parse_kmsg, read_since
from surefoot.runs import Outcome

LONG_AGO = datetime(2020, 1, 1, tzinfo=UTC)


@pytest.fixture(autouse=True)
def fresh(monkeypatch):
    monkeypatch.setattr(errors_log, "_WATCHES", {})


# Lines in the wording of the kernel's drivers; the first was read in published logs, the others are from memory.
@pytest.mark.parametrize(
    ("text", "outcome", "part"),
    [
        ("mce: [Hardware Error]: Machine check events logged", Outcome.CORRECTED, "cpu"),
        ("[Hardware Error]: Corrected error, no action required.", Outcome.CORRECTED, "cpu"),
        ("mce: [Hardware Error]: CPU 3: Machine Check: 0 Bank 0: 90000040000f0005", Outcome.CORRECTED, "cpu"),
        ("EDAC MC0: 1 CE memory read error on CPU_SrcID#0_MC#0 (channel:1 slot:0)", Outcome.CORRECTED, "memory"),
        (
            "{1}[Hardware Error]: Hardware error from APEI Generic Hardware Error Source: 0",
            Outcome.CORRECTED,
            "machine",
        ),
        ("pcieport 0000:00:1c.0: AER: Corrected error received: 0000:02:00.0", Outcome.CORRECTED, "bus"),
        ("pcieport 0000:00:1c.0: PCIe Bus Error: severity=Corrected, type=Physical Layer", Outcome.CORRECTED, "bus"),
        ("amdgpu 0000:03:00.0: amdgpu: GPU reset begin!", Outcome.DRIVER_RESET, "gpu"),
        (
            "amdgpu 0000:03:00.0: amdgpu: ring gfx_0.0.0 timeout, signaled seq=70, emitted seq=72",
            Outcome.DRIVER_RESET,
            "gpu",
        ),
        ("[drm:amdgpu_job_timedout [amdgpu]] *ERROR* ring gfx timeout, signaled seq=1", Outcome.DRIVER_RESET, "gpu"),
        ("i915 0000:00:02.0: [drm] GPU HANG: ecode 12:1:85dffffb, in render", Outcome.DRIVER_RESET, "gpu"),
        ("i915 0000:00:02.0: [drm] Resetting rcs0 for preemption time out", Outcome.DRIVER_RESET, "gpu"),
        ("NVRM: Xid (PCI:0000:01:00): 79, pid=912, GPU has fallen off the bus.", Outcome.DRIVER_RESET, "gpu"),
        ("NVRM: Xid (PCI:0000:01:00): 13, Graphics Exception: ESR 0x404490=0x80000001", Outcome.DRIVER_RESET, "gpu"),
        ("NVRM: Xid (PCI:0000:01:00): 94, Contained: SM (0x1)", Outcome.CORRECTED, "gpu"),
    ],
)
def test_what_a_line_says(text, outcome, part):
    fault = classify(text)
    assert fault is not None
    assert (fault.outcome, fault.part, fault.message) == (outcome, part, text)


@pytest.mark.parametrize(
    "text",
    [
        "mce: CPU0: Core temperature is above threshold, cpu clock is throttled (total events = 1)",
        "mce: CPU supports 9 MCE banks",
        "EDAC MC: Ver: 3.0.0",
        "EDAC MC0: Giving out device to module some_edac controller Socket#0",
        "amdgpu 0000:03:00.0: amdgpu: SMU is initialized successfully!",
        "[drm] Initialized i915 1.6.0 for 0000:00:02.0 on minor 0",
        "NVRM: loading UNIX x86_64 Kernel Module  570.00",
        "NVRM: Xid (PCI:0000:01:00): 43, pid=77, Ch 00000010",
        "pcieport 0000:00:1c.0: AER: enabled with IRQ 122",
        "EXT4-fs (sda1): mounted filesystem with ordered data mode",
        "",
    ],
)
def test_what_says_nothing_of_the_kind(text):
    assert classify(text) is None


@given(st.text())
def test_any_text_can_be_classified_and_parsed(text):
    classify(text)
    parse_kmsg(text)
    parse_journal(text)


def test_a_reset_goes_before_corrected_errors():
    lines = [
        LogLine(1.0, "mce: [Hardware Error]: Machine check events logged"),
        LogLine(2.0, "amdgpu 0: GPU reset begin!"),
    ]
    assert [fault.outcome for fault in faults_in(lines)] == [Outcome.DRIVER_RESET, Outcome.CORRECTED]


def test_the_records_of_the_kernels_device():
    # Kernel documentation, ABI/testing/dev-kmsg: the example there, and a record that goes on with its properties.
    text = (
        "5,0,0;Linux version 3.4.0-rc1+ (gcc version 4.7.0 20120315\n"
        "7,160,424069;pci_root PNP0A03:00: host bridge window [io  0x0000-0x0cf7] (ignored)\n"
        " SUBSYSTEM=acpi\n"
        " DEVICE=+acpi:PNP0A03:00\n"
        "6,339,5140900,-;NET: Registered protocol family 10\n"
    )
    assert [(line.number, line.at) for line in parse_kmsg(text)] == [(0, 0.0), (160, 0.424069), (339, 5.1409)]


def test_the_lines_of_the_systems_journal():
    text = (
        "1700000000.250000 bench kernel: GPU reset begin!\n1700000001.5 bench systemd[1]: Started.\n-- No entries --\n"
    )
    assert parse_journal(text) == [LogLine(1700000000.25, "GPU reset begin!")]


RESET = "3,{},5000000,-;amdgpu 0000:03:00.0: amdgpu: GPU reset begin!\n"


def test_what_was_there_before_the_watch_began_never_counts(tmp_path):
    tree = Tree(tmp_path)
    log = tree.put("dev/kmsg", RESET.format(10).strip())
    watch = ErrorWatch(tmp_path)
    assert watch.since(LONG_AGO) == []
    log.write_text(RESET.format(10) + RESET.format(11))
    assert [fault.outcome for fault in watch.since(LONG_AGO)] == [Outcome.DRIVER_RESET]
    assert watch.since(LONG_AGO) == []


def test_a_watch_begun_late_judges_by_time(tmp_path):
    Tree(tmp_path).put("dev/kmsg", RESET.format(10).strip())
    assert [fault.part for fault in faults_since(LONG_AGO, tmp_path)] == ["gpu"]
    assert faults_since(LONG_AGO, tmp_path) == []


def test_counters_of_memory_errors_tell_their_change_once(tmp_path):
    tree = Tree(tmp_path)
    tree.memory_controller(0, 5, 0)
    watch = ErrorWatch(tmp_path)
    assert watch.since() == []
    tree.memory_controller(0, 8, 1)
    assert [fault.message for fault in watch.since()] == [
        "the kernel counted 3 corrected memory errors",
        "the kernel counted 1 uncorrected memory errors",
    ]
    assert watch.since() == []


def test_a_machine_that_does_not_tell_says_so(tmp_path):
    assert faults_since(LONG_AGO, tmp_path) == []
    said = " ".join(blind_spots(tmp_path))
    assert "closed to this user" in said
    assert "memory errors" in said
    tree = Tree(tmp_path)
    tree.put("dev/kmsg", "")
    tree.memory_controller(0, 0, 0)
    assert blind_spots(tmp_path) == ()


def test_this_machines_own_log_can_be_asked():
    log = read_since(datetime.now(UTC) - timedelta(days=1))
    assert log.why_not or all(line.text is not None for line in log.lines)
    # Nothing of this kind was logged in the last moment of the machine the tests run on.
    assert isinstance(faults_since(datetime.now(UTC)), list)
