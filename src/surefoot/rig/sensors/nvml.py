"""Graphics cards through their vendor's management library (``nvidia-ml-py``, extra ``nvidia``), when it is there.

Units of the NVML API reference: degrees Celsius, MHz, milliwatts, percent; clock event reasons as bits.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Any

# NVML API reference, clocks event reasons.
SOFTWARE_POWER_CAP = 0x4
HARDWARE_SLOWDOWN = 0x8
SOFTWARE_THERMAL = 0x20
HARDWARE_THERMAL = 0x40
POWER_BRAKE = 0x80
# nvmlClockType_t and nvmlTemperatureThresholds_t.
_GRAPHICS, _MEMORY = 0, 2
_CORE_SENSOR = 0
_SLOWDOWN_THRESHOLD = 1


def flags_of(reasons: int) -> dict[str, float]:
    """What the reason bits say, as flags: thermal, power, and a slowdown by the hardware of whatever cause."""
    return {
        "thermal-flag": float(bool(reasons & (SOFTWARE_THERMAL | HARDWARE_THERMAL))),
        "power-flag": float(bool(reasons & (SOFTWARE_POWER_CAP | POWER_BRAKE))),
        "throttle-flag": float(bool(reasons & HARDWARE_SLOWDOWN)),
    }


class Nvml:
    """``gpu.*`` of each card the library knows (``gpu-2`` and so on for more); nothing where there is no library.

    ``library``: for tests; otherwise ``pynvml`` is imported.
    """

    name = "NVML"

    def __init__(self, library: Any = None) -> None:
        self._nvml = library if library is not None else _import()
        self._cards: list[tuple[str, Any]] = []
        if self._nvml is not None:
            self._cards = self._find()
        self._channels = tuple(self.read())

    def _find(self) -> list[tuple[str, Any]]:
        try:
            self._nvml.nvmlInit()
            count = int(self._nvml.nvmlDeviceGetCount())
            return [
                ("gpu" if index == 0 else f"gpu-{index + 1}", self._nvml.nvmlDeviceGetHandleByIndex(index))
                for index in range(count)
            ]
        except self._errors:
            return []

    @property
    def _errors(self) -> tuple[type[BaseException], ...]:
        return (self._nvml.NVMLError, AttributeError, OSError, ValueError, TypeError)

    def channels(self) -> tuple[str, ...]:
        """Those that could be read when the source was made."""
        return self._channels

    def read(self) -> dict[str, float]:
        """One sample of every card."""
        sample: dict[str, float] = {}
        for domain, card in self._cards:
            for quantity, value in self._card(card).items():
                sample[f"{domain}.{quantity}"] = value
        return sample

    def _card(self, card: Any) -> dict[str, float]:
        nvml = self._nvml
        found: dict[str, float] = {}

        def take(quantity: str, ask: Callable[[], Any], scale: float = 1.0) -> None:
            # Each card offers a part of these; the rest raise "not supported".
            try:
                found[quantity] = float(ask()) * scale
            except self._errors:
                return

        take("temperature", lambda: nvml.nvmlDeviceGetTemperature(card, _CORE_SENSOR))
        take("temperature-limit", lambda: nvml.nvmlDeviceGetTemperatureThreshold(card, _SLOWDOWN_THRESHOLD))
        take("clock", lambda: nvml.nvmlDeviceGetClockInfo(card, _GRAPHICS))
        take("clock.memory", lambda: nvml.nvmlDeviceGetClockInfo(card, _MEMORY))
        take("clock-limit", lambda: nvml.nvmlDeviceGetMaxClockInfo(card, _GRAPHICS))
        take("power", lambda: nvml.nvmlDeviceGetPowerUsage(card), 1e-3)
        take("power-limit", lambda: nvml.nvmlDeviceGetEnforcedPowerLimit(card), 1e-3)
        take("duty.fan", lambda: nvml.nvmlDeviceGetFanSpeed(card))
        take("busy", lambda: nvml.nvmlDeviceGetUtilizationRates(card).gpu)
        take("busy.memory", lambda: nvml.nvmlDeviceGetUtilizationRates(card).memory)
        take("reasons", lambda: self._reasons(card))
        if "reasons" in found:
            found.update(flags_of(int(found["reasons"])))
        return found

    def _reasons(self, card: Any) -> int:
        # The newer name of the same call comes first.
        for name in ("nvmlDeviceGetCurrentClocksEventReasons", "nvmlDeviceGetCurrentClocksThrottleReasons"):
            ask = getattr(self._nvml, name, None)
            if ask is not None:
                return int(ask(card))
        raise AttributeError("no call for clock event reasons")

    def missing(self) -> tuple[str, ...]:
        """Nothing of its own; `surefoot check` says how the extra is installed."""
        return ()


def _import() -> Any:
    try:
        return import_module("pynvml")
    except ImportError:
        return None
