"""Lists of work under way on a device: several at one time, judged in the order in which they were handed over."""

from __future__ import annotations

import time
from collections import deque
from dataclasses import dataclass

from surefoot.rig.loads.gpu.device import Device, Pending
from surefoot.rig.loads.gpu.kernels import Batch, Flip, GpuKernel
from surefoot.rig.loads.kernels.base import WrongResult

DEPTH = 2
"""While one list is worked at the next lies ready; more only make it later that a wrong result is told."""


@dataclass(frozen=True, slots=True)
class Landed:
    """A list that was done and checked: ``seconds`` of the device's time, ``passes`` in it."""

    kernel: GpuKernel
    phase: str
    seed: int
    passes: int
    batch: Batch
    seconds: float


@dataclass(frozen=True, slots=True)
class _Under:
    kernel: GpuKernel
    phase: str
    seed: int
    passes: int
    batch: Batch
    pending: Pending
    began: float


class Wrong(Exception):
    """A list whose check failed, with what is needed to do it again."""

    def __init__(self, error: WrongResult, kernel: GpuKernel, phase: str, seed: int, passes: int) -> None:
        super().__init__(str(error))
        self.error, self.kernel, self.phase, self.seed, self.passes = error, kernel, phase, seed, passes


class Flight:
    """The lists under way.

    For a watching thread: ``waiting_since`` when the wait for the oldest began (None: nobody waits), ``at_work`` what
    it is, ``longest_seconds`` the longest that any list has taken.
    """

    def __init__(self, device: Device) -> None:
        self._device = device
        self._under: deque[_Under] = deque()
        self._last_end = time.perf_counter()
        self.waiting_since: float | None = None
        self.longest_seconds = 0.0
        self.at_work = ""

    def send(
        self, kernel: GpuKernel, phase: str, seed: int, passes: int, flip: Flip | None = None, twice: bool = False
    ) -> None:
        """Hand over so many passes of a kernel; ``twice``: done twice and counted once, the fault of a slow device."""
        # A driver that is behind may keep whoever hands work over waiting as well.
        self.at_work = f"{passes} passes of {kernel.name}"
        self.waiting_since = time.monotonic()
        work = self._device.work()
        if twice:
            kernel.enqueue(work, seed, passes)
            self._device.submit(work).wait()
            work = self._device.work()
        batch = kernel.enqueue(work, seed, passes, flip)
        began = time.perf_counter()
        self._under.append(_Under(kernel, phase, seed, passes, batch, self._device.submit(work), began))
        self.waiting_since = None

    def land(self, leave: int = DEPTH - 1) -> list[Landed]:
        """Wait till no more than ``leave`` lists are under way; those that are done. Raises Wrong."""
        done = []
        while len(self._under) > leave:
            item = self._under.popleft()
            self.at_work = f"{item.passes} passes of {item.kernel.name}"
            self.waiting_since = time.monotonic()
            report = item.pending.wait()
            self.waiting_since = None
            ended = time.perf_counter()
            seconds = ended - max(self._last_end, item.began)
            self._last_end = ended
            self.longest_seconds = max(self.longest_seconds, seconds)
            try:
                item.kernel.judge(item.batch, report)
            except WrongResult as error:
                raise Wrong(error, item.kernel, item.phase, item.seed, item.passes) from None
            done.append(Landed(item.kernel, item.phase, item.seed, item.passes, item.batch, seconds))
        return done

    def abandon(self) -> None:
        """Wait for all that is under way and judge none of it."""
        while self._under:
            self._under.popleft().pending.wait()
