"""The limiter inferred from clock, power and temperature, where the hardware does not say.

The rules, in the order in which they are tried (the first that speaks decides):

1. idle: the part hardly works (its use, or its power beside its own maximum);
2. free: the clock is at the highest that is *known* to be allowed;
3. power: power is at a limit that is known;
4. thermal: temperature is within 2 degrees of a ceiling that is known;
5. power: power keeps a level of its own while the temperature or the clock moves. A power limiter holds the power and
   lets the clock give way;
6. thermal: temperature keeps the top of its range while power moves. A thermal limiter holds the temperature and lets
   the power give way;
7. free: the clock is flat at the highest that was seen, while power drifts with the heat;
8. other: a part that works fully below its clock, with temperature and power clear of limits that are known.

Where both have settled, neither moves any more, and what they did on the way there decides for the whole level.

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
_LEVEL = 0.012  # power levels are told apart on a logarithmic scale of 1.2 % a bin
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
        free_clock_mhz=known.card_clock or top,
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
    card_clock: float | None

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
            card_clock=limits.clock_limits_mhz.get(domain),
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
        # The clock limit that a machine reports is that of one core alone, or of no load: not of this load.
        reference = known.card_clock or top
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
    if clock is not None:
        free_text = "the clock is flat at the highest seen"
        _decide_free_level(ruling, signals, at_top & clock_flat & ~signals.idle, free_text)
        clear = at_top & clock_flat & clear_of_limit
        ruling.decide(clear & (known.ceiling is None), "free", f"{free_text}, and power is clear of its limit", 0.7)
        ruling.decide(
            clear & clear_of_ceiling, "free", f"{free_text}, and temperature and power are clear of their limits", 0.85
        )
    if "power" not in knows and signals.power_5 is not None:
        may_be = ~clear_of_limit & ~at_ceiling
        _decide_power_levels(ruling, signals, may_be, below)
        # A firmware or a supply may hold power well under the limit that is reported: only clear signs count then.
        text = "power keeps a level of its own, under the limit that is known,"
        _decide_power_levels(ruling, signals, clear_of_limit & ~at_ceiling, below, text, clear_signs=True)
        if above_limit.any():
            text = "power keeps a level above the sustained limit: a short-term limit"
            _decide_power_levels(ruling, signals, above_limit, below, text)
    if "thermal" not in knows:
        _decide_thermal_level(ruling, signals, known, below)
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
    """Whether power is held flat: little spread over 20 s while the part works."""
    n = signals.idle.size
    if signals.power_5 is None or signals.power_spread is None:
        return np.zeros(n, dtype=bool)
    power = np.nan_to_num(signals.power_5, nan=0.0)
    spread = np.nan_to_num(signals.power_spread, nan=np.inf)
    flat = (spread < np.maximum(_FLAT_POWER * power, 0.25)) & (power > 0) & ~signals.idle
    return np.asarray(flat, dtype=bool)


def _range(values: Floats | None, where: Mask) -> float:
    """From the 5th to the 95th percentile of the finite values of a mask; NaN when there are fewer than 5."""
    if values is None:
        return float("nan")
    seen = values[where & np.isfinite(values)]
    if seen.size < 5:
        return float("nan")
    low, high = np.percentile(seen, (5, 95))
    return float(high - low)


def _least_of(load_seconds: float) -> float:
    """The least time at a level that makes it one: 3 % of the load, but no more than a short-term limit lasts."""
    return max(min(0.03 * load_seconds, 15.0), 8.0)


def _relative_range(values: Floats | None, where: Mask) -> float:
    """`_range` as a share of the median; NaN when that is not positive."""
    width = _range(values, where)
    if values is None or not np.isfinite(width):
        return float("nan")
    middle = float(np.nanmedian(values[where]))
    return width / middle if middle > 0 else float("nan")


def _decide_free_level(ruling: Ruling, signals: _Signals, level: Mask, text: str) -> None:
    """The clock flat at the highest seen: free when power or temperature moves and the clock does not follow."""
    clock = signals.clock_5
    load = float(signals.weights[~signals.idle].sum())
    if clock is None or float(signals.weights[level].sum()) < _least_of(load):
        return
    clock_range = _relative_range(clock, level)
    power_range = _relative_range(signals.power_5, level)
    warms = _range(signals.celsius_5, level) > 3.0
    if warms and power_range > max(2.0 * clock_range, 0.01):
        ruling.decide(level, "free", f"{text} while the part warms and power drifts", 0.75)
    elif warms or power_range > max(2.0 * clock_range, 0.02):
        ruling.decide(level, "free", f"{text} while temperature or power moves", 0.65)
    else:
        ruling.decide(level, "free", f"{text}; nothing else moves", 0.5)


def _decide_power_levels(
    ruling: Ruling,
    signals: _Signals,
    may_be: Mask,
    below: Mask,
    text: str = "power keeps a level of its own",
    clear_signs: bool = False,
) -> None:
    """Power held at one level or another (a short-term and a long-term limit make two), where it may be."""
    flat = may_be & _flat_power(signals)
    power = signals.power_5
    if power is None or not flat.any():
        return
    load = float(signals.weights[~signals.idle].sum())
    least = _least_of(load)
    bins = np.full(flat.shape, -(10**6), dtype=np.int64)
    bins[flat] = np.round(np.log(power[flat]) / _LEVEL).astype(np.int64)
    left = flat.copy()
    for _ in range(6):
        if float(signals.weights[left].sum()) < least:
            return
        codes, back = np.unique(bins[left], return_inverse=True)
        mode = int(codes[np.bincount(back, weights=signals.weights[left]).argmax()])
        level = left & (np.abs(bins - mode) <= 1)
        left &= np.abs(bins - mode) > 1
        if level.any():
            # The edges of a level are not flat over 20 s, and belong to it all the same.
            away = np.abs(np.nan_to_num(power, nan=0.0) / float(np.median(power[level])) - 1.0)
            level |= may_be & (away < 1.5 * _LEVEL) & ~signals.idle
        if float(signals.weights[level].sum()) < least:
            continue
        power_range = _relative_range(power, level)
        warms = _range(signals.celsius_5, level) > 3.0
        clock = signals.clock_5
        gives_way = False
        steady_clock = False
        if clock is not None:
            clock_range = _relative_range(clock, level)
            gives_way = clock_range > max(0.008, 1.5 * power_range)
            steady_clock = clock_range < 0.004
        if warms and gives_way:
            sure = 0.7 if clear_signs else 0.85
            ruling.decide(level, "power", f"{text} while the part warms and the clock gives way", sure)
        elif clear_signs:
            continue
        elif gives_way:
            ruling.decide(level, "power", f"{text} while the clock moves", 0.7)
        elif warms and not steady_clock:
            ruling.decide(level & below, "power", f"{text} while the part warms", 0.75)
        elif clock is not None:
            held = level & below
            ruling.decide(held, "power", f"{text}; the clock is below its highest, nothing else moves", 0.5)


def _decide_thermal_level(ruling: Ruling, signals: _Signals, known: _Known, below: Mask) -> None:
    """Temperature held at the top of its range while power or clock gives way."""
    celsius = signals.celsius_5
    if celsius is None or signals.celsius_spread is None:
        return
    load = np.isfinite(celsius) & ~signals.idle
    if load.sum() < 10:
        return
    highest = float(np.percentile(celsius[load], 97))
    near_top = load & (np.nan_to_num(celsius, nan=-np.inf) > highest - 1.5)
    flat = near_top & (np.nan_to_num(signals.celsius_spread, nan=np.inf) < _FLAT_CELSIUS)
    if float(signals.weights[flat].sum()) < max(0.05 * float(signals.weights[load].sum()), 20.0):
        return
    # With a ceiling known and far away, a flat temperature is only a steady one.
    if known.ceiling is not None:
        flat &= np.nan_to_num(celsius, nan=-np.inf) > known.ceiling - 8.0
    settled = ruling.confidence >= 0.7
    text = "temperature keeps the top of its range"
    where = flat & below if signals.clock_5 is not None else flat
    if signals.power_5 is not None:
        if _relative_range(signals.power_5, flat) > 0.04:
            sure = 0.8 if signals.clock_5 is not None else 0.6
            ruling.decide(where & ~settled, "thermal", f"{text} while power gives way", sure)
    elif signals.clock_5 is not None:
        sure = 0.6 if _relative_range(signals.clock_5, flat) > 0.02 else 0.45
        full = f"{text} while the clock is below its highest; power is not measured"
        ruling.decide(where & ~settled, "thermal", full, sure)


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
    if known.card_clock is None and signals.clock_5 is not None:
        said.append("the free-running clock is not known: the highest clock seen under load stands for it")
    return tuple(said)


assert CODE["unknown"] == 0  # Ruling.blank counts on it
