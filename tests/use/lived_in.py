"""A virtual machine that people live with: evenings of load, sleep, restarts, updates, crashes, a clock that is set."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

import numpy as np

from surefoot.rehearsal.machine import MachineDown, VirtualMachine
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.runs import Ending, Outcome
from surefoot.units import Setting, Unit

MINUTE = 60.0
HOUR = 3600.0
DAY = 24 * HOUR


class SwitchedOff(BaseException):
    """The machine was shut down or restarted in order: the tool ends with it, unasked."""


class LivedIn(VirtualMachine):
    """In use from 17:00 for six hours a day, four of them under load; asleep otherwise.

    ``share``: hazard of use as a multiple of the bench load's. Events are told by the day they come on:
    ``restarts`` (an update), ``vanishes`` (the setting is gone after sleep), ``clock_steps`` (seconds), ``modes``.
    ``keeps_record``: whether the system keeps a record of how a boot ended.
    """

    def __init__(
        self,
        unit: Unit,
        edges: Mapping[str, VirtualUnit],
        seed: int,
        *,
        share: float = 1.0,
        restarts: Sequence[int] = (),
        vanishes: Sequence[int] = (),
        clock_steps: Mapping[int, float] | None = None,
        modes: Mapping[int, str] | None = None,
        keeps_record: bool = True,
    ) -> None:
        super().__init__(unit, edges, seed)
        self.share = share
        self.restarts, self.vanishes = list(restarts), list(vanishes)
        self.clock_steps, self.modes = dict(clock_steps or {}), dict(modes or {})
        self.keeps_record = keeps_record
        self.luck = np.random.default_rng([seed, 11])
        self.true_seconds = 8 * HOUR
        self.clock_off = 0.0
        self.slept_seconds = 0.0
        self.load_hours = 0.0
        self.awake_hours = 0.0
        self.crashes = 0
        self.ended: dict[str, Ending] = {}
        self.faults: list[tuple[Outcome, str]] = []
        self.mode_now = "balanced"

    @property
    def day(self) -> int:
        return int(self.true_seconds // DAY)

    def now(self) -> datetime:
        return self._start + timedelta(seconds=self.true_seconds + self.clock_off)

    def seconds(self) -> float:
        # Monotonic, and it stops in sleep, as Linux's does.
        return self.true_seconds - self.slept_seconds

    def power_mode(self) -> str | None:
        return self.mode_now

    def up_seconds(self) -> float:
        return 10 * HOUR

    def faults_since(self, moment: datetime) -> Sequence[tuple[Outcome, str]]:
        found, self.faults = self.faults, []
        return found

    def ending(self, boot_id: str | None, since: datetime) -> Ending:
        unknown = Ending("unknown", "no record")
        return self.ended.get(boot_id or "", unknown) if self.keeps_record else unknown

    def loaded_now(self) -> bool:
        hour = self.true_seconds % DAY / HOUR
        return 18 <= hour < 22

    def sample(self) -> dict[str, float]:
        busy = 92.0 if self.loaded_now() else 6.0
        return {"cpu.busy": busy, "cpu.power": 1.1 * busy, "cpu.temperature": 40 + busy / 4, "cpu.clock": 4000.0}

    def sleep(self, seconds: float) -> None:
        left = seconds
        while left > 1e-9:
            part = min(left, 30.0)
            if self.loaded_now():
                self.load_hours += part / HOUR
                depth = abs(self.setting.value("cpu-core"))
                hazard = self.share * self.edges["cpu-core"].hazard(depth)
                if depth and self.luck.random() < -math.expm1(-hazard * part / HOUR):
                    self.crashes += 1
                    self.go_down(Ending("crash", "the journal of that boot ends without a shutdown"))
                    raise MachineDown("in use")
            self.true_seconds += part
            self.awake_hours += part / HOUR
            left -= part
        if self.true_seconds % DAY / HOUR >= 23:
            self.night()

    def night(self) -> None:
        """Asleep until the next afternoon; what comes with the new day comes now."""
        until = (self.day + 1) * DAY + 17 * HOUR
        self.slept_seconds += until - self.true_seconds
        self.true_seconds = until
        day = self.day
        if day in self.clock_steps:
            self.clock_off += self.clock_steps.pop(day)
        if day in self.modes:
            self.mode_now = self.modes.pop(day)
        if day in self.vanishes:
            self.vanishes.remove(day)
            self.setting = Setting()
        if day in self.restarts:
            self.restarts.remove(day)
            self.go_down(Ending("planned", "a shutdown was asked for"))
            raise SwitchedOff

    def go_down(self, how: Ending) -> None:
        self.ended[self.boot_id()] = how
        self.setting = Setting()
        self.true_seconds += 240
        self._boots += 1
