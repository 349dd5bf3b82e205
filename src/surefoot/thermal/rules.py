"""The limiter inferred from clock, power and temperature, where the hardware does not say.

The rules, in the order in which they are tried (the first that speaks decides):

1. idle: the part hardly works (its use, or its power beside its own maximum);
2. free: the clock is at the highest that is *known* to be allowed;
3. power: power is at a limit that is known;
4. thermal: temperature is within 2 degrees of a ceiling that is known;
5. power: power is flat at a level of its own while the clock is below its maximum or moves more than power does.
   A power limiter holds the power and lets the clock give way;
6. thermal: temperature is flat at the top of its range while power or clock still moves. A thermal limiter holds the
   temperature and lets the power give way;
7. free: the clock is flat at the highest that was seen, while power drifts with the heat;
8. other: a part that works fully below its clock, with temperature and power clear of limits that are known.

Common practice, no source: these are how testers read such traces by eye.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surefoot.runs import Floats, Trace
from surefoot.thermal.channels import Windows, sample_weights, whole
from surefoot.thermal.labels import CODE, Mask, Ruling
from surefoot.thermal.limits import Limits

CEILING_BAND_CELSIUS = 2.0
"""How near the ceiling counts as at it: sensors step by 1 degree and the controller swings by about as much."""

LIMIT_BAND = 0.03
"""How near a power limit counts as at it, as a share of the limit."""

_FLAT_POWER = 0.015  # relative standard deviation over 20 s of a power that is being held
_FLAT_CLOCK = 0.006
_FLAT_CELSIUS = 0.8  # standard deviation over a minute, ripple and 1 degree steps included
_BELOW = 0.985  # share of the free clock under which a clock counts as held down


@dataclass(frozen=True)
class Inference:
    """What clock, power and temperature say: the ruling by sample, the levels used, and what cannot be judged.

    ``power``: the power series used, shape (n,), W, or None.
    """

    ruling: Ruling
    power: Floats | None
    ceiling_celsius: float | None
    power_limit_watts: float | None
    free_clock_mhz: float | None
    cannot_judge: tuple[str, ...]


def infer(trace: Trace, domain: str, limits: Limits, knows: frozenset[str] = frozenset()) -> Inference:
    """The limiter of each sample of a domain from its clock, power and temperature.

    ``knows``: causes for which the hardware has a flag, so that they are not guessed here.
    """
    n = len(trace)
    signals = _Signals.of(trace, domain)
    known = _Known.of(trace, domain, limits)
    blank = "too little is measured to tell"
    ruling = Ruling.blank(n, blank)
    top = _top_clock(signals)
    if n:
        _decide(ruling, signals, known, top, knows)
    return Inference(
        ruling=ruling,
        power=signals.power,
        ceiling_celsius=_middle(known.ceiling),
        power_limit_watts=_middle(known.power),
        free_clock_mhz=_middle(known.clock) if known.clock is not None else top,
        cannot_judge=_cannot(signals, known, knows),
    )


@dataclass(frozen=True)
class _Signals:
    """Series of a domain, smoothed over 5 s (``*_5``), with their spread over longer windows; None: not measured."""

    weights: Floats
    slow: Windows
    power: Floats | None
    power_5: Floats | None
    power_spread: Floats | None
    clock_5: Floats | None
    clock_spread: Floats | None
    celsius_5: Floats | None
    celsius_spread: Floats | None
    busy_5: Floats | None
    idle: Mask

    @classmethod
    def of(cls, trace: Trace, domain: str) -> _Signals:
        seconds = trace.seconds
        weights = sample_weights(seconds)
        usual = float(np.median(weights)) if weights.size else 1.0
        fast = Windows.of(seconds, max(5.0, 3.2 * usual))
        medium = Windows.of(seconds, max(20.0, 8.0 * usual))
        slow = Windows.of(seconds, max(60.0, 12.0 * usual))
        power = whole(trace, domain, "power")
        clock = whole(trace, domain, "clock")
        celsius = whole(trace, domain, "temperature")
        busy = whole(trace, domain, "busy")
        power_5 = None if power is None else fast.mean(power)
        busy_5 = None if busy is None else fast.mean(busy)
        return cls(
            weights=weights,
            slow=slow,
            power=power,
            power_5=power_5,
            power_spread=None if power is None else medium.mean_and_spread(power)[1],
            clock_5=None if clock is None else fast.mean(clock),
            clock_spread=None if clock is None else medium.mean_and_spread(clock)[1],
            celsius_5=None if celsius is None else fast.mean(celsius),
            celsius_spread=None if celsius is None else slow.mean_and_spread(celsius)[1],
            busy_5=busy_5,
            idle=_idle(power_5, busy_5, seconds.size),
        )


@dataclass(frozen=True)
class _Known:
    """Limits that are known, as series: from the trace where it reports them, else from the card."""

    ceiling: Floats | None
    power: Floats | None
    clock: Floats | None
    powers: tuple[Floats, ...]

    @classmethod
    def of(cls, trace: Trace, domain: str, limits: Limits) -> _Known:
        n = len(trace)

        def series(quantity: str, card: float | None) -> Floats | None:
            values = whole(trace, domain, quantity)
            if values is not None:
                return _held(values)
            return None if card is None else np.full(n, float(card))

        card_power = limits.power_limits_watts.get(domain)
        parts = tuple(
            _held(values) for values in trace.parts(domain, "power-limit").values() if np.isfinite(values).any()
        )
        powers = parts or (() if card_power is None else (np.full(n, float(card_power)),))
        lowest = np.minimum.reduce(powers) if powers else None
        return cls(
            ceiling=series("temperature-limit", limits.ceilings_celsius.get(domain)),
            power=lowest,
            clock=series("clock-limit", limits.clock_limits_mhz.get(domain)),
            powers=powers,
        )


def _held(values: Floats) -> Floats:
    """A limit series with its gaps filled by the last value seen: limits change seldom and are logged sparsely."""
    there = np.isfinite(values)
    if there.all():
        return values
    last = np.maximum.accumulate(np.where(there, np.arange(values.size), -1))
    return np.where(last >= 0, values[np.maximum(last, 0)], values[there][0])


def _middle(values: Floats | None) -> float | None:
    return None if values is None or values.size == 0 else float(np.median(values))


def _idle(power_5: Floats | None, busy_5: Floats | None, n: int) -> Mask:
    nothing = np.zeros(n, dtype=bool)
    low_power = nothing
    if power_5 is not None and np.isfinite(power_5).any():
        high = float(np.nanpercentile(power_5, 95))
        if high >= 5.0:
            low_power = np.nan_to_num(power_5, nan=np.inf) < 0.25 * high
    if busy_5 is None:
        return np.asarray(low_power, dtype=bool)
    busy = np.nan_to_num(busy_5, nan=100.0)
    # One busy thread of sixteen is 6 %: a low use alone is no idling unless power is low as well.
    return np.asarray((busy < 5.0) | ((busy < 15.0) & low_power), dtype=bool)


def _top_clock(signals: _Signals) -> float | None:
    """The highest clock that was kept for a while under load, MHz."""
    clock = signals.clock_5
    if clock is None:
        return None
    usable = np.isfinite(clock) & ~signals.idle
    if usable.sum() < 3:
        usable = np.isfinite(clock)
    return float(np.percentile(clock[usable], 98)) if usable.any() else None


def _decide(ruling: Ruling, signals: _Signals, known: _Known, top: float | None, knows: frozenset[str]) -> None:
    """Write the rules from the weakest to the strongest, so that the strongest has the last word."""
    n = ruling.label.size
    false = np.zeros(n, dtype=bool)
    true = np.ones(n, dtype=bool)
    at_limit, above_limit = _against_power_limits(signals, known)
    at_ceiling = false
    clear_of_ceiling = false
    if signals.celsius_5 is not None and known.ceiling is not None:
        gap = known.ceiling - np.nan_to_num(signals.celsius_5, nan=-np.inf)
        at_ceiling = gap <= CEILING_BAND_CELSIUS
        clear_of_ceiling = (gap > CEILING_BAND_CELSIUS + 1.0) & np.isfinite(signals.celsius_5)
    clear_of_limit = false
    if signals.power_5 is not None and known.power is not None:
        clear_of_limit = np.nan_to_num(signals.power_5, nan=np.inf) < known.power * (1.0 - 2 * LIMIT_BAND)
    working = true if signals.busy_5 is None else np.nan_to_num(signals.busy_5, nan=0.0) >= 80.0
    lightly = false if signals.busy_5 is None else np.nan_to_num(signals.busy_5, nan=100.0) < 80.0

    clock = signals.clock_5
    below = at_top = clock_flat = false
    if clock is not None and top is not None and top > 0:
        seen = np.isfinite(clock)
        reference = known.clock if known.clock is not None else np.full(n, top)
        below = seen & (clock < _BELOW * reference)
        at_top = seen & (clock >= 0.99 * top)
        if signals.clock_spread is not None:
            clock_flat = seen & (signals.clock_spread < _FLAT_CLOCK * top)

    if clock is not None:
        ruling.decide(
            below & clear_of_ceiling & clear_of_limit & working,
            "other",
            "the part works below its clock while temperature and power are clear of their limits: current, or a "
            "reason that is not measured",
            0.4 if signals.busy_5 is None else 0.55,
        )
        ruling.decide(
            lightly & clear_of_ceiling & clear_of_limit,
            "free",
            "the part is not fully at work, and temperature and power are clear of their limits",
            0.6,
        )
    power_moves, clock_moves = _who_moves(signals, below | at_top)
    flat_power = _flat_power(signals)
    if clock is not None:
        free_text = "the clock is flat at the highest seen"
        ruling.decide(at_top & clock_flat & ~flat_power, "free", f"{free_text} while power moves", 0.7)
        ruling.decide(
            at_top & clock_flat & flat_power & power_moves,
            "free",
            f"{free_text} while power drifts with the heat",
            0.65,
        )
        ruling.decide(
            at_top & clock_flat & clear_of_ceiling & clear_of_limit,
            "free",
            f"{free_text}, and temperature and power are clear of their limits",
            0.85,
        )
        ruling.decide(
            at_top & clock_flat & clear_of_limit & (known.ceiling is None),
            "free",
            f"{free_text}, and power is clear of its limit",
            0.7,
        )
    if "thermal" not in knows:
        _decide_thermal_plateau(ruling, signals, known, below, flat_power)
    if "power" not in knows and signals.power_5 is not None:
        level = flat_power & ~clear_of_limit & ~(at_ceiling & (known.ceiling is not None))
        own = "power is flat at a level of its own while the clock"
        ruling.decide(level & below, "power", f"{own} is below its highest", 0.7)
        ruling.decide(
            level & ~below & clock_moves & ~clock_flat,
            "power",
            f"{own} moves more than power does",
            0.65,
        )
        ruling.decide(
            flat_power & above_limit & (below | clock_moves),
            "power",
            "power is flat at a level above the sustained limit: a short-term limit",
            0.75,
        )
    if "thermal" not in knows:
        ruling.decide(
            at_ceiling & ~at_limit,
            "thermal",
            f"temperature is within {CEILING_BAND_CELSIUS:g} °C of the ceiling"
            + (" and power is below its limit" if known.power is not None else ""),
            0.9 if clock is not None else 0.8,
        )
    if "power" not in knows:
        sure = 0.9 if clock is not None else 0.8
        ruling.decide(at_limit & ~at_ceiling, "power", f"power is within {LIMIT_BAND:.0%} of its limit", sure)
        ruling.decide(
            at_limit & at_ceiling,
            "power",
            "power is at its limit; temperature is near the ceiling too, but a thermal limiter would take power below",
            0.7,
        )
    if clock is not None and known.clock is not None:
        ruling.decide(
            np.isfinite(clock) & (clock >= _BELOW * known.clock) & ~at_limit,
            "free",
            "the clock is at the highest allowed",
            0.9,
        )
    if {"thermal", "power"} <= knows and clock is not None:
        ruling.decide(~below & np.isfinite(clock), "free", "no flag was set and the clock is at its highest", 0.9)
    elif {"thermal", "power"} <= knows:
        ruling.decide(true, "free", "no flag was set", 0.75)
    used = signals.busy_5 is not None
    idle_text = "the part hardly works: " + ("its use is low" if used else "power is under a quarter of its high")
    ruling.decide(signals.idle, "idle", idle_text, 0.9 if used else 0.75)
    nothing_read = _nothing_read(signals, n)
    ruling.decide(nothing_read, "unknown", "no reading", 0.0)


def _against_power_limits(signals: _Signals, known: _Known) -> tuple[Mask, Mask]:
    """Whether power is at one of the known limits, and whether above all of them."""
    n = signals.idle.size
    at = np.zeros(n, dtype=bool)
    if signals.power_5 is None or not known.powers:
        return at, at
    power = np.nan_to_num(signals.power_5, nan=-np.inf)
    above = np.ones(n, dtype=bool)
    for limit in known.powers:
        band = np.maximum(LIMIT_BAND * limit, 0.5)
        at = at | ((power >= limit - band) & (power <= limit + 1.3 * band))
        above = above & (power > limit + 1.3 * band)
    return at, above


def _flat_power(signals: _Signals) -> Mask:
    """Whether power is held flat: little spread over 20 s, at a level where it spends at least 3 % of the load."""
    n = signals.idle.size
    if signals.power_5 is None or signals.power_spread is None:
        return np.zeros(n, dtype=bool)
    power = np.nan_to_num(signals.power_5, nan=0.0)
    spread = np.nan_to_num(signals.power_spread, nan=np.inf)
    flat = (spread < np.maximum(_FLAT_POWER * power, 0.25)) & (power > 0) & ~signals.idle
    if not flat.any():
        return np.asarray(flat, dtype=bool)
    bins = np.where(flat, np.round(np.log(np.where(flat, power, 1.0)) / 0.02), -(10.0**6)).astype(np.int64)
    codes, back = np.unique(bins, return_inverse=True)
    mass = np.bincount(back, weights=signals.weights)
    near = mass.copy()
    for shift in (-1, 1):
        place = np.searchsorted(codes, codes + shift)
        inside = place < codes.size
        same = inside & (codes[np.minimum(place, codes.size - 1)] == codes + shift)
        near[same] += mass[np.minimum(place, codes.size - 1)][same]
    load = float(signals.weights[~signals.idle].sum())
    often = near >= max(0.03 * load, 15.0)
    return np.asarray(flat & often[back], dtype=bool)


def _who_moves(signals: _Signals, usable: Mask) -> tuple[Mask, Mask]:
    """Per sample: does power move clearly more than the clock over some minutes, or the clock more than power?

    A held power stays while the clock gives way; a free clock stays while power drifts with the heat. Compared as
    relative standard deviations of the 5 s means over a minute.
    """
    n = signals.idle.size
    none = np.zeros(n, dtype=bool)
    if signals.power_5 is None or signals.clock_5 is None or not usable.any():
        return none, none
    power_mean, power_spread = signals.slow.mean_and_spread(signals.power_5)
    clock_mean, clock_spread = signals.slow.mean_and_spread(signals.clock_5)
    with np.errstate(invalid="ignore", divide="ignore"):
        power = power_spread / power_mean
        clock = clock_spread / clock_mean
        power_more = usable & (power > 1.5 * clock) & (power > 0.0005)
        clock_more = usable & (clock > 1.5 * power) & (clock > 0.0005)
    return np.asarray(power_more, dtype=bool), np.asarray(clock_more, dtype=bool)


def _decide_thermal_plateau(ruling: Ruling, signals: _Signals, known: _Known, below: Mask, flat_power: Mask) -> None:
    """Temperature flat at the top of its range while the clock is held below its highest."""
    if signals.celsius_5 is None or signals.celsius_spread is None or signals.clock_5 is None:
        return
    celsius = np.nan_to_num(signals.celsius_5, nan=-np.inf)
    load = np.isfinite(signals.celsius_5) & ~signals.idle
    if load.sum() < 10:
        return
    highest = float(np.percentile(celsius[load], 95))
    flat = load & (np.nan_to_num(signals.celsius_spread, nan=np.inf) < _FLAT_CELSIUS) & (celsius > highest - 1.5)
    # With a ceiling known and far away, a flat temperature is only a steady one.
    far = np.zeros(flat.shape, dtype=bool) if known.ceiling is None else celsius < known.ceiling - 8.0
    held = flat & below & ~far & ~flat_power
    if signals.power_5 is None:
        ruling.decide(
            held,
            "thermal",
            "temperature is flat at the top of its range while the clock is below its highest; power is not measured",
            0.5,
        )
    else:
        ruling.decide(
            held,
            "thermal",
            "temperature is flat at the top of its range while power gives way and the clock is below its highest",
            0.7,
        )


def _nothing_read(signals: _Signals, n: int) -> Mask:
    seen = np.zeros(n, dtype=bool)
    for values in (signals.power_5, signals.clock_5, signals.celsius_5, signals.busy_5):
        if values is not None:
            seen |= np.isfinite(values)
    return ~seen


def _cannot(signals: _Signals, known: _Known, knows: frozenset[str]) -> tuple[str, ...]:
    said = []
    if signals.clock_5 is None:
        said.append("the clock is not measured: whether it is held down can only be guessed")
    if signals.power_5 is None and "power" not in knows:
        said.append("power is not measured: a power limit cannot be told from nothing")
    elif known.power is None and "power" not in knows:
        said.append("the power limit is not known: a power limit is told by power being flat alone")
    if signals.celsius_5 is None and "thermal" not in knows:
        said.append("temperature is not measured: a thermal limit cannot be told")
    elif known.ceiling is None and "thermal" not in knows:
        said.append("the temperature ceiling is not known: a thermal limit is told by temperature being flat alone")
    if "current" not in knows:
        said.append("there is no current flag: a current limit cannot be told from another reason")
    if known.clock is None and signals.clock_5 is not None:
        said.append("the free-running clock is not known: the highest clock seen under load stands for it")
    return tuple(said)


assert CODE["unknown"] == 0  # Ruling.blank counts on it
