"""Faults put into a worker on purpose, to prove that the load tells them apart.

A fault is only ever made when a test asks for one, by argument or by the variable ``SUREFOOT_LOAD_FAULT``, and every
state of a load that was given one says so, so that it can never pass for a failure of the machine's own.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Literal, cast, get_args

import numpy as np

from surefoot.errors import BadInput

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from surefoot.rig.loads.gpu.kernels import Flip

FAULT_VARIABLE = "SUREFOOT_LOAD_FAULT"
FaultKind = Literal["flip", "die", "kill", "freeze", "spin", "sleep", "raise", "lost", "stall", "slow"]


@dataclass(frozen=True)
class Fault:
    """What goes wrong, in which worker, after how many units of work.

    ``kind``: ``flip`` one bit of one result (of ``kernel``, or of whichever comes); ``die`` by a memory fault;
    ``kill``: ended from outside; ``freeze``: stopped by the system; ``spin``: busy and getting nowhere; ``sleep``:
    waiting for ever; ``raise`` an error in the worker's own program; ``lost``: the graphics device is given up;
    ``stall``: the graphics device never comes to an end; ``slow``: every unit from then on takes twice the time.
    ``phase``: only in that phase of the program; ``share`` and ``bit``: where in the result a bit is turned over.
    """

    kind: FaultKind
    worker: int = 0
    after_units: int = 5
    kernel: str = ""
    phase: str = ""
    share: float = 1 / 3
    bit: int = 50

    @classmethod
    def parse(cls, text: str) -> Fault:
        """From ``kind``, ``kind:worker``, ``kind:worker:units`` or ``kind:worker:units:kernel``. Raises BadInput."""
        kind, *rest = text.split(":")
        if kind not in get_args(FaultKind):
            allowed = ", ".join(get_args(FaultKind))
            raise BadInput(f"{kind!r} is not a fault.", where=FAULT_VARIABLE, remedy=f"There are: {allowed}.")
        worker, units, kernel, phase = (*rest, *("", "", "", "")[len(rest) :])[:4]
        try:
            return cls(cast(FaultKind, kind), int(worker or 0), int(units or cls.after_units), kernel, phase)
        except ValueError:
            raise BadInput(f"{text!r} is not kind:worker:units:kernel:phase.", where=FAULT_VARIABLE) from None

    @classmethod
    def from_environment(cls) -> tuple[Fault, ...]:
        """The fault that the environment asks for, if it does."""
        text = os.environ.get(FAULT_VARIABLE, "")
        return (cls.parse(text),) if text else ()

    def as_plain(self) -> dict[str, Any]:
        """For the worker's job, in JSON's own types."""
        return asdict(self)


class DeviceLost(RuntimeError):
    """Says what a graphics library says when its device is gone."""


class Saboteur:
    """Carries faults out inside one worker, each once and in their order. With none for this worker it does nothing.

    ``done``: how many were put in.
    """

    def __init__(self, faults: Sequence[Fault], worker: int) -> None:
        self._waiting = [fault for fault in faults if fault.worker == worker]
        self._armed: Fault | None = None
        self._slow = False
        self.done = 0

    @property
    def slows(self) -> bool:
        """Whether units of work are to take twice their time now."""
        return self._slow

    @property
    def stalls(self) -> bool:
        """Whether the device is to be given work without an end; says yes once."""
        return self._take("stall") is not None

    def before(self, kernel: str, phase: str, units: int) -> None:
        """Called before each unit of work; carries out what is not a flip."""
        fault = self._waiting[0] if self._waiting else None
        if fault is None or units < fault.after_units or fault.kernel not in ("", kernel):
            return
        if fault.phase not in ("", phase):
            return
        self._armed = self._waiting.pop(0)
        self.done += 1
        if fault.kind == "die":
            os.kill(os.getpid(), signal.SIGSEGV)
        elif fault.kind == "kill":
            os.kill(os.getpid(), getattr(signal, "SIGKILL", signal.SIGTERM))
        elif fault.kind == "freeze" and hasattr(signal, "SIGSTOP"):
            os.kill(os.getpid(), signal.SIGSTOP)
        elif fault.kind in ("spin", "freeze"):
            while True:
                pass
        elif fault.kind == "sleep":
            time.sleep(3600)
        elif fault.kind == "raise":
            raise RuntimeError("put in on purpose")
        elif fault.kind == "lost":
            raise DeviceLost("the device is lost (put in on purpose)")
        elif fault.kind == "slow":
            self._slow = True

    def _take(self, kind: FaultKind) -> Fault | None:
        fault = self._armed
        if fault is None or fault.kind != kind:
            return None
        self._armed = None
        return fault

    def flip(self) -> Flip | None:
        """The bit that is to be turned over in this list of work on a graphics device; says so once."""
        fault = self._take("flip")
        if fault is None:
            return None
        from surefoot.rig.loads.gpu.kernels import Flip

        return Flip(fault.share, fault.bit % 32)

    def tamper(self, result: bytearray | NDArray[Any]) -> None:
        """Turn one bit of one result over, once."""
        fault = self._take("flip")
        if fault is None:
            return
        if isinstance(result, bytearray):
            result[int(fault.share * len(result))] ^= 1 << fault.bit % 8
            return
        words = result.reshape(-1).view(np.uint64)
        words[int(fault.share * words.size)] ^= np.uint64(1 << fault.bit)
