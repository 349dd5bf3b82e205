"""A load that the user does by hand: a game, an export, an afternoon's work."""

from __future__ import annotations

import time
from typing import Literal

from surefoot.errors import BadInput
from surefoot.rig.loads.witness import Witness
from surefoot.rig.protocols import LoadState
from surefoot.units import LoadCard

BY_HAND = "by-hand"
INSTRUCTIONS = "Use the machine as you would, with the work that matters to you, till the time is over."


class ByHandLoad:
    """Nothing is started: the session only waits. What the user saw has to be asked afterwards."""

    by_hand = True

    def __init__(self, card: LoadCard | None = None) -> None:
        self.name = card.name if card else BY_HAND
        self.instructions = (card.instructions if card else "") or INSTRUCTIONS
        self._exercises = card.exercises if card else ()

    def exercises(self) -> tuple[str, ...]:
        """As the card says; nothing is known of a task that is not on the card."""
        return self._exercises

    def start(self, minutes: float) -> ByHandSession:
        """Begin the time. Raises BadInput for minutes <= 0."""
        if not minutes > 0:
            raise BadInput(f"a load lasts more than 0 minutes, got {minutes!r}.", where=f"load {self.name!r}")
        return ByHandSession(self.instructions, minutes * 60.0)


class ByHandSession:
    """The time during which the user works. ``progress`` is minutes gone: nothing is verified by the tool.

    ``detail``: what the sensors saw meanwhile (`Witness`), so that an evening at the desktop is not taken for a game.
    """

    def __init__(self, instructions: str, seconds: float, witness: Witness | None = None) -> None:
        self._witness = witness if witness is not None else Witness()
        self._instructions = instructions
        self._seconds = seconds
        self._began = time.monotonic()
        self._last: LoadState | None = None

    def poll(self) -> LoadState:
        """Running till the minutes are over, then done."""
        if self._last is not None:
            return self._last
        gone = time.monotonic() - self._began
        self._witness.look()
        if gone < self._seconds:
            return LoadState("running", gone / 60.0, self._instructions, detail=self._witness.told())
        self._last = self._end("done", self._seconds)
        return self._last

    def _end(self, state: Literal["done", "stopped"], seconds: float) -> LoadState:
        words = self._witness.words()
        return LoadState(state, seconds / 60.0, self._instructions, message=words, detail=self._witness.told())

    def stop(self) -> LoadState:
        """End the time early."""
        if self._last is None:
            gone = min(time.monotonic() - self._began, self._seconds)
            self._last = self._end("stopped", gone)
        return self._last
