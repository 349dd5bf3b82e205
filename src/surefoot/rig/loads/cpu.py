"""The built-in CPU load: one pinned worker per logical processor, computing and checking itself."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from functools import partial

from surefoot.errors import BadInput
from surefoot.load_names import ONE_CORE_PREFIX, chosen_processors
from surefoot.rig.loads.crew import Crew
from surefoot.rig.loads.fault import Fault
from surefoot.rig.loads.processors import allowed_processors, last_cache_share
from surefoot.rig.loads.program import PROGRAMS, Program, program_of
from surefoot.rig.loads.rates import WORK_UNITS, rate_scores
from surefoot.rig.loads.session import HANG_SECONDS, WorkSession
from surefoot.rig.loads.verdicts import Post
from surefoot.runs import Score

STREAM_BYTES = 48 << 20
"""Larger than the share of the last cache that a core has on most processors (common practice, no source)."""


class CpuLoad:
    """Self-checking work on every logical processor this process may use.

    ``name``: one of `surefoot.rig.loads.program.PROGRAMS`. ``processors``: which ones, None for all allowed.
    ``hang_seconds``: how long a worker may say nothing that the system keeps waiting; one that has its processor and
    gets nowhere is found in two seconds. ``gives_way``: to a graphics load's own process. ``faults``: for tests.
    Raises BadInput for an unknown name.
    """

    by_hand = False

    def __init__(
        self,
        name: str = "cpu",
        *,
        processors: Sequence[int] | None = None,
        hang_seconds: float = HANG_SECONDS,
        fault: Fault | None = None,
        faults: Sequence[Fault] = (),
        seed: int | None = None,
        gives_way: bool = False,
    ) -> None:
        chosen = chosen_processors(name)
        if name not in PROGRAMS and not chosen:
            raise BadInput(
                f"there is no built-in CPU load {name!r}.",
                remedy=f"There are: {', '.join(PROGRAMS)}, {ONE_CORE_PREFIX}0, {ONE_CORE_PREFIX}0+1 and so on.",
            )
        self.name = name
        self._program = program_of(name)
        self._processors = tuple(processors) if processors is not None else (chosen or None)
        self._hang_seconds = hang_seconds
        self._faults = (fault,) if fault is not None else tuple(faults)
        self._gives_way = gives_way
        self._seed = seed

    def exercises(self) -> tuple[str, ...]:
        """``cpu``, ``transition`` where it goes from idle to full, and ``core-3`` for each chosen processor."""
        cores = tuple(f"core-{number}" for number in chosen_processors(self.name))
        return (*(("cpu", "transition") if self._program.has_transitions else ("cpu",)), *cores)

    def start(self, minutes: float) -> WorkSession:
        """Start the workers and wait until all are at work. Raises BadInput for minutes <= 0, MachineError."""
        if not minutes > 0:
            raise BadInput(f"a load lasts more than 0 minutes, got {minutes!r}.", where=f"load {self.name!r}")
        processors = self._processors if self._processors is not None else allowed_processors()
        if missing := set(chosen_processors(self.name)) - set(allowed_processors()):
            numbers = ", ".join(map(str, sorted(missing)))
            raise BadInput(
                f"there is no processor {numbers} that this process may use.",
                where=f"load {self.name!r}",
                remedy=f"There are: {', '.join(map(str, allowed_processors()))}.",
            )
        faults = self._faults or Fault.from_environment()
        job = {
            "program": self.name,
            "seconds": minutes * 60.0,
            # Fresh data in every run; the seed is told with every failure, so that a unit can be done again.
            "seed": self._seed if self._seed is not None else secrets.randbits(32),
            "faults": [fault.as_plain() for fault in faults],
            "stream_bytes": stream_bytes(len(processors)),
            "cache_bytes": last_cache_share(),
            "gives_way": self._gives_way,
        }
        posts = [Post(f"processor {number}", {"processor": number}) for number in processors]
        crew = Crew("surefoot.rig.loads.worker", posts, job)
        session = WorkSession(crew, self._program, partial(_scores, self._program), self._hang_seconds, faults)
        session.await_ready()
        return session


def stream_bytes(workers: int) -> int:
    """Bytes of memory that each worker's memory-bound kernel goes through: all together an eighth of what is free.

    It keeps two arrays of that size.
    """
    import psutil

    fair = int(psutil.virtual_memory().available) // 16 // max(workers, 1)
    return max(1 << 20, min(STREAM_BYTES, fair)) // 8 * 8


def _scores(program: Program, work: list[dict[str, dict[str, list[float]]]]) -> tuple[Score, ...]:
    return rate_scores(work, program, "cpu", WORK_UNITS, "verified work per processor second")
