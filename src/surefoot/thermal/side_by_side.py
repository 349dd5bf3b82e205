"""Two traces side by side: aligned at the start of their load, with differences and what they are worth."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from surefoot.runs import Channel, Floats, Trace
from surefoot.thermal.channels import DOMAINS, has_domain, whole
from surefoot.thermal.explain import DomainExplanation, Explanation
from surefoot.thermal.heat import Referred, refer_to_room

STEP_SECONDS = 5.0
_BLOCKS = 8  # of the aligned time: means over blocks are nearly independent, samples are not
_T_975 = 2.3646  # Student's t, 7 degrees of freedom, 97.5 % (any table)
_COMPARED = ("temperature", "power", "clock", "voltage", "busy")


@dataclass(frozen=True, eq=False)
class Aligned:
    """One channel of both traces on one time axis: ``minutes`` since the load began, shape (n,); ``one`` and ``other``:
    means over 5 s, NaN where not measured."""

    channel: str
    minutes: Floats
    one: Floats
    other: Floats


@dataclass(frozen=True)
class Apart:
    """How far apart a quantity of the two is: ``difference`` is the other less the one, with its 95 % interval.

    ``low`` and ``high`` come from how the difference moved within these two runs (means over eighths of the time), or
    from the intervals of the two end temperatures; NaN where there is none. Two runs of the same setting differ as
    well.
    """

    name: str
    unit: str
    one: float
    other: float
    difference: float
    low: float = math.nan
    high: float = math.nan

    @property
    def clear(self) -> bool:
        """Whether the interval leaves nothing out."""
        return math.isfinite(self.low) and (self.low > 0) == (self.high > 0) and self.low != 0 != self.high


@dataclass(frozen=True, eq=False)
class SideBySide:
    """Two traces compared.

    ``minutes``: for which both were measured under load; ``offsets_seconds``: where in each its load begins; ``rows``:
    the differences; ``channels``: aligned series; ``notes``: what else differs, in words.
    """

    minutes: float
    offsets_seconds: tuple[float, float]
    rows: tuple[Apart, ...]
    channels: tuple[Aligned, ...]
    notes: tuple[str, ...]

    def as_record(self) -> dict[str, Any]:
        """In JSON's own types."""
        return {
            "aligned_minutes": self.minutes,
            "load_begins_seconds": list(self.offsets_seconds),
            "differences": [{**asdict(row), "clear": row.clear} for row in self.rows],
            "notes": list(self.notes),
        }


def side_by_side(one: Trace, other: Trace, said_one: Explanation, said_other: Explanation) -> SideBySide:
    """Compare two traces. ``said_*``: of `explain` for each. Traces without a common channel give no rows."""
    starts = load_begins(one, said_one), load_begins(other, said_other)
    length = max(min(_after(one, starts[0]), _after(other, starts[1])), 0.0)
    grid = np.arange(0.0, length, STEP_SECONDS)
    channels = []
    rows: list[Apart] = []
    for name in _common(one, other):
        aligned = Aligned(
            name, grid / 60.0, _on_grid(one, name, starts[0] + grid), _on_grid(other, name, starts[1] + grid)
        )
        if not (np.isfinite(aligned.one) & np.isfinite(aligned.other)).any():
            continue
        channels.append(aligned)
        rows.append(_mean_apart(aligned))
    for domain in DOMAINS:
        first, second = said_one.domains.get(domain), said_other.domains.get(domain)
        if first is not None and second is not None:
            rows += _domain_apart(first, second, said_one, said_other)
    return SideBySide(
        length / 60.0, starts, tuple(rows), tuple(channels), tuple(_notes(one, other, said_one, said_other, length))
    )


def load_begins(trace: Trace, said: Explanation) -> float:
    """The second at which the first of its parts begins to work; the first sample where none ever idles."""
    from surefoot.thermal.labels import CODE

    firsts = []
    for part in said.domains.values():
        busy = np.flatnonzero(part.limiter.labels != CODE["idle"])
        if busy.size and part.limiter.main != "idle":
            firsts.append(float(trace.seconds[busy[0]]))
    return min(firsts) if firsts else float(trace.seconds[0]) if len(trace) else 0.0


def _after(trace: Trace, start: float) -> float:
    return float(trace.seconds[-1]) - start if len(trace) else 0.0


def _common(one: Trace, other: Trace) -> list[str]:
    """Names of what both measured: the whole of each part first, then every other channel that both have."""
    names = [
        f"{domain}.{quantity}"
        for domain in DOMAINS
        for quantity in _COMPARED
        if all(has_domain(t, domain) and whole(t, domain, quantity) is not None for t in (one, other))
    ]
    rest = [name for name in one.channels if name in other.channels and name not in names]
    kept = [name for name in sorted(rest) if Channel.parse(name).quantity in ("fan", "duty", "temperature")]
    return names + [name for name in kept if Channel.parse(name).domain not in DOMAINS]


def _on_grid(trace: Trace, name: str, seconds: Floats) -> Floats:
    """Means over the steps of a grid, shape of ``seconds``."""
    values = trace.get(name)
    if values is None:
        channel = Channel.parse(name)
        values = whole(trace, channel.domain, channel.quantity)
    if values is None or seconds.size == 0:
        return np.full(seconds.size, math.nan)
    there = np.isfinite(values)
    place = np.floor((trace.seconds[there] - seconds[0]) / STEP_SECONDS).astype(np.int64)
    inside = (place >= 0) & (place < seconds.size)
    count = np.bincount(place[inside], minlength=seconds.size)
    total = np.bincount(place[inside], weights=values[there][inside], minlength=seconds.size)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(count > 0, total / count, math.nan)


def _mean_apart(aligned: Aligned) -> Apart:
    both = np.isfinite(aligned.one) & np.isfinite(aligned.other)
    one, other = aligned.one[both], aligned.other[both]
    apart = other - one
    low = high = math.nan
    if apart.size >= 2 * _BLOCKS:
        blocks = np.array([part.mean() for part in np.array_split(apart, _BLOCKS)])
        half = _T_975 * float(blocks.std(ddof=1)) / math.sqrt(_BLOCKS)
        low, high = float(apart.mean()) - half, float(apart.mean()) + half
    name = f"{aligned.channel}, mean"
    unit = Channel.parse(aligned.channel).unit
    return Apart(name, unit, float(one.mean()), float(other.mean()), float(apart.mean()), low, high)


def _domain_apart(
    first: DomainExplanation, second: DomainExplanation, said_one: Explanation, said_other: Explanation
) -> list[Apart]:
    rows = []
    name = first.domain
    if first.steady is not None and second.steady is not None and first.steady.known and second.steady.known:
        a, b = first.steady, second.steady
        half = math.hypot(a.half_width, b.half_width)
        change = b.final_celsius - a.final_celsius
        rows.append(
            Apart(
                f"{name} temperature, final",
                "°C",
                a.final_celsius,
                b.final_celsius,
                change,
                change - half,
                change + half,
            )
        )
        moved = _referred(second, said_one.room_celsius, said_other.room_celsius)
        if moved is not None:
            change = moved.celsius - a.final_celsius
            low, high = moved.low - a.final_celsius, moved.high - a.final_celsius
            rows.append(
                Apart(
                    f"{name} temperature, final, in the first's room",
                    "°C",
                    a.final_celsius,
                    moved.celsius,
                    change,
                    change - math.hypot(change - low, half),
                    change + math.hypot(high - change, half),
                )
            )
    for title, unit, one, other in (
        ("temperature, highest", "°C", first.figures.highest_celsius, second.figures.highest_celsius),
        ("temperature, 95th percentile", "°C", first.figures.p95_celsius, second.figures.p95_celsius),
        ("clock per watt", "MHz/W", first.figures.mhz_per_watt, second.figures.mhz_per_watt),
        ("boost", "s", _boost(first), _boost(second)),
        ("held by temperature", "%", 100 * first.limiter.share("thermal"), 100 * second.limiter.share("thermal")),
        ("held by power", "%", 100 * first.limiter.share("power"), 100 * second.limiter.share("power")),
    ):
        if one is not None and other is not None and (one or other):
            rows.append(Apart(f"{name} {title}", unit, one, other, other - one))
    return rows


def _boost(part: DomainExplanation) -> float | None:
    return part.limiter.boost.seconds if part.limiter.boost is not None else 0.0


def _referred(part: DomainExplanation, room_one: float | None, room_other: float | None) -> Referred | None:
    """The second's end temperature in the first's room; None where the rooms are alike or not known."""
    if part.steady is None or room_one is None or room_other is None or abs(room_one - room_other) < 0.5:
        return None
    return refer_to_room(
        part.steady.final_celsius,
        room_other,
        room_one,
        thermally_limited=part.limiter.main == "thermal",
        power_held=part.limiter.main == "power",
    )


def _notes(one: Trace, other: Trace, said_one: Explanation, said_other: Explanation, length: float) -> list[str]:
    notes = []
    if length < 60.0:
        notes.append("less than a minute of load is common to both: nothing can be said of their difference")
    if said_one.room_celsius is not None and said_other.room_celsius is not None:
        shift = said_other.room_celsius - said_one.room_celsius
        if abs(shift) >= 0.5:
            than = f"{abs(shift):.1f} °C {'warmer' if shift > 0 else 'cooler'} than that of the first"
            notes.append(f"the room of the second was {than}: temperatures are also given in the first's room")
    else:
        notes.append("a room temperature is not known: a difference of the rooms is in the temperatures")
    fans_one = {fan.channel: fan for fan in said_one.fans}
    for fan in said_other.fans:
        before = fans_one.get(fan.channel)
        if before is not None and abs(fan.last_rpm - before.last_rpm) > 0.05 * max(before.last_rpm, 1.0):
            notes.append(
                f"{fan.channel} ended at {fan.last_rpm:.0f} rpm instead of {before.last_rpm:.0f} rpm: cooling differs"
            )
    for domain in DOMAINS:
        first, second = said_one.domains.get(domain), said_other.domains.get(domain)
        if first is not None and second is not None and first.limiter.main != second.limiter.main:
            from surefoot.thermal.labels import LABEL_SAYS

            notes.append(
                f"{domain.upper()} was {LABEL_SAYS[first.limiter.main]} in the first and "
                f"{LABEL_SAYS[second.limiter.main]} in the second"
            )
    only = sorted(set(one.channels) ^ set(other.channels))
    if only:
        notes.append(
            "measured in one of the two alone: " + ", ".join(only[:8]) + (" and more" if len(only) > 8 else "")
        )
    return notes
