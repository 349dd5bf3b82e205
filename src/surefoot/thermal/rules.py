"""The limiter inferred from clock, power and temperature, where the hardware does not say.

1. idle: the part hardly works (its use, or its power beside its own maximum);
2. everything else by which quantity is being kept while the others move (`surefoot.thermal.kept`): the clock (nothing
   holds it, or a cap when a higher clock was seen), power, current, temperature;
3. limits that are known, on the card or reported in the trace, are hints: they tip the scales where the trace is in
   doubt, and a trace that clearly says otherwise contradicts them;
4. where no reading decides, the answer is that it is not known.

Common practice, no source: this is how testers read such traces by eye.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from surefoot.runs import Floats, Trace
from surefoot.thermal.as_it_warms import kept_while_warming
from surefoot.thermal.channels import Windows, sample_weights, whole
from surefoot.thermal.kept import KEPT, Elsewhere, Means, chances, step_edges
from surefoot.thermal.labels import CODE, Mask, Ruling
from surefoot.thermal.limits import Limits

CEILING_BAND_CELSIUS = 2.0
"""How near the ceiling counts as at it: sensors step by 1 degree and the controller swings by about as much."""

LIMIT_BAND = 0.03
"""How near a power limit counts as at it, as a share of the limit."""

_SHORT_SECONDS = 4.0  # of the means that are judged, unless a stretch of work is long
_MOST_MEANS, _FEWEST_MEANS = 130, 60
_ALL_MEANS = 4000  # over all stretches of a long trace: it must be judged in about a second
_PAUSE_SECONDS = 12.0  # of idling that ends a stretch of work
_BELOW = 0.985  # share of the free clock under which a clock counts as held down


@dataclass(frozen=True)
class Inference:
    """What clock, power and temperature say: the ruling by sample, the levels used, and what cannot be judged.

    ``power``, ``clock``: the series used, shape (n,), W and MHz, or None; ``*_5``: means over five seconds;
    ``at_ceiling``, ``at_power_limit``: shape (n,), where a ceiling, throttle point or power limit that is known was
    reached.
    """

    ruling: Ruling
    power: Floats | None
    clock: Floats | None
    power_5: Floats | None
    clock_5: Floats | None
    celsius_5: Floats | None
    ceiling_celsius: float | None
    power_limit_watts: float | None
    free_clock_mhz: float | None
    cannot_judge: tuple[str, ...]
    at_ceiling: Mask
    at_power_limit: Mask


def infer(
    trace: Trace,
    domain: str,
    limits: Limits,
    knows: frozenset[str] = frozenset(),
    quiet: frozenset[str] = frozenset(),
    began: frozenset[str] = frozenset(),
) -> Inference:
    """The limiter of each sample of a domain from its clock, power and temperature.

    ``knows``: causes for which the hardware has a flag, so that they are not guessed here; ``quiet``: those whose flag
    never spoke, though its silence proves nothing; ``began``: those whose beginning was told somewhere in the trace.
    """
    n = len(trace)
    signals = _Signals.of(trace, domain)
    known = _Known.of(trace, domain, limits)
    blank = "too little is measured to tell"
    ruling = Ruling.blank(n, blank)
    top = _top_clock(signals)
    if n:
        _decide(ruling, signals, known, top, knows, quiet, began)
    return Inference(
        ruling=ruling,
        power=signals.power,
        clock=signals.clock,
        power_5=signals.power_5,
        clock_5=signals.clock_5,
        celsius_5=signals.celsius_5,
        ceiling_celsius=_middle(known.ceiling),
        power_limit_watts=_middle(known.power),
        free_clock_mhz=known.card_clock or top,
        cannot_judge=_cannot(signals, known, knows),
        at_ceiling=_near_ceiling(signals, known),
        at_power_limit=_against_power_limits(signals, known)[0],
    )


@dataclass(frozen=True)
class _Signals:
    """Series of a domain, and their means over 5 s (``*_5``); None: not measured. ``amps``: measured, or power over
    voltage."""

    seconds: Floats
    usual: float
    power: Floats | None
    power_5: Floats | None
    clock: Floats | None
    clock_5: Floats | None
    celsius: Floats | None
    celsius_5: Floats | None
    amps: Floats | None
    volts: Floats | None
    busy_5: Floats | None
    idle: Mask

    @classmethod
    def of(cls, trace: Trace, domain: str) -> _Signals:
        seconds = trace.seconds
        weights = sample_weights(seconds)
        usual = float(np.median(weights)) if weights.size else 1.0
        fast = Windows.of(seconds, max(5.0, 3.2 * usual))
        power = whole(trace, domain, "power")
        clock = whole(trace, domain, "clock")
        celsius = whole(trace, domain, "temperature")
        busy = whole(trace, domain, "busy")
        amps = whole(trace, domain, "current")
        volts = whole(trace, domain, "voltage")
        if amps is None and power is not None and volts is not None:
            with np.errstate(invalid="ignore", divide="ignore"):
                amps = np.where((volts > 0.3) & (volts < 2.0), power / volts, np.nan)
            amps = amps if np.isfinite(amps).any() else None
        power_5 = None if power is None else fast.mean(power)
        busy_5 = None if busy is None else fast.mean(busy)
        return cls(
            seconds=seconds,
            usual=usual,
            power=power,
            power_5=power_5,
            clock=clock,
            clock_5=None if clock is None else fast.mean(clock),
            celsius=celsius,
            celsius_5=None if celsius is None else fast.mean(celsius),
            amps=amps,
            volts=_volts(power, amps),
            busy_5=busy_5,
            idle=_idle(power_5, busy_5, seconds.size),
        )


def _volts(power: Floats | None, amps: Floats | None) -> Floats | None:
    """Voltage as power over current, where both are there."""
    if power is None or amps is None:
        return None
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(amps > 0, power / amps, np.nan)


@dataclass(frozen=True)
class _Known:
    """Limits that are known, as series: from the trace where it reports them, else from the card."""

    ceiling: Floats | None
    power: Floats | None
    clock: Floats | None
    powers: tuple[Floats, ...]
    card_clock: float | None
    throttle: Floats | None
    power_reported: bool

    @classmethod
    def of(cls, trace: Trace, domain: str, limits: Limits) -> _Known:
        n = len(trace)

        def series(quantity: str, card: float | None) -> Floats | None:
            values = whole(trace, domain, quantity)
            if values is not None:
                return _held(values)
            return None if card is None else np.full(n, float(card))

        card_ceiling = limits.ceilings_celsius.get(domain)
        card_power = limits.power_limits_watts.get(domain)
        parts = tuple(
            _held(values) for values in trace.parts(domain, "power-limit").values() if np.isfinite(values).any()
        )
        powers = parts or (() if card_power is None else (np.full(n, float(card_power)),))
        lowest = np.minimum.reduce(powers) if powers else None
        return cls(
            ceiling=None if card_ceiling is None else np.full(n, float(card_ceiling)),
            power=lowest,
            clock=series("clock-limit", limits.clock_limits_mhz.get(domain)),
            powers=powers,
            card_clock=limits.clock_limits_mhz.get(domain),
            throttle=series("temperature-limit", limits.throttle_celsius.get(domain)),
            power_reported=bool(parts),
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
    """The highest clock that was kept for some seconds under load, MHz: noise on a mean is taken off it."""
    clock = signals.clock
    if clock is None:
        return None
    usable = np.isfinite(clock) & ~signals.idle
    if usable.sum() < 3:
        usable = np.isfinite(clock)
    if usable.sum() < 3:
        return float(np.median(clock[usable])) if usable.any() else None
    values = np.where(usable, clock, np.nan)
    best = float(np.median(clock[usable]))
    for width in (8.0, 30.0):
        windows = Windows.of(signals.seconds, max(width, 4.2 * signals.usual))
        mean, spread = windows.mean_and_spread(values)
        count = windows.count(np.isfinite(values))
        full = usable & (count >= 0.6 * np.median(windows.high - windows.low)) & (count >= 3)
        if full.any():
            low = mean[full] - 2.5 * spread[full] / np.sqrt(count[full])
            best = max(best, float(low.max()))
    return best


def _stretches_of_work(seconds: Floats, idle: Mask, seen: Mask) -> list[tuple[int, int]]:
    """First sample and one past the last of every stretch of work; short idling does not end one, a pause does."""
    place = np.flatnonzero(~idle & seen)
    if place.size == 0:
        return []
    gaps = np.diff(seconds[place])
    usual = float(np.median(np.diff(seconds))) if seconds.size > 1 else 1.0
    cut = np.flatnonzero(gaps > max(_PAUSE_SECONDS, 6.0 * usual))
    firsts = np.concatenate([[place[0]], place[cut + 1]])
    lasts = np.concatenate([place[cut], [place[-1]]])
    return [(int(first), int(last) + 1) for first, last in zip(firsts, lasts, strict=True)]


def _weigh(signals: _Signals, known: _Known, top: float | None, hints: dict[str, Floats]) -> Floats:
    """The chance of every label of `KEPT` at every sample, shape (n, labels); 0 where the part does not work."""
    n = signals.seconds.size
    found = np.zeros((n, len(KEPT)))
    logs = [None if series is None else _log(series) for series in (signals.clock, signals.power, signals.amps)]
    seen = np.zeros(n, dtype=bool)
    for series in (*logs, signals.celsius):
        if series is not None:
            seen |= np.isfinite(series)
    stretches = _stretches_of_work(signals.seconds, signals.idle, seen)
    light = (
        np.zeros(n) if signals.busy_5 is None else np.clip((80.0 - np.nan_to_num(signals.busy_5, nan=100.0)) / 20, 0, 1)
    )
    hottest = None
    if signals.celsius_5 is not None:
        under_load = signals.celsius_5[~signals.idle & np.isfinite(signals.celsius_5)]
        hottest = float(np.percentile(under_load, 98)) if under_load.size else None
    reference = known.card_clock or max(top or 0.0, 0.0)
    elsewhere = Elsewhere(None if not reference else float(np.log(reference)), hottest)
    most = int(np.clip(_ALL_MEANS / max(len(stretches), 1), _FEWEST_MEANS, _MOST_MEANS))
    for first, last in stretches:
        part = slice(first, last)
        seconds, work = signals.seconds[part], ~signals.idle[part]
        jumps = [series[part] for series in logs[:2] if series is not None]
        edges = _edges(seconds, step_edges(seconds, jumps, work), most)
        place = np.clip(np.searchsorted(edges, seconds, side="right") - 1, 0, edges.size - 2)
        count = np.bincount(place[work], minlength=edges.size - 1)
        kept_bins = np.flatnonzero(count)
        if kept_bins.size == 0:
            continue

        def mean(values: Floats | None, place: Any = place, work: Mask = work, part: slice = part) -> Floats | None:
            if values is None:
                return None
            return _bin_means(values[part], place, work)

        def of(values: Floats | None, kept_bins: Any = kept_bins, mean: Any = mean) -> Floats | None:
            means = mean(values)
            return None if means is None else _filled(means[kept_bins])

        usual = float(np.median(np.diff(edges)))
        means = Means(
            clock=of(logs[0]),
            power=of(logs[1]),
            amps=of(logs[2]),
            celsius=of(signals.celsius),
            weight=np.clip(np.diff(edges)[kept_bins] / usual, 0.2, 1.0),
            light=_or_zero(of(light)),
            hints={name: _or_zero(of(values)) for name, values in hints.items()},
        )
        by_mean = chances(means, elsewhere)
        row = np.zeros(edges.size - 1, dtype=np.int64)
        row[kept_bins] = np.arange(kept_bins.size)
        found[part][work] = by_mean[row[place[work]]]
        if all(series is not None for series in (*logs[:2], signals.celsius)):
            steps = step_edges(seconds, jumps, work)
            _divide(found[part], signals, part, steps)
    return found


_FREE, _OTHER, _POWER, _CURRENT = (KEPT.index(name) for name in ("free", "other", "power", "current"))
_CURRENT_IS_RARER = -0.5  # logarithm of odds before anything is seen
_AFTER_MORE = -2.0  # the same, where more power was drawn before: what allows more for a while is a power limit
_BELIEVED = 0.8  # of a logarithm of odds: noise is never quite what is taken for it
_MOST_ODDS = 8.0
_GAP_SECONDS = 20.0


def _divide(chance: Floats, signals: _Signals, part: slice, steps: Floats) -> None:
    """Whether clock, power or current is kept in each run of one, by all its samples; writes into ``chance``."""
    if signals.clock is None or signals.power is None or signals.celsius is None:
        return
    seconds = signals.seconds[part]
    power, clock = _log(signals.power[part]), _log(signals.clock[part])
    warm = Windows.of(seconds, max(10.0, 3.2 * signals.usual)).mean(signals.celsius[part])
    volts = None if signals.volts is None else _log(signals.volts[part])
    group = np.searchsorted(steps, seconds, side="right")
    by_clock, by_draw = chance[:, _FREE] + chance[:, _OTHER], chance[:, _POWER] + chance[:, _CURRENT]
    for kind in (by_clock > 0.5, (by_draw > 0.5) & (by_clock <= 0.5)):
        for run in _runs(seconds, kind):
            kept = kept_while_warming(
                power[run], clock[run], None if volts is None else volts[run], warm[run], group[run]
            )
            rarer = _CURRENT_IS_RARER + (_AFTER_MORE if _drew_more(power, run) else 0.0)
            current = _odds(kept.current - kept.power) + rarer
            draws = np.logaddexp(kept.power, kept.current + rarer) - np.logaddexp(0.0, rarer)
            moved = chance[run]
            whole = moved[:, _FREE] + moved[:, _OTHER] + moved[:, _POWER] + moved[:, _CURRENT]
            was = np.log(float(by_draw[run].mean()) + 0.01) - np.log(float(by_clock[run].mean()) + 0.01)
            odds = np.clip(was, -4.0, 4.0) + _odds(float(draws) - kept.clock)
            drawn, share = 1.0 / (1.0 + np.exp(-odds)), 1.0 / (1.0 + np.exp(-current))
            free = (moved[:, _FREE] + 1e-9) / (by_clock[run] + 2e-9)
            chance[run, _FREE], chance[run, _OTHER] = whole * (1 - drawn) * free, whole * (1 - drawn) * (1 - free)
            chance[run, _POWER], chance[run, _CURRENT] = whole * drawn * (1 - share), whole * drawn * share


def _odds(value: float) -> float:
    return float(np.clip(_BELIEVED * value, -_MOST_ODDS, _MOST_ODDS))


def _runs(seconds: Floats, kind: Mask) -> list[Any]:
    """Places of the samples of each run; a short gap does not end one."""
    place = np.flatnonzero(kind)
    if place.size == 0:
        return []
    return np.split(place, np.flatnonzero(np.diff(seconds[place]) > _GAP_SECONDS) + 1)


def _drew_more(power: Floats, run: Any) -> bool:
    """Whether clearly more power was drawn for some samples before the run or early in it."""
    early = power[: run[0] + max(3, run.size // 3)]
    early = early[np.isfinite(early)]
    late = power[run[run.size // 2 :]]
    late = late[np.isfinite(late)]
    if early.size < 3 or late.size < 3:
        return False
    noise = float(np.std(late))
    return bool((early > np.median(late) + max(0.05, 4.0 * noise)).sum() >= 3)


def _log(values: Floats) -> Floats:
    return np.asarray(np.log(np.where(values > 0, values, np.nan)), dtype=np.float64)


def _or_zero(values: Floats | None) -> Floats:
    assert values is not None
    return np.nan_to_num(values, nan=0.0)


def _bin_means(values: Floats, place: Any, work: Mask) -> Floats:
    there = np.isfinite(values) & work
    size = int(place.max()) + 1
    count = np.bincount(place[there], minlength=size)
    total = np.bincount(place[there], weights=values[there], minlength=size)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _filled(values: Floats) -> Floats | None:
    """Holes filled from the neighbours; None when there is nothing."""
    there = np.isfinite(values)
    if there.all():
        return values
    if not there.any():
        return None
    at = np.arange(values.size)
    return np.interp(at, at[there], values[there])


def _edges(seconds: Floats, steps: Floats, most: int) -> Floats:
    """Edges of the means: equal ones, finer in the first two minutes, and one at every jump."""
    start, end = float(seconds[0]), float(seconds[-1]) + 1e-6
    usual = float(np.median(np.diff(seconds))) if seconds.size > 1 else 1.0
    width = max(_SHORT_SECONDS, 1.01 * usual, (end - start) / most)
    edges: list[Floats] = [np.arange(start, end, width), steps, np.array([end])]
    fine = max(_SHORT_SECONDS, 1.01 * usual)
    if width > 1.5 * fine:
        edges.append(np.arange(start, min(start + 120.0, end), fine))
    merged = np.unique(np.concatenate(edges))
    # Jumps stay where they are; other edges too near to one are dropped.
    near = np.array([bool(steps.size) and 0 < np.abs(steps - edge).min() < 0.6 * fine for edge in merged])
    near[0] = near[-1] = False
    return np.asarray(merged[~near], dtype=np.float64)


def _hints(
    signals: _Signals, known: _Known, knows: frozenset[str], quiet: frozenset[str], began: frozenset[str]
) -> dict[str, Floats]:
    """What limits that are known say for or against a label, by sample, as logarithms of odds."""
    n = signals.seconds.size
    hints = {name: np.zeros(n) for name in ("free", "power", "thermal")}
    if known.power is not None and signals.power_5 is not None:
        at, _ = _against_power_limits(signals, known)
        clear = np.nan_to_num(signals.power_5, nan=np.inf) < known.power * (1.0 - 2 * LIMIT_BAND)
        hints["power"] += np.where(at, 3.0 if known.power_reported else 2.0, 0.0) - np.where(clear, 0.5, 0.0)
    for limit, told in ((known.throttle, True), (known.ceiling, False)):
        if limit is None or signals.celsius_5 is None:
            continue
        gap = limit - np.nan_to_num(signals.celsius_5, nan=-np.inf)
        if told:
            hints["thermal"] += np.where(np.abs(gap) <= CEILING_BAND_CELSIUS, 3.0, 0.0) - 5.0 * (gap > 4.0)
        else:
            hints["thermal"] += np.where(np.abs(gap) <= CEILING_BAND_CELSIUS, 1.0, 0.0) - 1.0 * (gap > 8.0)
    if known.clock is not None and signals.clock_5 is not None:
        hints["free"] += np.where(np.nan_to_num(signals.clock_5, nan=0.0) >= _BELOW * known.clock, 3.0, 0.0)
    for cause in ("power", "thermal"):
        if cause in knows:
            hints[cause] -= 8.0
        elif cause in quiet:
            hints[cause] -= _QUIET
        elif cause in began:
            hints[cause] += _BEGAN
    return hints


_SAYS = {
    "free": "the clock is kept and nothing takes it down",
    "power": "power keeps a level of its own while the clock gives way",
    "thermal": "temperature keeps the top of its range while power gives way",
    "current": "power over voltage is kept while the part warms and the clock gives way: a current limit",
    "other": "the clock is kept below one it reached before: a limit that is not heat and not power, perhaps current",
}


def _decide(
    ruling: Ruling,
    signals: _Signals,
    known: _Known,
    top: float | None,
    knows: frozenset[str],
    quiet: frozenset[str],
    began: frozenset[str],
) -> Floats:
    """Write what the chances say, then what is certain; the chances by sample, shape (n, labels)."""
    n = ruling.label.size
    true = np.ones(n, dtype=bool)
    chance = _weigh(signals, known, top, _hints(signals, known, knows, quiet, began))
    best = chance.argmax(axis=1)
    height = chance.max(axis=1)
    at_limit, above_limit = _against_power_limits(signals, known)
    clear = np.zeros(n, dtype=bool)
    if signals.power_5 is not None and known.power is not None:
        clear = np.nan_to_num(signals.power_5, nan=np.inf) < known.power * (1.0 - 2 * LIMIT_BAND)
    near = _near_ceiling(signals, known)
    allowed = np.zeros(n, dtype=bool)
    if known.clock is not None and signals.clock_5 is not None:
        allowed = np.nan_to_num(signals.clock_5, nan=0.0) >= _BELOW * known.clock
    # Power and current may be as likely as each other: that it is one of the two is told, with that little confidence.
    either = chance[:, _POWER] + chance[:, _CURRENT]
    of_two = (either >= _EITHER) & ((best == _POWER) | (best == _CURRENT))
    told = ((height >= _LEAST_CHANCE) | of_two) & (best != KEPT.index("unknown"))
    for place, name in enumerate(KEPT):
        if name == "unknown":
            continue
        of = told & (best == place)
        cases = [(of, _SAYS[name])]
        if name == "power":
            band = f"power is within {LIMIT_BAND:.0%} of its limit"
            short = "power keeps a level above the sustained limit: a short-term limit"
            under = "power keeps a level of its own, under the limit that is known, while the clock gives way"
            alike = "power keeps a level of its own while the clock gives way; a current limit would look much the same"
            cases += [
                (of & (height < _ALIKE), alike),
                (of & at_limit, band),
                (of & above_limit, short),
                (of & clear, under),
            ]
        if name == "thermal":
            cases.append((of & near, f"temperature is kept within {CEILING_BAND_CELSIUS:g} °C of the ceiling"))
        if name == "free":
            cases.append((of & allowed, "the clock is at the highest allowed"))
        for where, text in cases:
            _decide_by_chance(ruling, where, name, text, height)
    if known.power_reported:
        # The machine says that its limit is higher: a current limit that looks like a power limit is as likely.
        hidden = told & (best == KEPT.index("power")) & clear
        ruling.confidence[hidden] = np.minimum(ruling.confidence[hidden], 0.75)
    if signals.power is None:
        # A temperature or a clock that settles looks alike under either limit.
        guessed = (ruling.label == CODE["thermal"]) | (ruling.label == CODE["power"])
        ruling.confidence[guessed] = np.minimum(ruling.confidence[guessed], 0.75)
    _unmeasured(ruling, signals, best == KEPT.index("unknown"), top, knows)
    if {"thermal", "power"} <= knows and signals.clock_5 is not None and top:
        below = np.isfinite(signals.clock_5) & (signals.clock_5 < _BELOW * (known.card_clock or top))
        there = np.isfinite(signals.clock_5)
        ruling.decide(~below & there, "free", "no flag was set and the clock is at its highest", 0.9)
    elif {"thermal", "power"} <= knows:
        ruling.decide(true, "free", "no flag was set", 0.75)
    used = signals.busy_5 is not None
    idle_text = "the part hardly works: " + ("its use is low" if used else "power is under a quarter of its high")
    ruling.decide(signals.idle, "idle", idle_text, 0.9 if used else 0.75)
    ruling.decide(_nothing_read(signals, n), "unknown", "no reading", 0.0)
    return chance


def _unmeasured(ruling: Ruling, signals: _Signals, unsaid: Mask, top: float | None, knows: frozenset[str]) -> None:
    """A part fully at work, far below its clock, that keeps nothing measured is held by what is not measured."""
    if knows or not top or signals.power is None or signals.celsius is None:
        return
    if signals.clock_5 is None or signals.busy_5 is None:
        return
    clock, busy = np.nan_to_num(signals.clock_5, nan=np.inf), np.nan_to_num(signals.busy_5, nan=0.0)
    text = (
        f"the clock is more than {1 - _FAR_BELOW:.0%} below one it reached before, at full work, and neither power nor "
        "temperature is kept: a limit that is not measured, as a cover's temperature"
    )
    ruling.decide(unsaid & (clock < _FAR_BELOW * top) & (busy > 85.0) & ~signals.idle, "other", text, 0.6)


def _decide_by_chance(ruling: Ruling, where: Mask, label: str, text: str, height: Floats) -> None:
    ruling.decide(where, label, text, 0.0)
    ruling.confidence[where] = believed(height[where])


_QUIET = 3.0  # logarithm of odds against a cause whose flag was read all along and never set
_BEGAN = 3.0  # for one of which a beginning was told
_EITHER = 0.6
_ALIKE = 0.75  # below it a current limit is named beside the power limit
_FAR_BELOW = 0.94  # of the highest clock
_LEAST_CHANCE = 0.5  # below it the label is not told


def believed(chance: Floats) -> Floats:
    """The confidence that a chance of the model is worth, see `tests/benchmarks/thermal_machines.py`."""
    return chance


def _near_ceiling(signals: _Signals, known: _Known) -> Mask:
    """Whether temperature is at a throttle point or ceiling that is known."""
    near = np.zeros(signals.seconds.size, dtype=bool)
    for limit in (known.throttle, known.ceiling):
        if limit is not None and signals.celsius_5 is not None:
            near |= np.abs(limit - np.nan_to_num(signals.celsius_5, nan=-np.inf)) <= CEILING_BAND_CELSIUS
    return near


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
