"""What a kernel of the graphics load is. One to a file; each verifies every word of its result."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from surefoot.rig.loads.gpu.device import Report, Work
from surefoot.rig.loads.kernels.base import WrongResult


@dataclass(frozen=True, slots=True)
class Flip:
    """One bit to turn over in a result before it is checked: ``share`` (0 to 1) of the way through it, bit 0 to 31."""

    share: float = 0.5
    bit: int = 9


@dataclass(frozen=True, slots=True)
class Batch:
    """What a kernel put on a list: the ``amount`` of work, and the ``blocks`` and ``groups`` its checks must count."""

    amount: float
    blocks: int = 0
    groups: int = 0
    traffic_gb: float = 0.0


class GpuKernel(Protocol):
    """One kind of work. ``work_unit``: of the work verified; ``nominal``: of it that counts as one unit of progress.

    The nominal amounts are fixed, so that progress means the same on every day and every device; each is about what a
    card of the middle class does in a tenth of a second (common practice, no source), so that none drowns the others.
    """

    name: str
    work_unit: str
    nominal: float
    most_passes: int

    def prove(self) -> None:
        """Set up, and prove on the processor what later results are compared with. Raises WrongResult."""
        ...

    def sized(self) -> str:
        """How it was sized to the device, in words."""
        ...

    def enqueue(self, work: Work, seed: int, passes: int, flip: Flip | None = None, check: bool = True) -> Batch:
        """Put so many passes, each with its check, on a list. ``check`` False: for measuring what checking costs."""
        ...

    def judge(self, batch: Batch, report: Report) -> None:
        """What the checks of a batch found. Raises WrongResult."""
        ...


def judge_words(kernel: str, what: str, before: int, batch: Batch, report: Report) -> None:
    """Raise WrongResult when words were wrong, or when not every word was looked at.

    ``before``: words that lie before those that a place counts from.
    """
    if report.wrong:
        raise WrongResult(
            kernel,
            f"{what}: {report.wrong} words are wrong, the first at {before + report.place}",
            f"{report.expected:08x}",
            f"{report.found:08x}",
        )
    for done, due, name in ((report.blocks, batch.blocks, "blocks"), (report.compared, batch.groups, "groups")):
        if done != due:
            raise WrongResult(kernel, f"{what}: {done} of {due} {name} were checked", str(due), str(done))
