"""Several loads held at once, as one: heat and power are shared, so what holds alone may not hold together."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from typing import Any, Protocol, runtime_checkable

from surefoot.rig.loads.balance import Share, new_duties, relative_pace, work_between
from surefoot.rig.protocols import Load, LoadSession, LoadState, TellsOfCores
from surefoot.runs import Outcome

_WORST_FIRST = (Outcome.MISCOMPUTE, Outcome.DRIVER_RESET, Outcome.HANG, Outcome.VOID)


ALONE_SECONDS = 3.0
"""How long each part works alone at the start, so that it is known what it gets beside the others."""
LOOK_SECONDS = 5.0


@runtime_checkable
class Paced(Protocol):
    """A session whose pace can be told and set."""

    def work(self) -> list[dict[str, dict[str, list[float]]]]:
        """What each worker has done: phase to kernel to [work, seconds, units]."""
        ...

    def set_duty(self, share: float) -> None:
        """Let it work this share of the time; 0 is a rest."""
        ...


class Together:
    """Starts every load and ends them all with the first that fails; done when all are.

    Where all can be paced and there are two or more, each first works alone for ``alone_seconds`` while the others
    rest; from then on it is known what each gets beside the others, and where power, heat or memory is shared so
    unevenly that one is starved, the one that keeps most gives way (`balance`).
    """

    by_hand = False

    def __init__(self, name: str, loads: Sequence[Load], alone_seconds: float = ALONE_SECONDS) -> None:
        self.name = name
        self._alone_seconds = alone_seconds
        self._loads = tuple(loads)

    def exercises(self) -> tuple[str, ...]:
        """What any of them bears on."""
        return tuple(dict.fromkeys(part for load in self._loads for part in load.exercises()))

    def start(self, minutes: float) -> TogetherSession:
        """Start all. Raises what any of them raises, with none left running."""
        sessions: dict[str, LoadSession] = {}
        try:
            for load in self._loads:
                sessions[load.name] = load.start(minutes)
        except BaseException:
            for session in sessions.values():
                session.stop()
            raise
        # A load that lasts no longer than the times alone has nothing to balance.
        alone = self._alone_seconds if minutes * 60.0 > 3 * self._alone_seconds * len(sessions) else 0.0
        return TogetherSession(sessions, alone)


class TogetherSession:
    """Loads while they run together. ``progress``: the sum; ``detail``: what each says, by its name."""

    def __init__(self, sessions: dict[str, LoadSession], alone_seconds: float = 0.0) -> None:
        self._sessions = sessions
        self._last: LoadState | None = None
        paced = {name: session for name, session in sessions.items() if isinstance(session, Paced)}
        self._balance = _Balance(paced, alone_seconds) if alone_seconds > 0 and len(paced) > 1 else None

    def poll(self) -> LoadState:
        """Running while any is and none has failed."""
        if self._last is not None:
            return self._last
        if self._balance is not None:
            self._balance.look()
        states = {name: session.poll() for name, session in self._sessions.items()}
        if any(state.state == "failed" for state in states.values()):
            return self._close()
        if all(state.state == "done" for state in states.values()):
            return self._close()
        phase = "; ".join(state.phase for state in states.values())
        return LoadState("running", progress=_progress(states), phase=phase, detail=self._detail(states))

    def stop(self) -> LoadState:
        """End all."""
        return self._last if self._last is not None else self._close()

    def cores(self) -> dict[str, dict[str, Any]]:
        """What each worker of each part does now."""
        found: dict[str, dict[str, Any]] = {}
        for name, session in self._sessions.items():
            if isinstance(session, TellsOfCores):
                found.update({f"{name}: {words}": facts for words, facts in session.cores().items()})
        return found

    def _detail(self, states: dict[str, LoadState]) -> dict[str, Any]:
        scores: dict[str, Any] = {}
        verified: dict[str, int] = {}
        for state in states.values():
            scores.update(state.detail.get("scores", {}))
            verified.update(state.detail.get("verified_units", {}))
        detail: dict[str, Any] = {"loads": {name: dict(state.detail) for name, state in states.items()}}
        detail["scores"] = scores
        if verified:
            detail["verified_units"] = verified
        if self._balance is not None:
            detail["balance"] = self._balance.told()
        return detail

    def _close(self) -> LoadState:
        states = {name: session.stop() for name, session in self._sessions.items()}
        failed = sorted(
            (item for item in states.items() if item[1].state == "failed"),
            key=lambda item: _WORST_FIRST.index(item[1].outcome or Outcome.MISCOMPUTE),
        )
        phase = "; ".join(state.phase for state in states.values())
        detail = self._detail(states)
        if failed:
            name, first = failed[0]
            self._last = LoadState(
                "failed",
                progress=_progress(states),
                phase=phase,
                outcome=first.outcome,
                message=f"{name}: {first.message}",
                detail={**detail, **first.detail, "failed_load": name},
            )
            return self._last
        done = all(state.state == "done" for state in states.values())
        message = " ".join(f"{name}: {state.message}" for name, state in states.items())
        if self._balance is not None and (words := self._balance.words()):
            message = f"{message} {words}"
        self._last = LoadState(
            "done" if done else "stopped", progress=_progress(states), phase=phase, message=message, detail=detail
        )
        return self._last


class _Balance:
    """Who works when: each alone first, then all, their duties set anew from what each gets."""

    def __init__(self, sessions: Mapping[str, Paced], alone_seconds: float) -> None:
        self._sessions = sessions
        self._alone_seconds = alone_seconds
        self._began = time.monotonic()
        self._turn = -1
        self._alone: dict[str, dict[tuple[str, str], tuple[float, float]]] = {}
        self._duty = dict.fromkeys(sessions, 1.0)
        self._pace: dict[str, float | None] = dict.fromkeys(sessions)
        self._all_since: float | None = None
        self._marks = {name: session.work() for name, session in sessions.items()}
        self._looked = self._began
        self._give_turn(0)

    def _give_turn(self, turn: int) -> None:
        self._turn = turn
        for number, session in enumerate(self._sessions.values()):
            session.set_duty(1.0 if number == turn else 0.0)

    def look(self) -> None:
        """Called with every poll; acts when a turn is over, or some seconds have passed."""
        now = time.monotonic()
        names = list(self._sessions)
        if self._all_since is None:
            if now < self._began + (self._turn + 1) * self._alone_seconds:
                return
            name = names[self._turn]
            self._alone[name] = work_between(self._marks[name], self._sessions[name].work())
            if self._turn + 1 < len(names):
                self._give_turn(self._turn + 1)
                return
            self._all_since = self._looked = now
            self._marks = {name: session.work() for name, session in self._sessions.items()}
            for session in self._sessions.values():
                session.set_duty(1.0)
            return
        if now - self._looked < LOOK_SECONDS:
            return
        self._looked = now
        for name, session in self._sessions.items():
            work = session.work()
            pace = relative_pace(self._alone[name], work_between(self._marks[name], work))
            if pace is not None:
                old = self._pace[name]
                self._pace[name] = pace if old is None else 0.5 * (old + pace)
            self._marks[name] = work
        duties = new_duties([Share(name, self._pace[name], self._duty[name]) for name in names])
        for name, duty in duties.items():
            if duty != self._duty[name]:
                self._sessions[name].set_duty(duty)
        self._duty = duties

    def told(self) -> dict[str, Any]:
        """For the record: what each part got beside the others, as a share of its pace alone, and its duty."""
        return {
            name: {"pace": round(pace, 3) if (pace := self._pace[name]) is not None else None, "duty": self._duty[name]}
            for name in self._sessions
        }

    def words(self) -> str:
        """In a sentence; "" before all have worked together for some seconds."""
        known = {name: pace for name, pace in self._pace.items() if pace is not None}
        if not known:
            return ""
        parts = ", ".join(
            f"{name} {pace:.0%}" + (f" at {self._duty[name]:.0%} duty" if self._duty[name] < 1 else "")
            for name, pace in known.items()
        )
        return f"Beside the others each kept, of its pace alone: {parts}."


def _progress(states: dict[str, LoadState]) -> float:
    return sum(state.progress for state in states.values())
