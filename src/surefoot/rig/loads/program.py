"""When each worker of the CPU load is busy: a pure function of the time since the load began.

Every worker works it out for itself from one shared clock, so that all go from idle to full in step without a message.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

PhaseName = Literal["full", "burst", "single", "light"]

FULL_SLOT_SECONDS = 0.5
# Rests of different length before each burst: processors sink deeper into idle the longer they rest.
BURST_RESTS_SECONDS = (0.05, 0.1, 0.2, 0.4)
BURST_SECONDS = 0.15
SINGLE_SLOT_SECONDS = 0.5
LIGHT_SLOT_SECONDS = 0.25
LIGHT_BUSY_SECONDS = 0.02

PHASE_WORDS: dict[PhaseName, str] = {
    "full": "all processors at full load",
    "burst": "all from idle to full in step",
    "single": "one processor at full boost",
    "light": "near idle",
}
TRANSITION_PHASES: frozenset[PhaseName] = frozenset({"burst", "single", "light"})


@dataclass(frozen=True, slots=True)
class Moment:
    """What one worker does now: ``busy`` with kernel number ``turn`` or idle, until ``until`` seconds.

    ``long``: whether units of work may be long; short ones keep the workers in step.
    """

    phase: PhaseName
    busy: bool
    long: bool
    turn: int
    until: float


@dataclass(frozen=True, slots=True)
class Program:
    """Phases, each with its seconds, gone round for as long as the load lasts."""

    phases: tuple[tuple[PhaseName, float], ...]

    @property
    def cycle_seconds(self) -> float:
        """How long one round takes."""
        return sum(seconds for _, seconds in self.phases)

    @property
    def has_transitions(self) -> bool:
        """Whether it goes from idle to full, or near idle."""
        return any(name in TRANSITION_PHASES for name, _ in self.phases)

    @property
    def rated_phase(self) -> PhaseName:
        """The phase whose rate of work is the score: full load where there is one, else the first."""
        names = [name for name, _ in self.phases]
        return "full" if "full" in names else names[0]

    def at(self, seconds: float, worker: int, workers: int) -> Moment:
        """What worker number ``worker`` of ``workers`` does at ``seconds`` since the load began."""
        cycle, into = divmod(max(seconds, 0.0), self.cycle_seconds)
        began = max(seconds, 0.0) - into
        for name, length in self.phases:
            if into < length:
                moment = _IN_PHASE[name](into, length, int(cycle), worker, workers)
                return Moment(moment.phase, moment.busy, moment.long, moment.turn, began + min(moment.until, length))
            into -= length
            began += length
        # Only reached when rounding put the time at the very end of the cycle.
        return Moment(self.phases[0][0], False, False, 0, began)


def _full(into: float, length: float, cycle: int, worker: int, workers: int) -> Moment:
    slot = int(into / FULL_SLOT_SECONDS)
    # Every other cycle the workers are staggered: all in the heaviest kernel draws most current, a mixture loads
    # shared cache and memory in other ways.
    turn = slot + (worker if cycle % 2 else 0)
    return Moment("full", True, True, turn, (slot + 1) * FULL_SLOT_SECONDS)


def _burst(into: float, length: float, cycle: int, worker: int, workers: int) -> Moment:
    period = sum(BURST_RESTS_SECONDS) + len(BURST_RESTS_SECONDS) * BURST_SECONDS
    rounds, left = divmod(into, period)
    began = into - left
    for index, rest in enumerate(BURST_RESTS_SECONDS):
        turn = int(rounds) * len(BURST_RESTS_SECONDS) + index
        if left < rest:
            return Moment("burst", False, False, turn, began + rest)
        if left < rest + BURST_SECONDS:
            return Moment("burst", True, False, turn, began + rest + BURST_SECONDS)
        left -= rest + BURST_SECONDS
        began += rest + BURST_SECONDS
    return Moment("burst", False, False, 0, began)


def _single(into: float, length: float, cycle: int, worker: int, workers: int) -> Moment:
    slot = int(into / SINGLE_SLOT_SECONDS)
    # Counted on from the cycles before, so that every processor has its turn however many there are.
    number = cycle * max(1, round(length / SINGLE_SLOT_SECONDS)) + slot
    return Moment("single", number % workers == worker, True, number // workers, (slot + 1) * SINGLE_SLOT_SECONDS)


def _light(into: float, length: float, cycle: int, worker: int, workers: int) -> Moment:
    # Each worker wakes at a time of its own within the slot, so that the rest stays idle around it.
    shift = LIGHT_SLOT_SECONDS * worker / workers
    slot, left = divmod(into - shift, LIGHT_SLOT_SECONDS)
    began = into - left
    if left < LIGHT_BUSY_SECONDS:
        return Moment("light", True, False, int(slot) % 1_000_003, began + LIGHT_BUSY_SECONDS)
    return Moment("light", False, False, 0, began + LIGHT_SLOT_SECONDS)


_IN_PHASE = {"full": _full, "burst": _burst, "single": _single, "light": _light}

ROTATION = Program((("full", 12.0), ("burst", 6.75), ("single", 6.0), ("light", 3.0)))
HEAVY = Program((("full", 12.0),))
TRANSITIONS = Program((("burst", 13.5), ("single", 12.0), ("light", 6.0)))

PROGRAMS: dict[str, Program] = {"cpu": ROTATION, "cpu-heavy": HEAVY, "cpu-transitions": TRANSITIONS}
