"""The built-in memory load, as its parent sees it."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from functools import partial

from surefoot.errors import BadInput, MachineError
from surefoot.rig.loads.crew import Crew
from surefoot.rig.loads.fault import Fault
from surefoot.rig.loads.memory.field import CHUNK_BYTES
from surefoot.rig.loads.memory.free import available_bytes, headroom_bytes, total_bytes
from surefoot.rig.loads.processors import allowed_processors
from surefoot.rig.loads.program import Phase, Program
from surefoot.rig.loads.rates import rate_scores
from surefoot.rig.loads.session import HANG_SECONDS, WorkSession
from surefoot.rig.loads.verdicts import Post
from surefoot.runs import Score

MEMORY = "memory"
MEMORY_PROGRAM = Program((Phase("memory", 10.0, ("memory",)),))
MOST_WORKERS = 8
"""More processors than this seldom get more out of a memory (common practice, no source)."""
GIB = 1 << 30


class MemoryLoad:
    """Most of the free memory, filled with patterns, checked and filled again by some pinned workers.

    ``headroom``: bytes left to the rest of the machine, None for a tenth of all (at least 1 GiB); ``most``: bytes to
    take at most; ``share``: of what is free above the headroom; ``workers``: None for one a processor, up to 8.
    """

    by_hand = False

    def __init__(
        self,
        *,
        headroom: int | None = None,
        most: int | None = None,
        share: float = 1.0,
        workers: int | None = None,
        chunk_bytes: int = CHUNK_BYTES,
        hang_seconds: float = HANG_SECONDS,
        faults: Sequence[Fault] = (),
        gives_way: bool = False,
    ) -> None:
        self.name = MEMORY
        self._headroom, self._most, self._share, self._workers = headroom, most, share, workers
        self._chunk_bytes = chunk_bytes
        self._hang_seconds = hang_seconds
        self._faults = tuple(faults)
        self._gives_way = gives_way

    def exercises(self) -> tuple[str, ...]:
        """``memory``."""
        return (MEMORY,)

    def start(self, minutes: float) -> WorkSession:
        """Take the memory and begin. Raises BadInput for minutes <= 0, MachineError when too little is free."""
        if not minutes > 0:
            raise BadInput(f"a load lasts more than 0 minutes, got {minutes!r}.", where=f"load {self.name!r}")
        headroom = self._headroom if self._headroom is not None else headroom_bytes(total_bytes())
        processors = allowed_processors()[: self._workers or MOST_WORKERS]
        free = int((available_bytes() - headroom) * self._share)
        target = min(free, self._most) if self._most is not None else free
        if target < self._chunk_bytes:
            raise MachineError(
                f"only {max(free, 0) / GIB:.1f} GiB of memory are free above the {headroom / GIB:.1f} GiB that are "
                "left to the rest of the machine.",
                where=f"load {self.name!r}",
                remedy="Close other programs and try again.",
            )
        processors = processors[: max(1, target // self._chunk_bytes)]
        faults = self._faults or Fault.from_environment()
        job = {
            "seconds": minutes * 60.0,
            "seed": secrets.randbits(32),
            "faults": [fault.as_plain() for fault in faults],
            "target_bytes": target // len(processors),
            "headroom_bytes": headroom,
            "chunk_bytes": self._chunk_bytes,
            "gives_way": self._gives_way,
        }
        posts = [Post(f"memory worker on processor {number}", {"processor": number}) for number in processors]
        crew = Crew("surefoot.rig.loads.memory.worker", posts, job)
        rates = partial(_scores, MEMORY_PROGRAM)
        session = WorkSession(crew, MEMORY_PROGRAM, rates, self._hang_seconds, faults, judge_pace=False)
        session.await_ready()
        return session


def _scores(program: Program, work: list[dict[str, dict[str, list[float]]]]) -> tuple[Score, ...]:
    # Memory is shared by all: what counts is what they moved together, each in its own seconds.
    scores = rate_scores(work, program, "main", {MEMORY: "GB"}, "read, checked and written by each worker")
    busy = sum(1 for each in work if each)
    return tuple(score.model_copy(update={"value": score.value * busy}) for score in scores)
