"""What the hardware itself says holds the clock down: reason bits, flags and throttle counters."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.runs import Floats, Trace
from surefoot.thermal.channels import Windows, whole

# NVML API reference, clocks event reasons.
REASON_BITS: dict[int, tuple[str, str]] = {
    0x1: ("idle", "idle"),
    0x2: ("other", "a clock set by the user or a program"),
    0x4: ("power", "software power cap"),
    0x8: ("other", "hardware slowdown without a cause given"),
    0x10: ("other", "kept in step with another card"),
    0x20: ("thermal", "software thermal slowdown"),
    0x40: ("thermal", "hardware thermal slowdown"),
    0x80: ("power", "power brake from the supply"),
    0x100: ("other", "the display's clock"),
}
"""Bit to (label, words)."""

IDLE = 0x1
"""Believed only where the part hardly works: on one card at hand it stayed set at full clock, 90 % busy and 250 W."""

BARE_SLOWDOWN = 0x8
"""The slowdown bit alone: something holds the clock, the bit does not say what."""

# When several bits are set at once, the first of these is the one that binds: heat and power hold a part that works,
# idle and the settings are what is left.
_PRECEDENCE = (0x40, 0x20, 0x80, 0x4, 0x8, 0x10, 0x2, 0x100, 0x1)

_READ_ALL_ALONG = 0.9

UNSAID = -1
"""In `Said.bit`: the hardware said nothing that is understood."""


@dataclass(frozen=True)
class Said:
    """What the hardware said about each sample.

    ``bit``: shape (n,), the reason bit that binds, 0 for none set, `UNSAID` where there is no reading or only unknown
    bits; ``shares``: by cause (``thermal``, ``power``, ``current``, ``other``) the share of each sample's time, shape
    (n,); ``knows``: the causes on which it can be relied to speak, so that silence means no; ``quiet``: those
    whose flag was read all along and never set, which speaks against them and no more; ``channels``: where it was read.
    """

    bit: NDArray[np.int64]
    shares: dict[str, Floats]
    knows: frozenset[str]
    channels: tuple[str, ...]
    quiet: frozenset[str] = frozenset()

    @property
    def began(self) -> frozenset[str]:
        """Causes whose beginning was told, by a counter or a pulse, and no end: silence after it denies nothing."""
        return frozenset(cause for cause, share in self.shares.items() if cause not in self.knows and share.any())

    @property
    def spoke(self) -> bool:
        """Whether it said anything at all."""
        return bool((self.bit != UNSAID).any()) or any(bool(share.any()) for share in self.shares.values())


def binding_bit(reasons: Floats) -> NDArray[np.int64]:
    """The bit that binds of each sample's reasons, shape (n,); 0 for none set, `UNSAID` for NaN or unknown bits only.

    Source: NVML API reference, clocks event reasons.
    """
    bits = np.full(reasons.shape, UNSAID, dtype=np.int64)
    there = np.isfinite(reasons) & (reasons >= 0) & (reasons < 2.0**53)
    codes = np.zeros(reasons.shape, dtype=np.int64)
    codes[there] = reasons[there].astype(np.int64)
    bits[there & (codes == 0)] = 0
    for bit in reversed(_PRECEDENCE):
        bits[there & ((codes & bit) != 0)] = bit
    return bits


def _works(trace: Trace, domain: str) -> NDArray[np.bool_]:
    """Where a part evidently works, shape (n,): its use, else its power beside its own high, over five seconds."""
    mean = Windows.of(trace.seconds, 5.0).mean
    busy = whole(trace, domain, "busy")
    if busy is not None:
        return np.asarray(np.nan_to_num(mean(busy), nan=0.0) >= 15.0)
    power = whole(trace, domain, "power")
    if power is None or not np.isfinite(power).any():
        return np.zeros(len(trace), dtype=bool)
    level = np.nan_to_num(mean(power), nan=0.0)
    # A part that only idles has no high to compare with: 30 W is more than any card's rest beside its own load.
    return np.asarray((level > 0.5 * np.percentile(level, 95)) & (level > 30.0))


def said(trace: Trace, domain: str) -> Said:
    """Everything that the hardware reported about a domain's limiter in a trace."""
    n = len(trace)
    knows: set[str] = set()
    channels: list[str] = []
    reasons = whole(trace, domain, "reasons")
    bit = np.full(n, UNSAID, dtype=np.int64)
    if reasons is not None:
        bit = binding_bit(reasons)
        bit[(bit == IDLE) & _works(trace, domain)] = 0
        channels.append(f"{domain}.reasons")

    shares: dict[str, Floats] = {}
    quiet: set[str] = set()
    for cause, quantity in (
        ("thermal", "thermal-flag"),
        ("power", "power-flag"),
        ("current", "current-flag"),
        ("other", "throttle-flag"),
    ):
        flag = whole(trace, domain, quantity)
        if flag is None:
            continue
        channels.append(f"{domain}.{quantity}")
        level = np.clip(np.nan_to_num(flag, nan=0.0), 0.0, 1.0)
        if domain == "gpu" or _is_level(level):
            shares[cause] = level
            if cause != "other":
                knows.add(cause)
        else:
            shares[cause] = _about(trace.seconds, level >= 0.5)
        if cause == "thermal" and not level.any() and bool(np.isfinite(flag).mean() >= _READ_ALL_ALONG):
            # Power counters are left at rest by many firmwares; of heat, kernels and firmwares do tell.
            quiet.add(cause)
    if quiet & {"thermal"} and knows & {"power", "current"}:
        # Its neighbour was seen to be a state that lasts: so is this one, and its silence means no.
        knows |= quiet

    for part, values in trace.parts(domain, "count").items():
        if "throttle" not in part or not np.isfinite(values).any():
            continue
        channels.append(f"{domain}.count.{part}")
        cause = "power" if "power" in part else "current" if "current" in part else "thermal"
        # A counter counts beginnings: a rise says "yes, about now", a counter that rests does not say "no".
        rising = counter_rising(trace.seconds, values)
        shares[cause] = np.maximum(shares.get(cause, np.zeros(n)), rising)
    return Said(bit, shares, frozenset(knows), tuple(channels), frozenset(quiet - knows))


def counter_rising(seconds: Floats, values: Floats, width_seconds: float = 10.0) -> Floats:
    """1.0 where a counter rose within the window about a sample, else 0.0; a counter that fell was reset."""
    filled = _forward_filled(values)
    rose = np.zeros(filled.shape, dtype=bool)
    rose[1:] = np.diff(filled) > 0
    return _about(seconds, rose, width_seconds)


def _is_level(flag: Floats) -> bool:
    """Whether a flag is a state that lasts, and no pulse at each new beginning (kernels count beginnings).

    Only of a level does silence mean no; a processor's flag made from a counter that never moved proves nothing, for
    many firmwares leave the power counter at rest.
    """
    if ((flag > 0.0) & (flag < 1.0)).any():
        return True
    if flag.size < 5:
        return False
    return bool((np.convolve(flag >= 0.5, np.ones(5), mode="valid") >= 4.5).any())


def _about(seconds: Floats, events: NDArray[np.bool_], width_seconds: float = 10.0) -> Floats:
    """1.0 within a window about each event, else 0.0."""
    near = Windows.of(seconds, width_seconds).mean(events.astype(np.float64))
    return (np.nan_to_num(near, nan=0.0) > 1e-9).astype(np.float64)


def _forward_filled(values: Floats) -> Floats:
    there = np.isfinite(values)
    if there.all():
        return values
    last = np.maximum.accumulate(np.where(there, np.arange(values.size), -1))
    return np.where(last >= 0, values[np.maximum(last, 0)], values[there][0])
