"""What the search sees and what it answers: evidence, goal, proposal, certificate."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from surefoot.errors import BadInput
from surefoot.search.effort import effort_named
from surefoot.search.lent import Lent


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the search sees of a run.

    ``depth``: as read back, >= 0, in the knob's unit; ``minutes``: under load, to the end or to the failure;
    ``failed``; ``timed``: False when it failed some time before ``minutes``; ``soft``: a failure that cost no crash
    (a caught wrong result, a lost score); ``use``: it was ordinary use, a load of its own (use_evidence.py); ``told``:
    somebody wrote it down, and nobody saw it (own_evidence.py). Raises BadInput for a negative or non-finite number.
    """

    depth: float
    minutes: float
    failed: bool
    timed: bool = True
    soft: bool = False
    use: bool = False
    told: bool = False

    def __post_init__(self) -> None:
        for name in ("depth", "minutes"):
            value = getattr(self, name)
            if not math.isfinite(value) or value < 0:
                raise BadInput(f"{name} is {value!r}; it must be a number of at least 0.", where="evidence")


@dataclass(frozen=True, slots=True)
class Goal:
    """What "stable" must mean, and what bench time costs.

    ``mttf_hours`` at ``confidence`` is the claim wanted. The search may stop when the recommended depth is likely
    within ``within`` (knob's unit) of the deepest that would meet the claim.
    ``max_stride``: how far past the deepest depth that held the next run may go, knob's unit; ``crash_minutes`` and
    ``setup_minutes``: the price of a crash and of setting up a run; ``soft_minutes``: the price of a failure that the
    load itself catches; ``max_failures``: stop after so many; ``worth_per_hour``: stop when the next hour would gain
    less than this many of the knob's
    units (None: the search's own threshold; 0: never for that reason). ``soft_share``: the share of failures, 0 to 1,
    that the load is expected to catch itself, before the unit has shown any. ``effort``: ``quick``, ``usual`` or
    ``thorough``, how much bench time and risk is given for depth (effort.py). ``lent``: what a pool
    of such units lends (lent.py), None without one. Raises BadInput for a number
    out of range.
    """

    mttf_hours: float = 100.0
    confidence: float = 0.90
    within: float = 8.0
    max_stride: float = 20.0
    crash_minutes: float = 8.0
    setup_minutes: float = 3.0
    max_failures: int = 6
    soft_minutes: float = 1.0
    worth_per_hour: float | None = None
    soft_share: float = 0.2
    effort: str = "usual"
    lent: Lent | None = None

    def __post_init__(self) -> None:
        for name in ("mttf_hours", "within", "max_stride"):
            value = getattr(self, name)
            if not math.isfinite(value) or value <= 0:
                raise BadInput(f"{name} is {value!r}; it must be a positive number.", where="goal")
        for name in ("crash_minutes", "setup_minutes", "soft_minutes", "worth_per_hour"):
            value = getattr(self, name)
            if value is None and name == "worth_per_hour":
                continue
            if not math.isfinite(value) or value < 0:
                raise BadInput(f"{name} is {value!r}; it must be a number of at least 0.", where="goal")
        if not 0.5 <= self.confidence < 1:
            raise BadInput(f"confidence is {self.confidence!r}; it must be at least 0.5 and below 1.", where="goal")
        if not 0 <= self.soft_share <= 1:
            raise BadInput(f"soft_share is {self.soft_share!r}; it must lie between 0 and 1.", where="goal")
        effort_named(self.effort)
        if self.max_failures < 1:
            raise BadInput(f"max_failures is {self.max_failures!r}; it must be at least 1.", where="goal")


@dataclass(frozen=True, slots=True)
class Alternative:
    """A step that was considered: its depth and minutes, its price in bench minutes, and what it is worth."""

    depth: float
    minutes: float
    failure_chance: float
    price_minutes: float
    worth: float
    note: str = ""


@dataclass(frozen=True, slots=True)
class Proposal:
    """The next step, or the stop.

    ``stop``: True when there is nothing left worth running; ``depth``, ``minutes``: the run to make (0 when stopping);
    ``failure_chance``: that the run fails, 0 to 1; ``reason``: one sentence with its numbers. ``claim``: what may be
    claimed now, in words; ``why_stop``: ``certified``, ``limit``, ``failures``, ``worth``, ``faulty`` or "".
    """

    stop: bool
    depth: float
    minutes: float
    failure_chance: float
    reason: str
    why_stop: str = ""
    claim: str = ""
    settles: str = ""
    alternatives: tuple[Alternative, ...] = field(default=(), repr=False)


@dataclass(frozen=True, slots=True)
class Certificate:
    """The claim made for a depth: at ``confidence`` the MTTF there is at least ``mttf_hours`` hours of load.

    ``hours`` and ``failures`` are the evidence it rests on: hours under load at this depth or deeper, and failures at
    this depth or shallower. ``edge_depth`` is the estimated depth at which the MTTF is one hour, and ``guard_band``
    how far ``depth`` stands back from it, both in the knob's unit.
    """

    depth: float
    mttf_hours: float
    confidence: float
    hours: float
    failures: int
    edge_depth: float = math.nan
    guard_band: float = math.nan
