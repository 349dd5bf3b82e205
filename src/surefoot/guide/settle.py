"""Waiting until a run starts from a temperature comparable with the others."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from surefoot.guide.bench import Bench
from surefoot.guide.blind import read_in
from surefoot.guide.voice import LiveView

WATCHED: Final[tuple[str, ...]] = ("cpu.temperature", "gpu.temperature")
POLL_SECONDS: Final = 5.0
FLAT_SECONDS: Final = 60.0
FLAT_CELSIUS: Final = 1.0


@dataclass(frozen=True, slots=True)
class Settling:
    """How close is close enough: within ``within_celsius`` of the reference start, waiting ``at_most_minutes``."""

    within_celsius: float = 3.0
    at_most_minutes: float = 5.0


def settle(bench: Bench, settling: Settling, reference: dict[str, float] | None) -> tuple[dict[str, float], str]:
    """Wait for a comparable start. Returns the start temperatures by channel and, in words, how comparable they are.

    Comparable means: no watched temperature more than ``within_celsius`` above its reference (the first run's start).
    Without a reference, that they are flat: less than 1 degree of change in a minute. Without sensors nothing is
    waited for and that is said.
    """
    machine, voice = bench.machine, bench.voice
    began = machine.seconds()
    history: list[tuple[float, dict[str, float]]] = []
    while True:
        sample = machine.sample()
        bench.temperatures_seen.update(read_in(sample))
        temperatures = {name: sample[name] for name in WATCHED if name in sample}
        waited = machine.seconds() - began
        if not temperatures and history:
            return {}, "the temperatures are told no more, so a comparable start could not be checked"
        if not temperatures:
            return {}, "no temperature sensor, so a comparable start could not be checked"
        history.append((waited, temperatures))
        if reference:
            above = {name: value - reference[name] for name, value in temperatures.items() if name in reference}
            if all(rise <= settling.within_celsius for rise in above.values()):
                voice.live(None)
                return temperatures, "start temperature comparable"
        if _flat(history):
            voice.live(None)
            return temperatures, "temperatures flat" + (", though warmer than at the first start" if reference else "")
        if waited >= settling.at_most_minutes * 60:
            voice.live(None)
            return temperatures, f"still drifting after {settling.at_most_minutes:g} min of waiting"
        voice.live(LiveView("cooling down", waited / 60, settling.at_most_minutes, sample, "waiting"))
        machine.sleep(POLL_SECONDS)


def _flat(history: list[tuple[float, dict[str, float]]]) -> bool:
    now, latest = history[-1]
    recent = [values for moment, values in history if now - moment <= FLAT_SECONDS]
    if now - history[0][0] < FLAT_SECONDS:
        return False
    return all(
        max(values.get(name, value) for values in recent) - min(values.get(name, value) for values in recent)
        < FLAT_CELSIUS
        for name, value in latest.items()
    )
