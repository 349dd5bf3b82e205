"""A graphics card through its vendor's management library (NVML API reference): clock offsets and the power limit.

Clock offsets in MHz (``nvmlDeviceSetClockOffsets`` where the driver has it, else ``nvmlDeviceSetGpcClkVfOffset`` and
``nvmlDeviceSetMemClkVfOffset``); the power limit in milliwatts, never above the card's default.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from importlib import import_module
from typing import Any, Literal

from surefoot.errors import MachineError
from surefoot.rig.doors.protocol import DoorRange

# nvmlClockType_t and nvmlPstates_t.
_GRAPHICS, _MEMORY, _FASTEST_STATE = 0, 2, 0
STEP_MHZ = 15.0
"""Offsets are taken in steps of the card's own; what was read back counts (common practice, no source)."""


class _NvmlDoor:
    domain = "gpu"

    def __init__(self, library: Any, card: Any) -> None:
        self._nvml, self._card = library, card

    def _ask(self, what: str, call: Callable[[], Any]) -> Any:
        try:
            return call()
        except (self._nvml.NVMLError, AttributeError, TypeError, ValueError, OSError) as error:
            raise MachineError(f"the graphics library did not {what}: {error}.", where="NVML") from None


class NvmlClock(_NvmlDoor):
    """The offset of the core's or the memory's clock, in MHz."""

    unit = "MHz"
    toward: Literal["down", "up"] = "up"

    def __init__(self, library: Any, card: Any, which: Literal["core", "memory"]) -> None:
        super().__init__(library, card)
        self._memory = which == "memory"
        self.name = f"nvml:{which}-clock"
        self.says = f"{which} clock offset of the graphics card, by its vendor's library"

    @property
    def _new(self) -> bool:
        return hasattr(self._nvml, "nvmlDeviceGetClockOffsets")

    def _offsets(self) -> Any:
        kind = _MEMORY if self._memory else _GRAPHICS
        return self._ask(
            "tell the clock offset",
            lambda: self._nvml.nvmlDeviceGetClockOffsets(
                self._card, self._nvml.c_nvmlClockOffset_t(clockType=kind, pstate=_FASTEST_STATE)
            ),
        )

    def range(self) -> DoorRange:
        """The card's own range of offsets."""
        if self._new:
            told = self._offsets()
            return DoorRange(float(told.minClockOffsetMHz), float(told.maxClockOffsetMHz), STEP_MHZ)
        name = "nvmlDeviceGetMemClkMinMaxVfOffset" if self._memory else "nvmlDeviceGetGpcClkMinMaxVfOffset"
        low, high = self._ask("tell the range of offsets", lambda: getattr(self._nvml, name)(self._card))
        return DoorRange(float(low), float(high), STEP_MHZ)

    def why_not(self) -> str:
        """What the library says to being asked; whether it takes a value is only known once that is tried."""
        return _said_to(self.range)

    def stock(self) -> float | None:
        """No offset."""
        return 0.0

    def read(self) -> float:
        """MHz."""
        if self._new:
            return float(self._offsets().clockOffsetMHz)
        name = "nvmlDeviceGetMemClkVfOffset" if self._memory else "nvmlDeviceGetGpcClkVfOffset"
        return float(self._ask("tell the clock offset", lambda: getattr(self._nvml, name)(self._card)))

    def write(self, value: float) -> None:
        """MHz."""
        if self._new:
            told = self._offsets()
            told.clockOffsetMHz = round(value)
            self._ask("take the clock offset", lambda: self._nvml.nvmlDeviceSetClockOffsets(self._card, told))
            return
        name = "nvmlDeviceSetMemClkVfOffset" if self._memory else "nvmlDeviceSetGpcClkVfOffset"
        self._ask("take the clock offset", lambda: getattr(self._nvml, name)(self._card, round(value)))


class NvmlPower(_NvmlDoor):
    """The card's power limit, in watts; never above its default."""

    name, unit = "nvml:power", "W"
    toward: Literal["down", "up"] = "down"
    says = "power limit of the graphics card, by its vendor's library"

    def why_not(self) -> str:
        """What the library says to being asked; whether it takes a value is only known once that is tried."""
        return _said_to(self.range)

    def range(self) -> DoorRange:
        """From the card's least to its default."""
        low, _ = self._ask(
            "tell the range of limits", lambda: self._nvml.nvmlDeviceGetPowerManagementLimitConstraints(self._card)
        )
        return DoorRange(low / 1e3, self._default(), 1.0)

    def _default(self) -> float:
        call = self._nvml.nvmlDeviceGetPowerManagementDefaultLimit
        return float(self._ask("tell the default limit", lambda: call(self._card))) / 1e3

    def stock(self) -> float | None:
        """The card's default."""
        return self._default()

    def read(self) -> float:
        """Watts."""
        call = self._nvml.nvmlDeviceGetPowerManagementLimit
        return float(self._ask("tell the power limit", lambda: call(self._card))) / 1e3

    def write(self, value: float) -> None:
        """Watts."""
        call = self._nvml.nvmlDeviceSetPowerManagementLimit
        self._ask("take the power limit", lambda: call(self._card, round(value * 1e3)))


def _said_to(ask: Callable[[], object]) -> str:
    try:
        ask()
    except MachineError as error:
        return error.message()
    return ""


def nvml_doors(library: Any = None) -> Iterator[NvmlClock | NvmlPower]:
    """Those of the first card, where it answers. ``library``: a stand-in, for tests."""
    if library is None:
        try:
            library = import_module("pynvml")
        except ImportError:
            return
    try:
        library.nvmlInit()
        if not library.nvmlDeviceGetCount():
            return
        card = library.nvmlDeviceGetHandleByIndex(0)
    except (library.NVMLError, AttributeError, OSError):
        return
    yield NvmlClock(library, card, "core")
    yield NvmlClock(library, card, "memory")
    yield NvmlPower(library, card)
