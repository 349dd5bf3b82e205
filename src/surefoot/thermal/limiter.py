"""What holds the clock down over time: heat, power, current, another reason, or nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from surefoot.runs import Floats, Trace
from surefoot.thermal.boost import Boost, first_boost
from surefoot.thermal.channels import DOMAINS, has_domain, sample_weights
from surefoot.thermal.flags import BARE_SLOWDOWN, REASON_BITS, UNSAID, Said, said
from surefoot.thermal.found import FoundLimit, Seen, contradictions, found_limits
from surefoot.thermal.labels import CODE, HELD, LABEL_SAYS, LABELS, Mask, Ruling, sureness
from surefoot.thermal.limits import Limits
from surefoot.thermal.rules import Inference, infer

__all__ = ["HELD", "LABELS", "LABEL_SAYS", "LimiterReport", "Limits", "PowerPlateau", "RuleUse", "limiters", "sureness"]


@dataclass(frozen=True)
class RuleUse:
    """One rule that decided part of a trace: what it said, for which share of the time, and how sure it is (0 to 1)."""

    label: str
    rule: str
    share: float
    confidence: float

    @property
    def sure(self) -> str:
        """The confidence as a word."""
        return sureness(self.confidence)


@dataclass(frozen=True)
class PowerPlateau:
    """A level at which power was held: watts, from and to in minutes of the trace, and which limit it looks like.

    ``kind``: ``sustained`` when it is the only one; else ``long-term`` for the lowest and ``short-term`` for others.
    """

    watts: float
    from_minutes: float
    to_minutes: float
    share: float
    kind: str


@dataclass(frozen=True, eq=False)
class LimiterReport:
    """What held a domain's clock down.

    ``shares``: label name to share of the time, summing to 1 (all 0 for an empty trace); ``main``: the label with the
    greatest share of the time under load; ``confidence``: 0 to 1, see `sureness`, of that label; ``rules``: what
    decided, greatest share first; ``labels``: shape (n,), index into `LABELS` by sample; ``cannot_judge``: in words,
    what is missing and what could not be told without it; ``source``: ``hardware``, ``inferred``, ``both`` or ``none``;
    ``found``: limits that the trace shows, with their evidence; ``contradicted``: what on the card the trace does not
    bear out; ``boost``: of the beginning, None where there was none.
    """

    domain: str
    shares: dict[str, float]
    main: str
    confidence: float
    rules: tuple[RuleUse, ...]
    plateaus: tuple[PowerPlateau, ...]
    ceiling_celsius: float | None
    power_limit_watts: float | None
    free_clock_mhz: float | None
    source: str
    cannot_judge: tuple[str, ...]
    sentence: str
    labels: NDArray[np.int8] = field(repr=False)
    found: tuple[FoundLimit, ...] = ()
    contradicted: tuple[str, ...] = ()
    boost: Boost | None = None

    @property
    def rule(self) -> str:
        """The rule that decided most of the main label, in words."""
        return next((use.rule for use in self.rules if use.label == self.main), "nothing could be judged")

    @property
    def sure(self) -> str:
        """The confidence as a word."""
        return sureness(self.confidence)

    def share(self, label: str) -> float:
        """The share of the time of a label."""
        return self.shares.get(label, 0.0)


def limiters(trace: Trace, limits: Limits | None = None) -> dict[str, LimiterReport]:
    """What held the clock of each domain of the trace (``cpu``, ``gpu``) down, as shares of time.

    Hardware reasons and flags decide where there are some; else clock, power and temperature against the limits known
    and the plateaus seen (see `surefoot.thermal.rules`). A domain without channels is left out.
    """
    known = limits or Limits()
    return {domain: _judge(trace, domain, known) for domain in DOMAINS if has_domain(trace, domain)}


# What a report is worth: the hardware knows, but a bit is a snapshot of one instant of a sample's time.
_SURE_REASON = 0.95
_SURE_FLAG = 0.95
_SURE_COUNTER = 0.85
_SURE_BARE = 0.6


def _judge(trace: Trace, domain: str, limits: Limits) -> LimiterReport:
    n = len(trace)
    weights = sample_weights(trace.seconds)
    total = float(weights.sum())
    hardware = said(trace, domain)
    inference = infer(trace, domain, limits, hardware.knows, hardware.quiet, hardware.began)
    by_sample, ruling = _merge(n, hardware, inference)
    shares = {
        name: float((weights * by_sample[code]).sum() / total) if total > 0 else 0.0 for name, code in CODE.items()
    }
    labels = by_sample.argmax(axis=0).astype(np.int8)
    rules = _rule_uses(ruling, weights, total)
    main = _main(shares)
    of_main = [use for use in rules if use.label == main]
    mass = sum(use.share for use in of_main)
    confidence = sum(use.share * use.confidence for use in of_main) / mass if mass > 0 else 0.0
    seen = Seen(
        trace.seconds, weights, inference.power_5, inference.clock_5, inference.celsius_5, labels, ruling.confidence
    )
    card_power = limits.power_limits_watts.get(domain)
    found = found_limits(seen, inference.power_limit_watts, limits.throttle_celsius.get(domain))
    return LimiterReport(
        domain=domain,
        shares=shares,
        main=main,
        confidence=confidence,
        rules=rules,
        plateaus=_plateaus(trace.seconds, inference.power, labels, weights),
        ceiling_celsius=inference.ceiling_celsius,
        power_limit_watts=inference.power_limit_watts,
        free_clock_mhz=inference.free_clock_mhz,
        source=_source(hardware, ruling),
        cannot_judge=_cannot(n, hardware, inference),
        sentence=_sentence(domain, shares, main, confidence),
        labels=labels,
        found=found,
        contradicted=contradictions(seen, found, card_power, limits.ceilings_celsius.get(domain)),
        boost=_boost(trace, inference, labels),
    )


def _boost(trace: Trace, inference: Inference, labels: NDArray[np.int8]) -> Boost | None:
    found = first_boost(trace.seconds, inference.power, inference.clock, labels != CODE["idle"])
    if found is None:
        return None
    # A part that gives way to heat was not boosting before: it was throttled after.
    after = (trace.seconds >= found.to_seconds) & (trace.seconds <= found.to_seconds + 60.0)
    return None if float((labels[after] == CODE["thermal"]).mean()) > 0.5 else found


def _cannot(n: int, hardware: Said, inference: Inference) -> tuple[str, ...]:
    if n == 0:
        return ("the trace has no samples",)
    return () if (hardware.bit != UNSAID).all() else inference.cannot_judge


def _main(shares: Mapping[str, float]) -> str:
    working = {name: share for name, share in shares.items() if name not in ("idle", "unknown") and share > 0}
    # A few sure seconds do not speak for a run of which most could not be judged.
    if working and max(working.values()) >= 0.25 * shares["unknown"]:
        return max(working, key=lambda name: working[name])
    return "idle" if shares["idle"] > shares["unknown"] else "unknown"


def _source(hardware: Said, ruling: Ruling) -> str:
    judged = ruling.label != CODE["unknown"]
    if not judged.any():
        return "none"
    if not hardware.spoke:
        return "inferred"
    return "hardware" if not (judged & (hardware.bit == UNSAID)).any() else "both"


def _merge(n: int, hardware: Said, inference: Inference) -> tuple[NDArray[np.float64], Ruling]:
    """Shares of each sample by label code, shape (labels, n), and who ruled on each sample."""
    shares = np.zeros((len(LABELS), n))
    guess = inference.ruling
    ruling = guess.copy()
    by_heat_or_power = np.isin(guess.label, (CODE["thermal"], CODE["power"]))

    decoded = hardware.bit != UNSAID
    bare = hardware.bit == BARE_SLOWDOWN
    # A slowdown without a cause given is for the temperature and the power to explain.
    explained = bare & by_heat_or_power
    if inference.clock is None and inference.power_limit_watts is not None:
        # Power that is flat well below its limit, with no clock to be seen giving way, explains nothing.
        explained &= (guess.label != CODE["power"]) | inference.at_power_limit
    # Where nothing moves the trace alone cannot tell a slow clock from a free one; that it is slowed is said here.
    at_heat = bare & ~explained & inference.at_ceiling
    at_power = bare & ~explained & ~at_heat & inference.at_power_limit
    said_alone = decoded & ~explained & ~at_heat & ~at_power
    for bit in np.unique(hardware.bit[said_alone]).tolist():
        label, words = REASON_BITS.get(bit, ("free", "no reason bit set"))
        ruling.decide((hardware.bit == bit) & said_alone, label, f"the hardware reports: {words}", _SURE_REASON)
    ruling.support(explained, "the hardware reports a slowdown, and ", 0.8)
    ruling.decide(at_heat, "thermal", "the hardware reports a slowdown, and temperature is at its ceiling", 0.8)
    ruling.decide(at_power, "power", "the hardware reports a slowdown, and power is at its limit", 0.8)
    shares[ruling.label[decoded], np.flatnonzero(decoded)] = 1.0

    undecoded = ~decoded
    held = np.zeros(n)
    for cause in ("thermal", "power", "current"):
        flag = hardware.shares.get(cause)
        if flag is None:
            continue
        part = np.minimum(flag, 1.0 - held) * undecoded
        shares[CODE[cause]] += part
        held += part
        mostly: Mask = (part >= 0.5) & undecoded
        if cause in hardware.knows:
            ruling.decide(mostly, cause, f"the hardware's {cause} flag was set", _SURE_FLAG)
        else:
            ruling.decide(mostly, cause, f"the hardware's {cause} throttle counter was rising", _SURE_COUNTER)
    throttled = hardware.shares.get("other")
    if throttled is not None:
        part = np.minimum(throttled, 1.0 - held) * undecoded
        reason = np.where(by_heat_or_power, guess.label, CODE["other"])
        for cause in ("thermal", "power", "other"):
            shares[CODE[cause]] += np.where(reason == CODE[cause], part, 0.0)
        held += part
        mostly = (part >= 0.5) & undecoded
        ruling.support(mostly & by_heat_or_power, "a throttle flag was set, and ", 0.8)
        text = "a throttle flag was set, and neither temperature nor power explains it"
        ruling.decide(mostly & ~by_heat_or_power, "other", text, _SURE_BARE)
    shares[guess.label[undecoded], np.flatnonzero(undecoded)] += np.maximum(1.0 - held, 0.0)[undecoded]
    return shares, ruling


def _rule_uses(ruling: Ruling, weights: Floats, total: float) -> tuple[RuleUse, ...]:
    if total <= 0:
        return ()
    width = len(ruling.texts)
    key = ruling.label.astype(np.int64) * width + ruling.rule
    seconds = np.bincount(key, weights=weights, minlength=len(LABELS) * width)
    sure = np.bincount(key, weights=weights * ruling.confidence, minlength=len(LABELS) * width)
    uses = [
        RuleUse(
            LABELS[index // width],
            ruling.texts[index % width],
            float(seconds[index] / total),
            float(sure[index] / seconds[index]),
        )
        for index in np.flatnonzero(seconds > 0).tolist()
    ]
    return tuple(sorted(uses, key=lambda use: (-use.share, use.label, use.rule)))


def _plateaus(
    seconds: Floats, power: Floats | None, labels: NDArray[np.int8], weights: Floats
) -> tuple[PowerPlateau, ...]:
    """The levels at which power held the clock: one, or short-term ones and a long-term one."""
    if power is None:
        return ()
    left: Mask = (labels == CODE["power"]) & np.isfinite(power) & (power > 0)
    all_seconds = float(weights[left].sum())
    least = max(0.02 * all_seconds, 5.0 * float(np.median(weights))) if weights.size else 0.0
    # Levels on a logarithmic scale of 2 % a bin: power limits differ by more than that, ripple by less.
    bins = np.round(np.log(np.where(left, power, 1.0)) / 0.02).astype(np.int64)
    levels: list[tuple[float, Mask]] = []
    while left.any() and len(levels) < 4:
        codes, back = np.unique(bins[left], return_inverse=True)
        mode = int(codes[np.bincount(back, weights=weights[left]).argmax()])
        near = left & (np.abs(bins - mode) <= 2)
        left = left & (np.abs(bins - mode) > 3)
        if float(weights[near].sum()) >= least:
            levels.append((float(np.median(power[near])), near))
    total = float(weights.sum())
    lowest = min((watts for watts, _ in levels), default=0.0)
    made = []
    for watts, near in sorted(levels, key=lambda level: float(seconds[level[1]][0])):
        kind = "sustained" if len(levels) == 1 else "long-term" if watts == lowest else "short-term"
        at = seconds[near] / 60.0
        made.append(PowerPlateau(watts, float(at[0]), float(at[-1]), float(weights[near].sum() / total), kind))
    return tuple(made)


def _sentence(domain: str, shares: Mapping[str, float], main: str, confidence: float) -> str:
    name = domain.upper()
    if not any(shares.values()):
        return f"{name}: no samples."
    parts = [
        f"{LABEL_SAYS[label]} {shares[label]:.0%}"
        for label in sorted(shares, key=lambda key: -shares[key])
        if shares[label] >= 0.005
    ]
    text = f"{name}: " + ", ".join(parts) + " of the time"
    return f"{text} ({sureness(confidence)} confidence in '{LABEL_SAYS[main]}')." if main != "unknown" else f"{text}."
