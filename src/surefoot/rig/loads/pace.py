"""Which worker has lost pace: a clock that is stretched, or errors that are retried, show as lost speed. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import median

from surefoot.rig.loads.balance import Work, work_between
from surefoot.rig.loads.program import TRANSITION_PHASES

LEAST_SECONDS = 0.15
"""Of a kernel's time between two looks, for its pace to be told."""
REFERENCE_LOOKS = 3
LOST = 0.7
"""Of its own earlier pace, and of what its fellows kept of theirs: heat lowers the pace of all, a stretched clock that
of one."""
LOOKS = 2


class PaceWatch:
    """Compares each worker's pace with its own at first, kernel by kernel, and with what its fellows kept of theirs."""

    def __init__(self) -> None:
        self._last: list[Work] = []
        self._first: dict[tuple[int, str, str], list[float]] = {}
        self._behind: dict[int, int] = {}
        self.lost: dict[int, float] = {}

    def look(self, work: Sequence[Work]) -> None:
        """Called every half second or so with what each worker has done so far."""
        kept: dict[int, float] = {}
        for worker, now in enumerate(work):
            before = [self._last[worker]] if worker < len(self._last) else []
            shares = []
            for (phase, kernel), (done, seconds) in work_between(before, [now]).items():
                if phase in TRANSITION_PHASES or seconds < LEAST_SECONDS or done <= 0:
                    continue
                first = self._first.setdefault((worker, phase, kernel), [])
                if len(first) < REFERENCE_LOOKS:
                    first.append(done / seconds)
                else:
                    shares.append(done / seconds / median(first))
            if shares:
                kept[worker] = median(shares)
        self._last = [_copy(one) for one in work]
        for worker, share in kept.items():
            fellows = [other for number, other in kept.items() if number != worker]
            slower = share < LOST * min(1.0, median(fellows) if fellows else 1.0)
            self._behind[worker] = self._behind.get(worker, 0) + 1 if slower else 0
            if self._behind[worker] >= LOOKS:
                self.lost[worker] = min(share, self.lost.get(worker, share))


def _copy(work: Work) -> Mapping[str, Mapping[str, tuple[float, ...]]]:
    return {phase: {kernel: tuple(tally) for kernel, tally in kernels.items()} for phase, kernels in work.items()}
