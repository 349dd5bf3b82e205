"""The built-in CPU load: one pinned worker per logical processor, computing and checking itself."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from functools import partial

from surefoot.errors import BadInput
from surefoot.rig.loads.crew import Crew
from surefoot.rig.loads.fault import Fault
from surefoot.rig.loads.processors import allowed_processors
from surefoot.rig.loads.program import PHASE_WORDS, PROGRAMS, Program
from surefoot.rig.loads.rates import WORK_UNITS, rate_scores
from surefoot.rig.loads.session import HANG_SECONDS, WorkSession
from surefoot.rig.loads.verdicts import Post
from surefoot.runs import Score


class CpuLoad:
    """Self-checking work on every logical processor this process may use.

    ``name``: one of `surefoot.rig.loads.program.PROGRAMS`. ``processors``: which ones, None for all allowed.
    ``hang_seconds``: how long a worker may say nothing. ``fault``: for tests. Raises BadInput for an unknown name.
    """

    by_hand = False

    def __init__(
        self,
        name: str = "cpu",
        *,
        processors: Sequence[int] | None = None,
        hang_seconds: float = HANG_SECONDS,
        fault: Fault | None = None,
        seed: int | None = None,
    ) -> None:
        if name not in PROGRAMS:
            raise BadInput(f"there is no built-in CPU load {name!r}.", remedy=f"There are: {', '.join(PROGRAMS)}.")
        self.name = name
        self._program = PROGRAMS[name]
        self._processors = tuple(processors) if processors is not None else None
        self._hang_seconds = hang_seconds
        self._fault = fault
        self._seed = seed

    def exercises(self) -> tuple[str, ...]:
        """``cpu``, and ``transition`` where the program goes from idle to full."""
        return ("cpu", "transition") if self._program.has_transitions else ("cpu",)

    def start(self, minutes: float) -> WorkSession:
        """Start the workers and wait until all are at work. Raises BadInput for minutes <= 0, MachineError."""
        if not minutes > 0:
            raise BadInput(f"a load lasts more than 0 minutes, got {minutes!r}.", where=f"load {self.name!r}")
        processors = self._processors if self._processors is not None else allowed_processors()
        fault = self._fault if self._fault is not None else Fault.from_environment()
        job = {
            "program": self.name,
            "seconds": minutes * 60.0,
            # Fresh data in every run; the seed is told with every failure, so that a unit can be done again.
            "seed": self._seed if self._seed is not None else secrets.randbits(32),
            "fault": fault.as_plain() if fault else None,
        }
        posts = [Post(f"processor {number}", {"processor": number}) for number in processors]
        crew = Crew("surefoot.rig.loads.worker", posts, job)
        session = WorkSession(crew, self._program, partial(_scores, self._program), self._hang_seconds, fault)
        session.await_ready()
        return session


def _scores(program: Program, work: list[dict[str, dict[str, list[float]]]]) -> tuple[Score, ...]:
    phase = program.rated_phase
    note = f"verified work per processor second, {PHASE_WORDS[phase]}"
    return rate_scores(work, phase, "cpu", WORK_UNITS, note)
