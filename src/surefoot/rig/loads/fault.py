"""Faults put into a worker on purpose, to prove that the load tells them apart.

A fault is only ever made when a test asks for one, by argument or by the variable ``SUREFOOT_LOAD_FAULT``, and every
state of a load that was given one says so, so that it can never pass for a failure of the machine's own.
"""

from __future__ import annotations

import os
import signal
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Literal, cast, get_args

import numpy as np

from surefoot.errors import BadInput

if TYPE_CHECKING:
    from numpy.typing import NDArray

FAULT_VARIABLE = "SUREFOOT_LOAD_FAULT"
FaultKind = Literal["flip", "die", "kill", "freeze", "raise", "slow"]


@dataclass(frozen=True)
class Fault:
    """What goes wrong, in which worker, after how many units of work.

    ``kind``: ``flip`` one bit of one result (of ``kernel``, or of whichever comes); ``die`` by a memory fault;
    ``kill``: ended from outside; ``freeze``: stop answering; ``raise`` an error in the worker's own program; ``slow``:
    every unit from then on takes twice the processor time.
    """

    kind: FaultKind
    worker: int = 0
    after_units: int = 5
    kernel: str = ""

    @classmethod
    def parse(cls, text: str) -> Fault:
        """From ``kind``, ``kind:worker``, ``kind:worker:units`` or ``kind:worker:units:kernel``. Raises BadInput."""
        kind, *rest = text.split(":")
        if kind not in get_args(FaultKind):
            allowed = ", ".join(get_args(FaultKind))
            raise BadInput(f"{kind!r} is not a fault.", where=FAULT_VARIABLE, remedy=f"There are: {allowed}.")
        worker, units, kernel = (*rest, *("", "", "")[len(rest) :])[:3]
        try:
            return cls(cast(FaultKind, kind), int(worker or 0), int(units or cls.after_units), kernel)
        except ValueError:
            raise BadInput(f"{text!r} is not kind:worker:units:kernel.", where=FAULT_VARIABLE) from None

    @classmethod
    def from_environment(cls) -> Fault | None:
        """The fault that the environment asks for, if it does."""
        text = os.environ.get(FAULT_VARIABLE, "")
        return cls.parse(text) if text else None

    def as_plain(self) -> dict[str, Any]:
        """For the worker's job, in JSON's own types."""
        return asdict(self)


class Saboteur:
    """Carries a fault out inside one worker. With no fault for this worker it does nothing at all."""

    def __init__(self, fault: Fault | None, worker: int) -> None:
        self._fault = fault if fault is not None and fault.worker == worker else None
        self._armed = False

    @property
    def slows(self) -> bool:
        """Whether units of work are to take twice their time now."""
        return self._armed and self._fault is not None and self._fault.kind == "slow"

    def before(self, kernel: str, units: int) -> None:
        """Called before each unit of work; carries out what is not a flip."""
        fault = self._fault
        if fault is None or units < fault.after_units:
            return
        self._armed = fault.kernel in ("", kernel)
        if not self._armed:
            return
        if fault.kind == "die":
            os.kill(os.getpid(), signal.SIGSEGV)
        elif fault.kind == "kill":
            os.kill(os.getpid(), getattr(signal, "SIGKILL", signal.SIGTERM))
        elif fault.kind == "freeze":
            _freeze()
        elif fault.kind == "raise":
            raise RuntimeError("put in on purpose")

    def wants_flip(self) -> bool:
        """Whether this unit's result is to be spoiled by whoever holds it; says yes once."""
        if not self._armed or self._fault is None or self._fault.kind != "flip":
            return False
        self._armed = False
        self._fault = None
        return True

    def tamper(self, result: bytearray | NDArray[Any]) -> None:
        """Flip one bit of one result, once."""
        if not self.wants_flip():
            return
        if isinstance(result, bytearray):
            result[len(result) // 2] ^= 1
            return
        # Bit 50 of one double: high in the mantissa, well above what rounding may change.
        words = result.reshape(-1).view(np.uint64)
        words[words.size // 3] ^= np.uint64(1 << 50)


def _freeze() -> None:
    if hasattr(signal, "SIGSTOP"):
        os.kill(os.getpid(), signal.SIGSTOP)
    while True:
        pass
