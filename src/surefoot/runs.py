"""What happened: a run with its outcome, its sensor trace, scores and instrument readings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from surefoot.errors import BadInput
from surefoot.units import Conditions, Knob, Setting

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]


class Outcome(StrEnum):
    """How a run ended."""

    HELD = "held"
    MISCOMPUTE = "miscompute"
    CORRECTED = "corrected"
    DRIVER_RESET = "driver-reset"
    HANG = "hang"
    RESET = "reset"
    SLOW = "slow"
    OVERHEAT = "overheat"
    VOID = "void"

    @property
    def says(self) -> str:
        """One line for a reader."""
        return _SAYS[self]

    @property
    def is_soft(self) -> bool:
        """A failure that costs a minute and risks no data: the machine stayed up and the tool saw it."""
        return self in (Outcome.MISCOMPUTE, Outcome.CORRECTED, Outcome.SLOW)

    @property
    def is_crash(self) -> bool:
        """A failure that takes the session, the driver or the machine down."""
        return self in (Outcome.DRIVER_RESET, Outcome.HANG, Outcome.RESET)

    def verdict(self, knob: Knob) -> bool | None:
        """What the outcome says of a knob's stability: True failed, False held, None no evidence.

        `overheat` and `void` say nothing; `slow` is a failure of a clock knob and says nothing of another.
        """
        if self in (Outcome.OVERHEAT, Outcome.VOID):
            return None
        if self is Outcome.SLOW:
            return True if knob.is_clock else None
        return self is not Outcome.HELD


_SAYS = {
    Outcome.HELD: "held to the end",
    Outcome.MISCOMPUTE: "a self-check caught a wrong result",
    Outcome.CORRECTED: "the hardware logged corrected errors",
    Outcome.DRIVER_RESET: "the graphics driver was reset",
    Outcome.HANG: "the machine or the load stopped answering",
    Outcome.RESET: "the machine went down",
    Outcome.SLOW: "completed, but the score fell: errors retried or clocks stretched",
    Outcome.OVERHEAT: "stopped at the temperature ceiling; says nothing about stability",
    Outcome.VOID: "interrupted; no evidence",
}

Purpose = Literal["search", "joint", "baseline", "measure", "soak", "log", "game", "use"]
Source = Literal["rig", "hand", "virtual"]
USE = "use"
"""Purpose of a run that is ordinary life with a setting, watched."""


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Place(_Frozen):
    """A run's place in a trial: the journal's number of the trial, block and position from 1."""

    trial: int
    block: Annotated[int, Field(ge=1)]
    position: Annotated[int, Field(ge=1)]


class RunPlan(_Frozen):
    """What is written before a setting is applied.

    ``knob``: the knob under search, or None; ``boot_id``: identity of the boot the run starts under; ``source``:
    ``rig`` (the tool held the load), ``hand`` (logged by the user), ``virtual`` (rehearsal);
    ``place``: in a trial, or None.
    """

    unit_name: str
    setting: Setting
    load: str
    planned_minutes: Annotated[float, Field(ge=0)]
    purpose: Purpose = "search"
    knob: str | None = None
    conditions: Conditions = Conditions()
    boot_id: str | None = None
    source: Source = "rig"
    note: str = ""
    place: Place | None = None


class Closing(_Frozen):
    """How a run ended, written once.

    ``minutes``: under load, to the end or to the failure; ``timed``: whether the time of a failure is known;
    ``judged_by``: the rule or the person that decided, in words; ``setting``: as read back, when it was;
    ``detail``: what was seen, for example the processor a wrong result came from.
    """

    outcome: Outcome
    minutes: Annotated[float, Field(ge=0)]
    judged_by: str
    timed: bool = True
    setting: Setting | None = None
    detail: dict[str, Any] = Field(default_factory=dict)
    note: str = ""


class Correction(_Frozen):
    """A later word on a run that was written wrongly: who said it, when and why.

    ``changes``: the fields that have another value since (``setting``, ``outcome``, ``minutes``, ...). A run that was
    voided has the outcome `void`.
    """

    at: AwareDatetime
    who: str
    kind: Literal["amend", "void"]
    why: str
    changes: dict[str, Any] = Field(default_factory=dict)


class Run(_Frozen):
    """One run as the journal knows it: the plan, the heartbeats so far, and the closing if there is one.

    A run that was corrected is given as it stands corrected; ``corrections`` says by whom and why, oldest first.
    ``last_minutes``: minutes under load at the last heartbeat, 0 when none; ``applied``: the setting as read back
    before the load was started, None when nothing was read back.
    """

    id: int
    opened_at: AwareDatetime
    plan: RunPlan
    applied: Setting | None = None
    heartbeats: int = 0
    last_minutes: float = 0.0
    closed_at: AwareDatetime | None = None
    closing: Closing | None = None
    corrections: tuple[Correction, ...] = ()

    @property
    def is_corrected(self) -> bool:
        """Whether somebody amended or voided it after it was written."""
        return bool(self.corrections)

    @property
    def is_open(self) -> bool:
        """Whether nothing has closed it yet."""
        return self.closing is None

    @property
    def outcome(self) -> Outcome | None:
        """How it ended, or None while open."""
        return self.closing.outcome if self.closing else None

    @property
    def setting(self) -> Setting:
        """The setting that was there: as read back where it was, else as asked."""
        if self.closing and self.closing.setting is not None:
            return self.closing.setting
        return self.applied if self.applied is not None else self.plan.setting

    @property
    def minutes(self) -> float:
        """Minutes under load, to the end, to the failure, or to the last heartbeat."""
        return self.closing.minutes if self.closing else self.last_minutes


@dataclass(frozen=True, slots=True)
class LoadState:
    """What a load says of itself at one moment.

    ``state``: ``running``; ``done`` (it came to its own end); ``failed`` (see ``outcome``); ``stopped``.
    ``progress``: units of verified work so far; ``phase``: what it is doing now, for the live line; ``detail``: for a
    failure, what was seen (processor, kernel of work, expected and found digests).
    """

    state: Literal["running", "done", "failed", "stopped"]
    progress: float = 0.0
    phase: str = ""
    outcome: Outcome | None = None
    message: str = ""
    detail: Mapping[str, Any] = field(default_factory=dict)


class Score(_Frozen):
    """A result of work done: points, frames per second, seconds. Belongs to a run, or to a unit by configuration."""

    name: str
    value: Annotated[float, Field(allow_inf_nan=False)]
    unit: str = "points"
    higher_is_better: bool = True
    note: str = ""


ReadingKind = Literal["sound", "surface", "wall-power", "battery"]


class Reading(_Frozen):
    """Something read from an instrument.

    ``kind`` and the unit of ``value``: ``sound`` dB(A), ``surface`` Celsius, ``wall-power`` W, ``battery`` percent.
    ``place``: position of the microphone or the spot; ``background``: the sound level with the unit off, dB(A);
    ``state``: ``idle`` or ``load``.
    """

    kind: ReadingKind
    value: Annotated[float, Field(allow_inf_nan=False)]
    place: str = ""
    background: float | None = None
    state: Literal["idle", "load"] = "load"
    at: AwareDatetime | None = None
    note: str = ""


EndingKind = Literal["crash", "froze", "power", "planned", "unknown"]


@dataclass(frozen=True, slots=True)
class Ending:
    """How a boot ended. ``crash``: down without a shutdown; ``froze``: switched off by hand; ``power``: the supply
    or the battery gave out; ``planned``: shut down or restarted in order; ``unknown``: nobody recorded it."""

    kind: EndingKind
    words: str

    @property
    def is_known(self) -> bool:
        """Whether anybody recorded it."""
        return self.kind != "unknown"


UNKNOWN_ENDING = Ending("unknown", "this system keeps no record of how it went down")


QUANTITIES: dict[str, str] = {
    "temperature": "°C",
    "clock": "MHz",
    "power": "W",
    "energy": "J",
    "voltage": "V",
    "current": "A",
    "fan": "rpm",
    "duty": "%",
    "busy": "%",
    "charge": "%",
    "frame-time": "ms",
    "count": "",
    # Flags are 0 or 1 (or the share of the sample's time that they were set); `reasons` holds the bits of the NVML
    # API reference, clocks event reasons.
    "thermal-flag": "",
    "power-flag": "",
    "current-flag": "",
    "throttle-flag": "",
    "reasons": "",
    # Limits that the machine itself reports, in the unit of what they limit.
    "power-limit": "W",
    "temperature-limit": "°C",
    "clock-limit": "MHz",
}
"""Every quantity a channel can hold, with its canonical unit."""


@dataclass(frozen=True, order=True)
class Channel:
    """A canonical channel name: ``domain.quantity`` or ``domain.quantity.part``.

    ``cpu.temperature`` is the package, ``cpu.clock.core-3`` one core, ``gpu.temperature.hotspot`` a spot,
    ``room.temperature`` the ambient, ``battery.charge``, ``frame.frame-time``. The domain and the part are lower-case
    words of letters, digits and ``-``.
    """

    domain: str
    quantity: str
    part: str = ""

    @classmethod
    def parse(cls, text: str) -> Channel:
        """From its text. Raises BadInput for an unknown quantity."""
        domain, _, rest = text.partition(".")
        quantity, _, part = rest.partition(".")
        if not domain or quantity not in QUANTITIES:
            raise BadInput(
                f"{text!r} is not a channel.",
                remedy="A channel is domain.quantity[.part]; quantities: " + ", ".join(QUANTITIES) + ".",
            )
        return cls(domain, quantity, part)

    @property
    def unit(self) -> str:
        """Canonical unit of its values."""
        return QUANTITIES[self.quantity]

    def __str__(self) -> str:
        return f"{self.domain}.{self.quantity}" + (f".{self.part}" if self.part else "")


@dataclass(frozen=True, eq=False)
class Trace:
    """Time series of the sensors of a run.

    ``seconds``: shape (n,), since the start of the load, ascending; ``channels``: canonical channel name to an array
    of shape (n,) in the channel's canonical unit, NaN where not measured. ``started_at``: wall-clock time of second 0.
    Raises BadInput when shapes differ or time runs backwards.
    """

    seconds: Floats
    channels: Mapping[str, Floats] = field(default_factory=dict)
    started_at: datetime | None = None

    def __post_init__(self) -> None:
        seconds = np.asarray(self.seconds, dtype=np.float64)
        if seconds.ndim != 1 or not np.all(np.isfinite(seconds)):
            raise BadInput("the times of a trace must be one row of finite seconds.")
        if np.any(np.diff(seconds) < 0):
            raise BadInput("the times of a trace run backwards.", remedy="Sort the samples by time.")
        channels = {name: np.asarray(values, dtype=np.float64) for name, values in self.channels.items()}
        for name, values in channels.items():
            Channel.parse(name)
            if values.shape != seconds.shape:
                raise BadInput(f"channel {name} has {values.shape} values for {seconds.size} times.")
        object.__setattr__(self, "seconds", seconds)
        object.__setattr__(self, "channels", channels)

    @classmethod
    def from_samples(
        cls, samples: Sequence[tuple[float, Mapping[str, float]]], started_at: datetime | None = None
    ) -> Trace:
        """From (seconds, {channel: value}) samples in order of time; NaN where a sample lacks a channel."""
        names = sorted({name for _, values in samples for name in values})
        seconds = np.array([moment for moment, _ in samples], dtype=np.float64)
        table = np.array([[values.get(name, np.nan) for name in names] for _, values in samples], dtype=np.float64)
        table = table.reshape(len(samples), len(names))
        return cls(seconds, {name: table[:, place] for place, name in enumerate(names)}, started_at)

    def __len__(self) -> int:
        return int(self.seconds.size)

    @property
    def duration_minutes(self) -> float:
        """From the first to the last sample."""
        return float(self.seconds[-1] - self.seconds[0]) / 60.0 if len(self) else 0.0

    def get(self, channel: str) -> Floats | None:
        """The values of a channel, or None when it was not measured."""
        return self.channels.get(channel)

    def parts(self, domain: str, quantity: str) -> dict[str, Floats]:
        """All channels of a quantity of a domain by part; the part "" is the whole."""
        found = {}
        for name, values in self.channels.items():
            channel = Channel.parse(name)
            if (channel.domain, channel.quantity) == (domain, quantity):
                found[channel.part] = values
        return found

    def between(self, start_seconds: float, end_seconds: float) -> Trace:
        """The samples with start <= time <= end, times unchanged."""
        keep = (self.seconds >= start_seconds) & (self.seconds <= end_seconds)
        return Trace(
            self.seconds[keep],
            {name: values[keep] for name, values in self.channels.items()},
            self.started_at,
        )

    def to_frame(self) -> pd.DataFrame:
        """As a DataFrame: index ``seconds``, one column per channel."""
        import pandas as pd

        index = pd.Index(self.seconds, name="seconds")
        return pd.DataFrame(dict(self.channels), index=index)
