"""Windows' performance counters: the calls against a stand-in of the library, and what their answers mean."""

from __future__ import annotations

import ctypes
from typing import Any

import pytest

from surefoot.rig.sensors.windows import WindowsCounters
from surefoot.rig.windows import counters as names
from surefoot.rig.windows.counters import channels_of
from surefoot.rig.windows.pdh import MORE_DATA, Counters, Item

# Made-up answers of a made-up machine.
READ = {
    names.NOMINAL_MHZ: {"_Total": 2700.0, "0,0": 2700.0, "0,1": 2700.0, "0,_Total": 2700.0, "1,0": 2700.0},
    names.PERFORMANCE: {"_Total": 140.0, "0,0": 150.0, "0,1": 130.0, "0,_Total": 140.0, "1,0": 100.0},
    names.PERFORMANCE_LIMIT: {"_Total": 100.0, "0,0": 100.0},
    names.LIMIT_FLAGS: {"_Total": 0.0, "0,0": 0.0},
    names.ZONE_KELVIN: {r"\_TZ.CPUZ": 341.0, r"\_TZ.TZ00": 301.0, r"\_TZ.NULL": 273.0},
    names.ZONE_TENTHS: {r"\_TZ.CPUZ": 3415.5, r"\_TZ.TZ00": 0.0, r"\_TZ.NULL": 2732.0},
    names.ZONE_PASSIVE: {r"\_TZ.CPUZ": 100.0},
    names.ZONE_REASONS: {r"\_TZ.CPUZ": 0.0},
    names.METER_MILLIWATTS: {"_Total": 99_000.0, "RAPL_Package0_PKG": 33_500.0, "RAPL_Package0_DRAM": 2_100.0},
    names.ENGINE_BUSY: {
        "pid_4_luid_0x0_0x1_phys_0_eng_0_engtype_3D": 41.0,
        "pid_8_luid_0x0_0x1_phys_0_eng_0_engtype_3D": 30.0,
        "pid_8_luid_0x0_0x1_phys_0_eng_1_engtype_Copy": 12.0,
    },
}


def test_a_sample_in_canonical_channels():
    assert channels_of(READ) == pytest.approx(
        {
            "cpu.clock": 3780.0,
            "cpu.clock.thread-0": 4050.0,
            "cpu.clock.thread-1": 3510.0,
            "cpu.clock.thread-0-2": 2700.0,
            "cpu.throttle-flag": 0.0,
            "cpu.temperature.zone-cpuz": 68.4,
            "board.temperature.zone-tz00": 27.85,
            "cpu.thermal-flag": 0.0,
            "cpu.current-flag": 0.0,
            "cpu.power": 33.5,
            "memory.power": 2.1,
            "gpu.busy": 71.0,
        }
    )


@pytest.mark.parametrize(
    ("path", "values", "channel", "value"),
    [
        (names.PERFORMANCE_LIMIT, {"_Total": 60.0}, "cpu.clock-limit", 1620.0),
        (names.LIMIT_FLAGS, {"0,1": 4.0}, "cpu.throttle-flag", 1.0),
        (names.ZONE_REASONS, {"z": 1.0}, "cpu.thermal-flag", 1.0),
        (names.ZONE_REASONS, {"z": 2.0}, "cpu.current-flag", 1.0),
        (names.ZONE_REASONS, {"z": 2.0}, "cpu.thermal-flag", 0.0),
        (names.METER_MILLIWATTS, {"A_Package0_PKG": 1000.0, "A_Package1_PKG": 2000.0}, "cpu.power", 3.0),
    ],
)
def test_what_limits(path, values, channel, value):
    assert channels_of({**READ, path: values})[channel] == pytest.approx(value)


def test_passive_cooling_is_heat_where_no_reason_is_told():
    read = {names.ZONE_PASSIVE: {"z": 80.0}}
    assert channels_of(read) == {"cpu.thermal-flag": 1.0}
    assert channels_of({names.ZONE_PASSIVE: {"z": 100.0}}) == {"cpu.thermal-flag": 0.0}


class Library:
    """A stand-in of pdh.dll: knows one counter, hands out items the way the documentation says."""

    def __init__(self, items: list[tuple[str, int, float]]) -> None:
        self.items, self.collected, self.closed = items, 0, 0
        self.keep: Any = None

    def PdhOpenQueryW(self, source: Any, data: int, query: Any) -> int:
        query._obj.value = 7
        return 0

    def PdhAddEnglishCounterW(self, query: Any, path: str, data: int, counter: Any) -> int:
        if path != "known":
            return -1073738824  # PDH_CSTATUS_NO_OBJECT as the signed number that the call gives
        counter._obj.value = 11
        return 0

    def PdhCollectQueryData(self, query: Any) -> int:
        self.collected += 1
        return 0

    def PdhGetFormattedCounterArrayW(self, counter: Any, style: int, size: Any, count: Any, room: Any) -> int:
        assert style == 0x200 | 0x8000
        needed = ctypes.sizeof(Item) * len(self.items)
        size._obj.value, count._obj.value = needed, len(self.items)
        if room is None:
            return MORE_DATA - (1 << 32)
        array = (Item * len(self.items))()
        for slot, (name, status, number) in zip(array, self.items, strict=True):
            slot.name, slot.value.status, slot.value.number = name, status, number
        self.keep = array
        ctypes.memmove(room, array, needed)
        return 0

    def PdhCloseQuery(self, query: Any) -> int:
        self.closed += 1
        return 0


def test_the_calls_in_order():
    library = Library([("0,0", 0, 41.5), ("0,1", 1, 43.0), ("gone", 0x800007D5, 9.0), ("odd", 0, float("nan"))])
    counters = Counters(["known", "not here"], library)
    assert counters.paths == ("known",)
    assert counters.read() == {"known": {"0,0": 41.5, "0,1": 43.0}}
    # Once at the beginning, since rates are worked out between two, and once to read.
    assert library.collected == 2
    counters.close()
    counters.close()
    assert library.closed == 1


def test_layout_of_an_item_is_the_documented_one():
    # pdh.h on 64-bit Windows: pointer, then status padded to 8, then the double (from memory).
    assert ctypes.sizeof(Item) == 24
    assert Item.value.offset == 8


def test_nothing_is_offered_where_there_is_no_library():
    source = WindowsCounters()
    assert source.channels() == () and source.read() == {}


def test_as_a_source():
    class Told:
        def read(self):
            return READ

    assert "cpu.clock" in WindowsCounters(Told()).channels()
