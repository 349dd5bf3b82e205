"""What the tests of several knobs share: units, runs, and a plain reckoning of the joint posterior."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from surefoot.runs import Closing, Outcome, Purpose, Run, RunPlan
from surefoot.search import Goal
from surefoot.search.likelihood import SHORTEST_HOURS
from surefoot.search.prior import RUN_SPREAD, STRAY_FAILURES, grid_for
from surefoot.units import Conditions, Knob, Setting, Unit

BEGAN = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)

CORE = Knob("cpu-core", "cpu", "mV", "down", 5, 200)
CACHE = Knob("cpu-cache", "cpu", "mV", "down", 5, 120, linked_to="cpu-core")
GPU = Knob("gpu-core", "gpu", "MHz", "up", 15, 300)
MEMORY = Knob("gpu-memory", "gpu", "MHz", "up", 50, 1000)


def unit_of(*knobs: Knob, **card: Any) -> Unit:
    """A unit with these knobs."""
    return Unit(name="bench-unit", knobs=knobs, **card)


def run_of(
    number: int,
    values: Mapping[str, float],
    minutes: float,
    outcome: Outcome = Outcome.HELD,
    *,
    timed: bool = True,
    load: str = "virtual",
    purpose: Purpose = "search",
    knob: str | None = None,
    conditions: Conditions | None = None,
    read_back: Mapping[str, float] | None = None,
    hours_after: float | None = None,
) -> Run:
    """A closed run at signed offsets, ``number`` being its id and its place in time."""
    at = BEGAN + timedelta(hours=number if hours_after is None else hours_after)
    return Run(
        id=number,
        opened_at=at,
        plan=RunPlan(
            unit_name="bench-unit",
            setting=Setting(values=dict(values)),
            load=load,
            planned_minutes=max(minutes, 1),
            purpose=purpose,
            knob=knob,
            conditions=conditions or Conditions(),
            source="virtual",
        ),
        closed_at=at + timedelta(minutes=minutes),
        closing=Closing(
            outcome=outcome,
            minutes=minutes,
            judged_by="test",
            timed=timed,
            setting=None if read_back is None else Setting(values=dict(read_back)),
        ),
    )


def noted(run: Run, *exercises: str) -> Run:
    """The run with what its load exercises noted at its closing, as a session does."""
    assert run.closing is not None
    return run.model_copy(update={"closing": run.closing.model_copy(update={"detail": {"exercises": list(exercises)}})})


def at_depths(unit: Unit, depths: Mapping[str, float]) -> dict[str, float]:
    """Signed offsets of depths by leader, linked knobs moved along."""
    return dict(unit.setting_at(depths).values)


Shared = tuple[Mapping[str, float], float, str]
"""Depths by knob, minutes, and ``held``, ``failed`` or ``found``: failed at that time, or some time before it."""


class PlainReckoning:
    """The joint posterior by summing over every combination of grid points of all knobs: nothing clever.

    Competing risks written out: all survive; or one fails at the time and the others survive to it; or not all survive.
    A stray failure comes at a time with density proportional to 1 / t; of a shared one the knobs lived till then.
    """

    def __init__(self, knobs: Sequence[Knob], history: Sequence[Shared], goal: Goal) -> None:
        self.names = [knob.name for knob in knobs]
        self.goal = goal
        self.grids = {knob.name: grid_for(knob, goal) for knob in knobs}
        self.sizes = [self.grids[name].log_prior.size for name in self.names]
        weight = np.ones(self.sizes)
        for axis, name in enumerate(self.names):
            weight = weight * self._along(np.exp(self.grids[name].log_prior).ravel(), axis)
        for depths, minutes, ending in history:
            weight = weight * self._likelihood(depths, minutes, ending)
            weight /= weight.sum()
        self.weight = weight

    def _along(self, values: NDArray[np.float64], axis: int) -> NDArray[np.float64]:
        shape = [1] * len(self.names)
        shape[axis] = -1
        return values.reshape(shape)

    def _hazard(self, name: str, depth: float) -> NDArray[np.float64]:
        return self._along(self.grids[name].hazard(depth).ravel(), self.names.index(name))

    def _likelihood(self, depths: Mapping[str, float], minutes: float, ending: str) -> NDArray[np.float64]:
        hours = max(minutes / 60.0, SHORTEST_HOURS if ending != "held" else 0.0)
        if ending == "failed" and minutes / 60.0 < SHORTEST_HOURS:
            ending = "found"
        active = [name for name in self.names if depths.get(name, 0.0) > 0 or ending == "held"]
        hazard = {name: self._hazard(name, depths.get(name, 0.0)) for name in active}
        alive = {name: (1 + RUN_SPREAD * h * hours) ** (-1 / RUN_SPREAD) for name, h in hazard.items()}
        all_alive = np.ones([1] * len(self.names))
        for name in active:
            all_alive = all_alive * alive[name]
        if ending == "held":
            return all_alive
        if ending == "found":
            return (1 - STRAY_FAILURES) * (1 - all_alive) + STRAY_FAILURES
        total = np.zeros([1] * len(self.names))
        for name in active:
            others = np.ones([1] * len(self.names))
            for other in active:
                if other != name:
                    others = others * alive[other]
            density = hazard[name] * (1 + RUN_SPREAD * hazard[name] * hours) ** (-1 / RUN_SPREAD - 1)
            total = total + density * others
        return (1 - STRAY_FAILURES) * total + STRAY_FAILURES / hours * (all_alive if len(active) > 1 else 1.0)

    def marginal(self, name: str) -> NDArray[np.float64]:
        axes = tuple(axis for axis, other in enumerate(self.names) if other != name)
        return self.weight.sum(axis=axes)

    def chance_meets(self, depths: Mapping[str, float]) -> float:
        background = next(iter(self.grids.values())).background
        total = np.full([1] * len(self.names), background)
        for name, depth in depths.items():
            total = total + self._hazard(name, depth) - background
        return float(self.weight[np.broadcast_to(total <= 1 / self.goal.mttf_hours, self.weight.shape)].sum())

    def failure_chance(self, depths: Mapping[str, float], minutes: float) -> float:
        alive = np.ones([1] * len(self.names))
        for name, depth in depths.items():
            alive = alive * (1 + RUN_SPREAD * self._hazard(name, depth) * minutes / 60) ** (-1 / RUN_SPREAD)
        return float(1 - (self.weight * alive).sum())


def runs_from(unit: Unit, history: Sequence[Shared]) -> list[Run]:
    """The same history as runs."""
    return [
        run_of(
            number,
            at_depths(unit, depths),
            minutes,
            Outcome.HELD if ending == "held" else Outcome.RESET,
            timed=ending != "found",
        )
        for number, (depths, minutes, ending) in enumerate(history, start=1)
    ]


def combinations(names: Sequence[str]) -> list[tuple[str, ...]]:
    """All ways to take at least one of the names."""
    return [taken for size in range(1, len(names) + 1) for taken in itertools.combinations(names, size)]
