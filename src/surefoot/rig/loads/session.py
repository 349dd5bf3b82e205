"""A load that works in processes of its own, while it runs: one session for the processor's and the graphics card's."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import Any, Literal

from surefoot.errors import MachineError
from surefoot.rig.loads.crew import Crew
from surefoot.rig.loads.fault import Fault
from surefoot.rig.loads.pace import PaceWatch
from surefoot.rig.loads.program import PHASE_WORDS, Program
from surefoot.rig.loads.verdicts import Finding, WorkerView, judge_worker
from surefoot.rig.protocols import LoadState
from surefoot.runs import Outcome, Score

# A worker speaks four times a second; a busy machine can keep it off the processor for seconds, not for half a minute.
HANG_SECONDS = 30.0
READY_SECONDS = 120.0
STOP_SECONDS = 15.0
PACE_SECONDS = 0.5
_WORST_FIRST = (Outcome.MISCOMPUTE, Outcome.DRIVER_RESET, Outcome.HANG, Outcome.VOID)

Rates = Callable[[list[dict[str, dict[str, list[float]]]]], tuple[Score, ...]]
"""The scores of what all workers have done: phase to kernel to [work, seconds, units] each."""


class WorkSession:
    """Workers that verify their own work, as one `LoadSession`."""

    def __init__(
        self,
        crew: Crew,
        program: Program,
        rates: Rates,
        hang_seconds: float,
        faults: Sequence[Fault] = (),
        *,
        judge_pace: bool = True,
    ) -> None:
        self._judge_pace = judge_pace
        self._crew = crew
        self._program = program
        self._rates = rates
        self._hang_seconds = hang_seconds
        self._faults = tuple(faults)
        self._epoch: float | None = None
        self._last: LoadState | None = None
        self._pace = PaceWatch()
        self._duty = 1.0
        self._pace_looked = float("-inf")

    @property
    def worker_pids(self) -> tuple[int, ...]:
        """Process ids of the workers, in the order of their posts."""
        return tuple(member.pid for member in self._crew.members)

    def await_ready(self, seconds: float = READY_SECONDS) -> None:
        """Wait until all workers have proven their kernels, then begin. A wrong result is left for `poll` to tell.

        Raises MachineError when they are not ready in time, or cannot work for want of something.
        """
        limit = time.monotonic() + seconds
        try:
            while True:
                views = self._crew.look()
                if findings := self._findings(views, hang_seconds=seconds):
                    if all(finding.outcome is Outcome.VOID for finding in findings):
                        raise MachineError(
                            f"the load could not start. {findings[0].message}",
                            remedy="Another load can be chosen, or one of the unit card's own.",
                        )
                    return
                if all(view.ready for view in views):
                    break
                if time.monotonic() > limit:
                    late = ", ".join(view.post.words for view in views if not view.ready)
                    raise MachineError(
                        f"the load was not ready within {seconds:.0f} s ({late}).",
                        remedy="The machine is too busy to start it; close other programs and try again.",
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
        # What shares a memory, or is worked out by the processor, loses pace to other programs and not to its clock.
        judged = self._judge_pace and all(view.facts.get("graphics_kind") != "software" for view in views)
        if judged and time.monotonic() - self._pace_looked >= PACE_SECONDS and self._duty >= 1.0:
            self._pace_looked = time.monotonic()
            self._pace.look(self.work())
        if all(view.ended for view in views):
            return self._close("done", views, [])
        return LoadState("running", progress=_progress(views), phase=self._phase(), detail=self._detail(views))

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
                    f"{member.post.words} did not answer when told to stop.",
                    {**member.post.facts, "verified_units": member.view().units},
                )
                for member in late
            ]
        return self._close("failed" if findings else "stopped", views, findings)

    def work(self) -> list[dict[str, dict[str, list[float]]]]:
        """What each worker has done: phase to kernel to [work, seconds, units]."""
        return [member.work for member in self._crew.members]

    def set_duty(self, share: float) -> None:
        """Let every worker work this share of the time; 0 is a rest."""
        self._duty = share
        self._crew.tell(f"duty {share:.3f}")

    def cores(self) -> dict[str, dict[str, Any]]:
        """What each worker does now, by its post in words: kernel, busy, units verified, and what it says itself."""
        elapsed = time.monotonic() - self._epoch if self._epoch is not None else -1.0
        found = {}
        for index, view in enumerate(self._crew.look()):
            moment = self._program.at(max(elapsed, 0.0), index, len(self._crew.members))
            doing = moment.kernel if moment.busy and elapsed >= 0 else "rest"
            facts = {"doing": doing, "phase": moment.phase, "verified": view.units, **view.post.facts, **view.now}
            found[view.post.words] = facts
        return found

    def scores(self) -> tuple[Score, ...]:
        """How fast verified work was done, by kernel; () before the first."""
        return self._rates(self.work())

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
            "verified_units": {view.post.words: view.units for view in views},
            "scores": {score.name: {"value": score.value, "unit": score.unit} for score in self.scores()},
        }
        for view in views:
            detail.update(view.facts)
            for name, value in view.now.items():
                detail[name] = detail.get(name, 0) + value
        unpinned = [view.post.words for view in views if not view.pinned]
        if unpinned:
            detail["not_pinned"] = unpinned
        if self._pace.lost:
            words = [member.post.words for member in self._crew.members]
            detail["lost_pace"] = {words[worker]: round(share, 3) for worker, share in self._pace.lost.items()}
        if self._faults:
            detail["fault_put_in_on_purpose"] = self._faults[0].as_plain()
        return detail

    def _close(
        self, state: Literal["done", "failed", "stopped"], views: list[WorkerView], findings: list[Finding]
    ) -> LoadState:
        self._crew.kill()
        detail = self._detail(views)
        workers = "1 worker" if len(views) == 1 else f"{len(views)} workers"
        message = f"{sum(view.units for view in views)} units of work verified by {workers}."
        idle = [view.post.words for view in views if view.units == 0]
        if idle:
            detail["verified_nothing"] = idle
            message += f" Nothing was verified on {', '.join(idle)}: the load was too short."
        if self._pace.lost:
            told = ", ".join(f"{where} to {share:.0%}" for where, share in detail["lost_pace"].items())
            message += f" Lost pace against its own at first: {told}."
        outcome = None
        if findings:
            first = findings[0]
            outcome, message = first.outcome, first.message
            detail = {**detail, **first.detail, "verified_units": detail["verified_units"]}
            if len(findings) > 1:
                detail["also"] = [finding.message for finding in findings[1:]]
        if self._faults:
            message += " (A fault was put in on purpose.)"
        self._last = LoadState(
            state, progress=_progress(views), phase=self._phase(), outcome=outcome, message=message, detail=detail
        )
        return self._last


def _progress(views: list[WorkerView]) -> float:
    return sum(view.progress for view in views)
