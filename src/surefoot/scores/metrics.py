"""What can be compared: a metric with its label, unit, direction and way of being judged; and one value of it."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from surefoot.errors import BadInput
from surefoot.runs import QUANTITIES, Channel, Reading, Score
from surefoot.scores.bootstrap import WithinLog
from surefoot.scores.means import resolution_of

Better = Literal["higher", "lower", ""]
Group = Literal[
    "score", "frames", "efficiency", "temperature", "surface", "sound", "fan", "clock", "power", "limiter", "other"
]

GROUP_ORDER: tuple[Group, ...] = (
    "score", "frames", "efficiency", "temperature", "surface", "sound", "fan", "clock", "power", "limiter", "other",
)  # fmt: skip
"""The order in which metrics are shown: what was gained first."""


@dataclass(frozen=True, slots=True)
class Metric:
    """One thing that is compared.

    ``name``: stable and unique, for options and files; ``label``: for readers; ``better``: which way is better, "" when
    neither; ``bootstrap``: judged by resampling runs instead of Welch's test (frame-time lows); ``follows_room``:
    whether it moves with the room temperature and may be re-referred; ``decimals``: for tables; ``by_load``: whether it
    depends on the load of the run, so that only runs under the same load may be compared;
    ``main``: whether it belongs in a short table.
    """

    name: str
    label: str
    unit: str
    better: Better
    group: Group
    bootstrap: bool = False
    follows_room: bool = False
    decimals: int = 1
    by_load: bool = True
    main: bool = True

    @property
    def has_percent(self) -> bool:
        """Whether a percentage means something: only of a quantity with a true zero and a linear scale."""
        return self.unit not in ("°C", "dB(A)", "%")


@dataclass(frozen=True, slots=True)
class Sample:
    """One value of a metric of one run, or read at a configuration without a run (``run_id`` None).

    ``configuration``: its key; ``ambient_celsius``: of the run; ``ceiling_celsius``, ``held_by_heat_share`` (0 to 1):
    of the part a temperature belongs to; ``at_most``: the true value is this or lower (a sound level near the
    background); ``within``: the spread inside the run's own log; ``note``: what a reader must know of the value;
    ``at``: when the run was made, any ascending number, None where not known; ``trial``, ``block``: of the plan that it
    was part of, if any.
    """

    metric: Metric
    configuration: str
    value: float
    run_id: int | None = None
    ambient_celsius: float | None = None
    ceiling_celsius: float | None = None
    held_by_heat_share: float | None = None
    at_most: bool = False
    within: WithinLog | None = None
    note: str = ""
    at: float | None = None
    trial: int | None = None
    block: int | None = None


def of_score(score: Score) -> Metric:
    """The metric of a score: its name and unit tell it apart."""
    better: Better = "higher" if score.higher_is_better else "lower"
    # Also lows that were typed in, whatever they are called: their spread is a bootstrap's affair all the same.
    is_low = score.unit == "fps" and "low" in re.findall(r"[a-z]+", score.name.casefold())
    is_frames = is_low or score.unit == "fps" or score.name.endswith(("stutter", "hitches"))
    return Metric(
        name=score.name if score.unit in ("points", "fps") or is_frames else f"{score.name} ({score.unit})",
        label=score.name,
        unit=score.unit,
        better=better,
        group="frames" if is_frames else "score",
        bootstrap=is_low,
        decimals=2 if score.name.endswith(("stutter", "hitches")) else 1 if is_frames else decimals_for(score.value),
        by_load=False,
    )


def decimals_for(value: float) -> int:
    """Decimals in a table for about four significant digits, no more than the value has itself (and at most four)."""
    wanted = 3 - math.floor(math.log10(abs(value))) if value else 0
    step = resolution_of([value], most_digits=4)
    has = round(-math.log10(step)) if step else 4
    return max(0, min(wanted, has))


_READING_UNITS = {"sound": "dB(A)", "surface": "°C", "wall-power": "W", "battery": "%"}
_READING_LABELS = {"sound": "sound level", "surface": "surface", "wall-power": "wall power", "battery": "battery"}
_READING_GROUPS: dict[str, Group] = {
    "sound": "sound", "surface": "surface", "wall-power": "power", "battery": "other",
}  # fmt: skip


def of_reading(reading: Reading) -> Metric:
    """The metric of an instrument reading: its kind, state and place tell it apart; only like places are compared."""
    place = reading.place.strip().lower()
    label = _READING_LABELS[reading.kind] + (f", {place}" if place else "")
    if reading.state == "idle":
        label += ", idle"
    return Metric(
        name=f"{reading.kind}.{reading.state}" + (f".{place}" if place else ""),
        label=label,
        unit=_READING_UNITS[reading.kind],
        better="" if reading.kind == "battery" else "lower",
        group=_READING_GROUPS[reading.kind],
        follows_room=reading.kind == "surface",
        decimals=0 if reading.kind == "battery" else 1,
    )


_QUANTITY_GROUPS: dict[str, tuple[Group, Better, int]] = {
    "temperature": ("temperature", "lower", 1),
    "clock": ("clock", "higher", 0),
    "power": ("power", "", 1),
    "voltage": ("other", "", 3),
    "current": ("other", "", 1),
    "fan": ("fan", "lower", 0),
    "duty": ("fan", "lower", 0),
    "busy": ("other", "", 0),
}

_DOMAIN_WORDS = {"cpu": "CPU", "gpu": "GPU", "soc": "SoC"}

_STATISTIC_WORDS = {
    "mean": "", "p95": "95th percentile", "p5": "5th percentile", "max": "highest", "final": "final (forecast)",
}  # fmt: skip


def of_summary(name: str) -> Metric | None:
    """The metric of a value of a trace's summary, named ``domain.quantity[.part].statistic`` there.

    Its name here is the channel alone for the mean and ``channel statistic`` for another (``cpu.temperature p95``);
    only means are `main`. None for what says nothing of a configuration: flags, limits, single cores, the room, energy
    (it grows with the run's length).
    """
    text, _, statistic = name.rpartition(".")
    try:
        channel = Channel.parse(text)
    except BadInput:
        return None
    unusable = statistic not in _STATISTIC_WORDS or channel.quantity not in _QUANTITY_GROUPS
    if unusable or channel.domain in ("room", "frame", "trace") or channel.part.startswith("core-"):
        return None
    group, better, decimals = _QUANTITY_GROUPS[channel.quantity]
    words = [_DOMAIN_WORDS.get(channel.domain, channel.domain), channel.quantity]
    if channel.part:
        words.append(channel.part.replace("-", " "))
    said = _STATISTIC_WORDS[statistic]
    return Metric(
        name=text if statistic == "mean" else f"{text} {statistic}",
        label=" ".join(words) + (f", {said}" if said else ""),
        unit=QUANTITIES[channel.quantity],
        better=better,
        group=group,
        follows_room=channel.quantity == "temperature",
        decimals=decimals,
        main=statistic == "mean" and channel.quantity not in ("duty", "busy", "current"),
    )


def in_order(metrics: list[Metric]) -> list[Metric]:
    """Sorted for a reader: by group, in the order first seen within one."""
    return sorted(metrics, key=lambda metric: GROUP_ORDER.index(metric.group))
