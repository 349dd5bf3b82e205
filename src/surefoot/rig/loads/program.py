"""What each worker of a built-in load does when: a pure function of the time since the load began.

Every worker works it out for itself from one shared clock, so that all go from idle to full in step without a message.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from surefoot.load_names import ONE_CORE_PREFIX

PhaseName = Literal["dense", "full", "mixed", "integer", "memory", "burst", "single", "light"]

SLOT_SECONDS = 0.5
# (rest, work, how often): from idle to full at several periods, because each period finds other weaknesses of the
# supply, and because processors sink deeper into idle the longer they rest.
BURSTS: tuple[tuple[float, float, int], ...] = (
    (0.01, 0.01, 10),
    (0.05, 0.05, 4),
    (0.1, 0.1, 2),
    (0.2, 0.15, 1),
    (0.4, 0.15, 1),
)
SINGLE_SLOT_SECONDS = 0.5
LIGHT_SLOT_SECONDS = 0.25
LIGHT_BUSY_SECONDS = 0.02

PHASE_WORDS: dict[PhaseName, str] = {
    "dense": "multiply-add as dense as it goes",
    "full": "all processors at full load, every kind of work",
    "mixed": "arithmetic and memory at once",
    "integer": "whole numbers",
    "memory": "memory patterns",
    "burst": "from idle to full in step",
    "single": "one processor at full boost",
    "light": "near idle",
}
TRANSITION_PHASES: frozenset[PhaseName] = frozenset({"burst", "single", "light"})
BURST_ROUND_SECONDS = sum((rest + work) * times for rest, work, times in BURSTS)


@dataclass(frozen=True, slots=True)
class Phase:
    """A stretch of a program. ``kernels``: of work, in the order of their turns."""

    name: PhaseName
    seconds: float
    kernels: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Moment:
    """What one worker does now: ``busy`` with ``kernel`` or idle, until ``until`` seconds since the load began.

    ``long``: whether units of work may be long; short ones keep the workers in step. ``turn``: the kernel's number.
    """

    phase: PhaseName
    busy: bool
    long: bool
    turn: int
    until: float
    kernel: str = ""


@dataclass(frozen=True, slots=True)
class Program:
    """Phases gone round for as long as the load lasts."""

    phases: tuple[Phase, ...]

    @property
    def cycle_seconds(self) -> float:
        """How long one round takes."""
        return sum(phase.seconds for phase in self.phases)

    @property
    def has_transitions(self) -> bool:
        """Whether it goes from idle to full, or near idle."""
        return any(phase.name in TRANSITION_PHASES for phase in self.phases)

    @property
    def kernels(self) -> tuple[str, ...]:
        """Names of all kernels that it uses, each once."""
        return tuple(dict.fromkeys(kernel for phase in self.phases for kernel in phase.kernels))

    @property
    def shares(self) -> dict[str, float]:
        """Phase to its share of the time."""
        shares: dict[str, float] = {}
        for phase in self.phases:
            shares[phase.name] = shares.get(phase.name, 0.0) + phase.seconds / self.cycle_seconds
        return shares

    def rated_phase(self, kernel: str) -> PhaseName:
        """The phase in which a kernel's rate of work is its score: the first that runs it."""
        return next((phase.name for phase in self.phases if kernel in phase.kernels), self.phases[0].name)

    def at(self, seconds: float, worker: int, workers: int) -> Moment:
        """What worker number ``worker`` of ``workers`` does at ``seconds`` since the load began."""
        cycle, into = divmod(max(seconds, 0.0), self.cycle_seconds)
        began = max(seconds, 0.0) - into
        for phase in self.phases:
            if into < phase.seconds:
                moment = _IN_PHASE.get(phase.name, _full)(phase, into, int(cycle), worker, workers)
                kernel = phase.kernels[moment.turn % len(phase.kernels)]
                return replace(moment, until=began + min(moment.until, phase.seconds), kernel=kernel)
            into -= phase.seconds
            began += phase.seconds
        # Only reached when rounding put the time at the very end of the cycle.
        return Moment(self.phases[0].name, False, False, 0, began, self.phases[0].kernels[0])

    def next_change(self, seconds: float) -> float:
        """When the phase that is on at ``seconds`` ends."""
        cycle, into = divmod(max(seconds, 0.0), self.cycle_seconds)
        end = cycle * self.cycle_seconds
        for phase in self.phases:
            end += phase.seconds
            if into < phase.seconds:
                break
            into -= phase.seconds
        return end


def _full(phase: Phase, into: float, cycle: int, worker: int, workers: int) -> Moment:
    slot = int(into / SLOT_SECONDS)
    # Every other cycle the workers are staggered: all in the heaviest kernel draws most current, a mixture loads
    # shared cache and memory in other ways.
    turn = slot + (worker if cycle % 2 else 0)
    return Moment(phase.name, True, True, turn, (slot + 1) * SLOT_SECONDS)


def _burst(phase: Phase, into: float, cycle: int, worker: int, workers: int) -> Moment:
    rounds, left = divmod(into, BURST_ROUND_SECONDS)
    began = into - left
    turn = int(rounds) + cycle
    for rest, work, times in BURSTS:
        period = rest + work
        if left < period * times:
            number, within = divmod(left, period)
            start = began + number * period
            busy = within >= rest
            return Moment(phase.name, busy, False, turn + int(number), start + (period if busy else rest))
        left -= period * times
        began += period * times
        turn += times
    return Moment(phase.name, False, False, turn, began)


def _single(phase: Phase, into: float, cycle: int, worker: int, workers: int) -> Moment:
    slot = int(into / SINGLE_SLOT_SECONDS)
    # Counted on from the cycles before, so that every processor has its turn however many there are.
    number = cycle * max(1, round(phase.seconds / SINGLE_SLOT_SECONDS)) + slot
    return Moment(phase.name, number % workers == worker, True, number // workers, (slot + 1) * SINGLE_SLOT_SECONDS)


def _light(phase: Phase, into: float, cycle: int, worker: int, workers: int) -> Moment:
    # Each worker wakes at a time of its own within the slot, so that the rest stays idle around it.
    shift = LIGHT_SLOT_SECONDS * worker / workers
    slot, left = divmod(into - shift, LIGHT_SLOT_SECONDS)
    began = into - left
    if left < LIGHT_BUSY_SECONDS:
        return Moment(phase.name, True, False, int(slot) % 1_000_003, began + LIGHT_BUSY_SECONDS)
    return Moment(phase.name, False, False, 0, began + LIGHT_SLOT_SECONDS)


_IN_PHASE = {"burst": _burst, "single": _single, "light": _light}

# Vector work and whole numbers by turns, so that the current swings within the phase as well.
EVERY = ("matrix", "chain", "transform", "chase", "cache", "compression", "stream", "digest")
DENSE = Phase("dense", 8.0, ("matrix",))

ROTATION = Program(
    (
        DENSE,
        Phase("full", 12.0, EVERY),
        Phase("burst", 4.0, ("matrix", "compression", "chain", "transform")),
        Phase("single", 4.0, EVERY),
        Phase("light", 2.0, EVERY),
    )
)
HEAVY = Program((DENSE, Phase("full", 4.0, EVERY)))
TRANSITIONS = Program(
    (
        Phase("burst", 14.0, ("matrix", "compression", "chain", "transform")),
        Phase("single", 10.0, EVERY),
        Phase("light", 6.0, EVERY),
    )
)
PER_CORE = Program((Phase("single", 30.0, EVERY),))
ONE_CORE = Program(
    (Phase("full", 16.0, EVERY), Phase("burst", 10.0, ("matrix", "chain", "compression")), Phase("light", 4.0, EVERY))
)

PROGRAMS: dict[str, Program] = {
    "cpu": ROTATION,
    "cpu-heavy": HEAVY,
    "cpu-transitions": TRANSITIONS,
    "cpu-per-core": PER_CORE,
}
"""By the name of the load. `ONE_CORE` is that of chosen processors while the others idle (``cpu-core-3``)."""


def program_of(name: str) -> Program:
    """The program of a load of the processor; that of chosen processors for ``cpu-core-3`` and ``cpu-core-2+3``."""
    return ONE_CORE if name.startswith(ONE_CORE_PREFIX) else PROGRAMS[name]
