"""The built-in CPU load: one pinned worker per logical processor, computing and checking itself."""

from __future__ import annotations

import secrets
import time
from collections.abc import Sequence
from typing import Any, Literal

from surefoot.errors import BadInput, MachineError
from surefoot.rig.loads.crew import Crew
from surefoot.rig.loads.fault import Fault
from surefoot.rig.loads.processors import allowed_processors
from surefoot.rig.loads.program import PHASE_WORDS, PROGRAMS, Program
from surefoot.rig.loads.rates import WORK_UNITS, verified_rates
from surefoot.rig.loads.verdicts import Finding, WorkerView, judge_worker
from surefoot.rig.protocols import LoadState
from surefoot.runs import Outcome, Score

# A worker speaks four times a second; a busy machine can keep it off the processor for seconds, not for half a minute.
HANG_SECONDS = 30.0
READY_SECONDS = 120.0
STOP_SECONDS = 15.0
_WORST_FIRST = (Outcome.MISCOMPUTE, Outcome.HANG, Outcome.VOID)


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

    def start(self, minutes: float) -> CpuSession:
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
        session = CpuSession(Crew(processors, job), self._program, self._hang_seconds, fault)
        session.await_ready(READY_SECONDS)
        return session


class CpuSession:
    """The built-in CPU load while it runs."""

    def __init__(self, crew: Crew, program: Program, hang_seconds: float, fault: Fault | None = None) -> None:
        self._crew = crew
        self._program = program
        self._hang_seconds = hang_seconds
        self._fault = fault
        self._epoch: float | None = None
        self._last: LoadState | None = None

    @property
    def worker_pids(self) -> tuple[int, ...]:
        """Process ids of the workers, in the order of their processors."""
        return tuple(member.pid for member in self._crew.members)

    def await_ready(self, seconds: float) -> None:
        """Wait until all workers have proven their kernels, then begin. A failure is left for `poll` to tell.

        Raises MachineError when they are not ready in time and none has failed.
        """
        limit = time.monotonic() + seconds
        try:
            while True:
                views = self._crew.look()
                if self._findings(views, hang_seconds=seconds):
                    return
                if all(view.ready for view in views):
                    break
                if time.monotonic() > limit:
                    late = [str(view.processor) for view in views if not view.ready]
                    raise MachineError(
                        f"the workers on processors {', '.join(late)} were not ready within {seconds:.0f} s.",
                        where="load 'cpu'",
                        remedy="The machine is too busy to start a load; close other programs and try again.",
                    )
                time.sleep(0.02)
        except BaseException:
            self._crew.kill()
            raise
        self._epoch = self._crew.begin()

    def poll(self) -> LoadState:
        """What the load says now: running, failed with the outcome, or done when its minutes are over."""
        if self._last is not None:
            return self._last
        views = self._crew.look()
        findings = self._findings(views, self._hang_seconds)
        if findings:
            return self._close("failed", views, findings)
        if all(view.ended for view in views):
            return self._close("done", views, [])
        return LoadState("running", progress=_units(views), phase=self._phase(), detail=self._detail(views))

    def stop(self) -> LoadState:
        """Stop after the unit in hand, end every process, and give the last word: a late failure is still told."""
        if self._last is not None:
            return self._last
        late = self._crew.stop(STOP_SECONDS)
        views = self._crew.look()
        findings = self._findings(views, self._hang_seconds)
        if not findings:
            findings = [
                Finding(
                    Outcome.HANG,
                    f"processor {member.processor} did not answer when told to stop.",
                    {"processor": member.processor, "verified_units": member.view().units},
                )
                for member in late
            ]
        return self._close("failed" if findings else "stopped", views, findings)

    def scores(self) -> tuple[Score, ...]:
        """Verified work per processor second and kernel, all processors taken together; () before the first."""
        found = verified_rates([member.work for member in self._crew.members], self._program.rated_phase)
        phase = PHASE_WORDS[self._program.rated_phase]
        return tuple(
            Score(
                name=f"cpu {kernel}",
                value=value,
                unit=f"{WORK_UNITS[kernel]}/s",
                note=f"verified work per processor second, {phase}",
            )
            for kernel, value in found.items()
        )

    def _findings(self, views: list[WorkerView], hang_seconds: float) -> list[Finding]:
        found = [finding for view in views if (finding := judge_worker(view, hang_seconds)) is not None]
        # A wrong result tells more than a silence, and either more than an end from outside.
        return sorted(found, key=lambda finding: _WORST_FIRST.index(finding.outcome))

    def _phase(self) -> str:
        if self._epoch is None:
            return "starting"
        elapsed = time.monotonic() - self._epoch
        return PHASE_WORDS[self._program.at(elapsed, 0, len(self._crew.members)).phase]

    def _detail(self, views: list[WorkerView]) -> dict[str, Any]:
        detail: dict[str, Any] = {
            "verified_units": {str(view.processor): view.units for view in views},
            "scores": {score.name: {"value": score.value, "unit": score.unit} for score in self.scores()},
        }
        unpinned = [view.processor for view in views if not view.pinned]
        if unpinned:
            detail["not_pinned"] = unpinned
        if self._fault is not None:
            detail["fault_put_in_on_purpose"] = self._fault.as_plain()
        return detail

    def _close(
        self, state: Literal["done", "failed", "stopped"], views: list[WorkerView], findings: list[Finding]
    ) -> LoadState:
        self._crew.kill()
        progress = _units(views)
        detail = self._detail(views)
        idle = [view.processor for view in views if view.units == 0]
        message = f"{progress:.0f} units of work verified on {len(views)} processors."
        if idle:
            detail["verified_nothing"] = idle
            message += f" Nothing was verified on processors {', '.join(map(str, idle))}: the load was too short."
        outcome = None
        if findings:
            first = findings[0]
            outcome, message = first.outcome, first.message
            detail = {**detail, **first.detail, "verified_units": detail["verified_units"]}
            if len(findings) > 1:
                detail["also"] = [finding.message for finding in findings[1:]]
        if self._fault is not None:
            message += " (A fault was put in on purpose.)"
        self._last = LoadState(
            state, progress=progress, phase=self._phase(), outcome=outcome, message=message, detail=detail
        )
        return self._last


def _units(views: list[WorkerView]) -> float:
    return float(sum(view.units for view in views))
