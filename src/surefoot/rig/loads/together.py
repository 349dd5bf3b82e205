"""Several loads held at once, as one: heat and power are shared, so what holds alone may not hold together."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from surefoot.rig.protocols import Load, LoadSession, LoadState
from surefoot.runs import Outcome

_WORST_FIRST = (Outcome.MISCOMPUTE, Outcome.DRIVER_RESET, Outcome.HANG, Outcome.VOID)


class Together:
    """Starts every load and ends them all with the first that fails; done when all are."""

    by_hand = False

    def __init__(self, name: str, loads: Sequence[Load]) -> None:
        self.name = name
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
        return TogetherSession(sessions)


class TogetherSession:
    """Loads while they run together. ``progress``: the sum; ``detail``: what each says, by its name."""

    def __init__(self, sessions: dict[str, LoadSession]) -> None:
        self._sessions = sessions
        self._last: LoadState | None = None

    def poll(self) -> LoadState:
        """Running while any is and none has failed."""
        if self._last is not None:
            return self._last
        states = {name: session.poll() for name, session in self._sessions.items()}
        if any(state.state == "failed" for state in states.values()):
            return self._close()
        if all(state.state == "done" for state in states.values()):
            return self._close()
        phase = "; ".join(state.phase for state in states.values())
        return LoadState("running", progress=_progress(states), phase=phase, detail=_detail(states))

    def stop(self) -> LoadState:
        """End all."""
        return self._last if self._last is not None else self._close()

    def _close(self) -> LoadState:
        states = {name: session.stop() for name, session in self._sessions.items()}
        failed = sorted(
            (item for item in states.items() if item[1].state == "failed"),
            key=lambda item: _WORST_FIRST.index(item[1].outcome or Outcome.MISCOMPUTE),
        )
        phase = "; ".join(state.phase for state in states.values())
        detail = _detail(states)
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
        self._last = LoadState(
            "done" if done else "stopped", progress=_progress(states), phase=phase, message=message, detail=detail
        )
        return self._last


def _progress(states: dict[str, LoadState]) -> float:
    return sum(state.progress for state in states.values())


def _detail(states: dict[str, LoadState]) -> dict[str, Any]:
    scores: dict[str, Any] = {}
    for state in states.values():
        scores.update(state.detail.get("scores", {}))
    return {"loads": {name: dict(state.detail) for name, state in states.items()}, "scores": scores}
