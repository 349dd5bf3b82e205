"""The built-in graphics load, as its parent sees it."""

from __future__ import annotations

import json
import os
import secrets
import subprocess
import sys
from collections.abc import Sequence
from functools import partial

from surefoot.errors import BadInput, MachineError
from surefoot.rig.loads.crew import Crew
from surefoot.rig.loads.fault import Fault
from surefoot.rig.loads.gpu.programs import GPU_EXERCISES, GPU_PROGRAMS, GPU_WORK_UNITS
from surefoot.rig.loads.program import Program
from surefoot.rig.loads.rates import rate_scores
from surefoot.rig.loads.session import HANG_SECONDS, WorkSession
from surefoot.rig.loads.verdicts import Post
from surefoot.runs import Outcome, Score

DEVICE_VARIABLE = "SUREFOOT_GPU"
"""Part of the name of the graphics device to load, or ``software``; the first card when it is not set."""

LIST_SECONDS = 20.0
WORKER = "surefoot.rig.loads.gpu.worker"
STUCK_SECONDS = 2.0
"""A graphics device that has been at one list of work (a tenth of a second) for so long has stopped answering; a
software device, which the processor's other work holds up, gets the whole of ``hang_seconds``."""


class GpuLoad:
    """Exact compute kernels on one graphics device. ``name``: one of `GPU_PROGRAMS`; ``device``: part of its name."""

    by_hand = False

    def __init__(
        self,
        name: str = "gpu",
        *,
        device: str | None = None,
        hang_seconds: float = HANG_SECONDS,
        fault: Fault | None = None,
        faults: Sequence[Fault] = (),
    ) -> None:
        if name not in GPU_PROGRAMS:
            raise BadInput(
                f"there is no built-in graphics load {name!r}.", remedy=f"There are: {', '.join(GPU_PROGRAMS)}."
            )
        self.name = name
        self._device = device
        self._hang_seconds = hang_seconds
        self._faults = (fault,) if fault is not None else tuple(faults)

    def exercises(self) -> tuple[str, ...]:
        """``gpu`` and ``gpu-memory``, with ``transition`` where it goes from idle to full."""
        return GPU_EXERCISES[self.name]

    def start(self, minutes: float) -> WorkSession:
        """Open the device and begin. Raises BadInput for minutes <= 0, MachineError when there is no device."""
        if not minutes > 0:
            raise BadInput(f"a load lasts more than 0 minutes, got {minutes!r}.", where=f"load {self.name!r}")
        program = GPU_PROGRAMS[self.name]
        faults = self._faults or Fault.from_environment()
        job = {
            "program": self.name,
            "seconds": minutes * 60.0,
            "seed": secrets.randbits(32),
            "faults": [fault.as_plain() for fault in faults],
            "stuck_seconds": min(self._hang_seconds, STUCK_SECONDS),
            "software_stuck_seconds": self._hang_seconds,
            "device": self._device if self._device is not None else os.environ.get(DEVICE_VARIABLE, ""),
        }
        # A library that breaks down under its client is how a driver's trouble shows itself.
        post = Post("graphics device", {}, crash=Outcome.DRIVER_RESET)
        session = WorkSession(Crew(WORKER, [post], job), program, partial(_scores, program), self._hang_seconds, faults)
        session.await_ready()
        return session


def _scores(program: Program, work: list[dict[str, dict[str, list[float]]]]) -> tuple[Score, ...]:
    return rate_scores(work, program, "gpu", GPU_WORK_UNITS, "verified work per second")


def graphics_devices() -> list[dict[str, str]]:
    """The devices there are: name, kind (card, integrated, virtual, software, other), backend.

    Asked in a process of its own, because a driver may break down when asked. Raises MachineError, in words.
    """
    try:
        done = subprocess.run(
            [sys.executable, "-P", "-m", WORKER, "--list"],
            capture_output=True,
            text=True,
            timeout=LIST_SECONDS,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise MachineError(f"the graphics devices could not be listed: {error}.") from None
    for line in done.stdout.splitlines():
        if line.startswith('{"adapters"'):
            return list(json.loads(line)["adapters"])
    last = (done.stderr.strip().splitlines() or ["no words"])[-1]
    raise MachineError(f"the graphics devices could not be listed: {last}.")
