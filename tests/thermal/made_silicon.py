"""A part whose physics is known: what it would truly draw, reach and clock after a change. Invented."""

from __future__ import annotations

import math

import numpy as np
from scipy.optimize import brentq

from surefoot.thermal.operating import OperatingPoint


class Silicon:
    """A part drawn at random; its equations are written apart from the product's and solved by scipy."""

    def __init__(self, seed: int) -> None:
        random = np.random.default_rng(seed)
        self.volts = random.uniform(0.95, 1.15)
        self.slope = random.uniform(0.18, 0.32)
        self.aside = random.uniform(0.07, 0.22)
        self.static = random.uniform(0.12, 0.28)
        self.leak = random.uniform(0.006, 0.018)
        self.fan = random.uniform(0.65, 1.0)
        self.room = random.uniform(18.0, 27.0)
        self.watts, self.mhz = random.uniform(35, 90), random.uniform(3000, 4500)
        self.celsius = random.uniform(70, 95)
        self.resistance = (self.celsius - self.room) / self.watts

    def settle(self, mhz: float, offset: float, room: float, cooling: float) -> tuple[float, float]:
        """Power and temperature at a clock, where both agree."""
        volts = self.volts + self.slope * (mhz - self.mhz) / 1000 + offset

        def power(celsius: float) -> float:
            core = self.watts * (1 - self.aside)
            dynamic = core * (1 - self.static) * (volts / self.volts) ** 2 * mhz / self.mhz
            leak = core * self.static * (volts / self.volts) ** 2.6 * math.exp(self.leak * (celsius - self.celsius))
            return self.watts * self.aside + dynamic + leak

        def excess(celsius: float) -> float:
            still = room + self.resistance * cooling * power(celsius)
            return self.celsius + self.fan * (still - self.celsius) - celsius

        # Leakage can run away: the stable point is the first crossing from below.
        grid = np.arange(-20.0, 200.0, 2.0)
        first = next((place for place in range(1, grid.size) if excess(grid[place]) <= 0), None)
        if first is None:
            return math.inf, math.inf
        celsius = brentq(excess, grid[first - 1], grid[first])
        return power(celsius), celsius

    def under(self, limit: str, offset: float, room: float, cooling: float) -> tuple[float, float, float]:
        """Power, temperature and clock after the change, held as the part is held now."""
        if limit == "free":
            return (*self.settle(self.mhz, offset, room, cooling), self.mhz)
        low, high = 0.5 * self.mhz, 1.6 * self.mhz
        for _ in range(45):
            mhz = (low + high) / 2
            watts, celsius = self.settle(mhz, offset, room, cooling)
            over = watts > self.watts if limit == "power" else celsius > self.celsius
            low, high = (low, mhz) if over else (mhz, high)
        return (*self.settle(low, offset, room, cooling), low)

    def point(self, limit: str) -> OperatingPoint:
        return OperatingPoint("cpu", self.watts, self.celsius, self.mhz, None, self.room, limit)
