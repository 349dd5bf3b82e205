"""What the performance counters of Windows say, in canonical channels. Pure.

Names, units and meanings are those of the counters' own descriptions (Performance Monitor shows them; from memory):
``Processor Information`` (clock in MHz, performance and performance limit in percent of the nominal clock),
``Thermal Zone Information`` (kelvin, tenths of kelvin; passive limit in percent; throttle reasons: 0x1 thermal,
0x2 electrical current), ``Energy Meter`` (milliwatts), ``GPU Engine`` (percent).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

PROCESSOR: Final = r"\Processor Information(*)"
NOMINAL_MHZ: Final = PROCESSOR + r"\Processor Frequency"
PERFORMANCE: Final = PROCESSOR + r"\% Processor Performance"
PERFORMANCE_LIMIT: Final = PROCESSOR + r"\% Performance Limit"
LIMIT_FLAGS: Final = PROCESSOR + r"\Performance Limit Flags"
ZONE: Final = r"\Thermal Zone Information(*)"
ZONE_KELVIN: Final = ZONE + r"\Temperature"
ZONE_TENTHS: Final = ZONE + r"\High Precision Temperature"
ZONE_PASSIVE: Final = ZONE + r"\% Passive Limit"
ZONE_REASONS: Final = ZONE + r"\Throttle Reasons"
METER_MILLIWATTS: Final = r"\Energy Meter(*)\Power"
ENGINE_BUSY: Final = r"\GPU Engine(*)\Utilization Percentage"

PATHS: Final = (
    NOMINAL_MHZ, PERFORMANCE, PERFORMANCE_LIMIT, LIMIT_FLAGS,
    ZONE_KELVIN, ZONE_TENTHS, ZONE_PASSIVE, ZONE_REASONS, METER_MILLIWATTS, ENGINE_BUSY,
)  # fmt: skip
"""The counters that are asked for."""

THERMAL_REASON: Final = 0x1
CURRENT_REASON: Final = 0x2
ZERO_CELSIUS: Final = 273.15
# A zone that nobody serves reads as a round number far from any room (common practice, no source).
SANE_CELSIUS: Final = (1.0, 125.0)
WHOLE: Final = "_Total"

Read = Mapping[str, Mapping[str, float]]


def channels_of(read: Read) -> dict[str, float]:
    """One sample in canonical channels and units from what the counters said: path to instance to value."""
    return {**_clocks(read), **_limits(read), **_zones(read), **_power(read), **_graphics(read)}


def _clocks(read: Read) -> dict[str, float]:
    """The effective clock: the nominal one times the performance, which goes above 100 % with boost."""
    nominal, performance = read.get(NOMINAL_MHZ, {}), read.get(PERFORMANCE, {})
    found = {}
    for instance, percent in performance.items():
        mhz = nominal.get(instance) or nominal.get(WHOLE)
        if not mhz or percent <= 0:
            continue
        if instance == WHOLE:
            found["cpu.clock"] = mhz * percent / 100
        elif part := _thread(instance):
            found[f"cpu.clock.{part}"] = mhz * percent / 100
    return found


def _thread(instance: str) -> str:
    """``0,3`` is the fourth logical processor of node 0: ``thread-3``; of a second node ``thread-3-2``."""
    match = re.fullmatch(r"(\d+),(\d+)", instance)
    if not match:
        return ""
    node = int(match[1])
    return f"thread-{match[2]}" if node == 0 else f"thread-{match[2]}-{node + 1}"


def _limits(read: Read) -> dict[str, float]:
    """The clock that the system allows, where it allows less than the nominal one, and that something holds it."""
    found = {}
    limit = read.get(PERFORMANCE_LIMIT, {}).get(WHOLE)
    nominal = read.get(NOMINAL_MHZ, {}).get(WHOLE)
    # At 100 % nothing is limited: boost goes above it, so that the nominal clock is no limit then.
    if limit is not None and nominal and 0 < limit < 100:
        found["cpu.clock-limit"] = nominal * limit / 100
    flags = read.get(LIMIT_FLAGS, {})
    if flags:
        # The meaning of the single bits is not documented: something limits, it does not say what.
        found["cpu.throttle-flag"] = float(any(int(value) for value in flags.values()))
    return found


def _zones(read: Read) -> dict[str, float]:
    found: dict[str, float] = {}
    tenths, kelvin = read.get(ZONE_TENTHS, {}), read.get(ZONE_KELVIN, {})
    for instance in {**kelvin, **tenths}:
        if instance == WHOLE:
            continue
        celsius = (tenths[instance] / 10 if tenths.get(instance) else kelvin.get(instance, 0.0)) - ZERO_CELSIUS
        if SANE_CELSIUS[0] <= celsius <= SANE_CELSIUS[1]:
            domain, part = _place(instance)
            found[f"{domain}.temperature.{part}"] = celsius
    passive, reasons = read.get(ZONE_PASSIVE, {}), read.get(ZONE_REASONS, {})
    if passive or reasons:
        bits = 0
        for value in reasons.values():
            bits |= int(value)
        found["cpu.thermal-flag"] = float(
            bool(bits & THERMAL_REASON) or (not reasons and any(value < 100 for value in passive.values()))
        )
        if reasons:
            found["cpu.current-flag"] = float(bool(bits & CURRENT_REASON))
    return found


def _place(instance: str) -> tuple[str, str]:
    r"""``\_TZ.CPUZ`` is the firmware's zone CPUZ: the processor's by its name, else the board's."""
    name = re.sub(r"[^a-z0-9]+", "-", instance.rpartition(".")[2].lower()).strip("-") or "zone"
    return ("cpu" if name.startswith(("cpu", "pkg")) else "board"), f"zone-{name}"


# Names that Windows gives to the meters of the processor (from memory).
_METERS: Final = (
    (re.compile(r"(?i).*_pkg\d*$"), "cpu.power"),
    (re.compile(r"(?i).*_pp0$"), "cpu.power.core"),
    (re.compile(r"(?i).*_pp1$"), "igpu.power"),
    (re.compile(r"(?i).*_dram$"), "memory.power"),
)


def _power(read: Read) -> dict[str, float]:
    found: dict[str, float] = {}
    for instance, milliwatts in read.get(METER_MILLIWATTS, {}).items():
        if instance == WHOLE or milliwatts < 0:
            continue
        for pattern, channel in _METERS:
            if pattern.match(instance):
                # Packages add up.
                found[channel] = found.get(channel, 0.0) + milliwatts / 1e3
                break
    return found


def _graphics(read: Read) -> dict[str, float]:
    """How busy the busiest kind of engine is, over all processes; the adapters are not told apart by name."""
    kinds: dict[tuple[str, str], float] = {}
    for instance, percent in read.get(ENGINE_BUSY, {}).items():
        match = re.search(r"luid_(\w+?)_phys_.*engtype_(.+)$", instance)
        if match:
            kinds[match[1], match[2]] = kinds.get((match[1], match[2]), 0.0) + percent
    return {"gpu.busy": min(100.0, max(kinds.values()))} if kinds else {}
