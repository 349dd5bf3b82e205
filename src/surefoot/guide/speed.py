"""Speed is evidence: whether a run that completed had lost score against shallower runs of the same load."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from surefoot.runs import Outcome, Run, RunPlan
from surefoot.units import Setting, Unit

BATCHES: Final = 8
"""Neighbouring rates go up and down together; means of batches are nearly independent (batch means, Law and Kelton,
Simulation Modeling and Analysis, from memory), which is what Welch's test needs."""

LEAST_FALL: Final = 0.01
"""A smaller fall is not acted on: clocks and background work move the score as much (common practice, no source)."""

CONFIDENCE: Final = 0.99
LEAST_RATES: Final = 4


def batch_means(rates: Sequence[float], batches: int = BATCHES) -> list[float]:
    """Means of ``batches`` equal stretches of the rates, the first tenth (warm-up) left out; fewer when short."""
    kept = np.asarray(rates[len(rates) // 10 :], dtype=float)
    return [float(part.mean()) for part in np.array_split(kept, min(batches, kept.size)) if part.size]


def lost_score(
    unit: Unit,
    plan: RunPlan,
    rates: Sequence[float],
    earlier: Sequence[Run],
    detail: Mapping[str, Any] | None = None,
) -> str | None:
    """In words, how much speed a run that completed lost against the last shallower run that held, or None.

    ``detail``: what the load said at its end. A worker that lost pace against its fellows is told first; and only runs
    whose kernels were sized alike are compared, because a load that sizes itself to the card may choose otherwise.

    Only for a setting that moves a clock knob, under the same load and power mode, by Welch's test on batch means of
    the rate of verified work: significant at 99 % and a fall of at least 1 %.
    """
    if not any(knob.is_clock and plan.setting.value(knob.name) for knob in unit.knobs):
        return None
    said = dict(detail or {})
    if lost := said.get("lost_pace"):
        return "pace was lost within the run: " + ", ".join(f"{where} to {share:.0%}" for where, share in lost.items())
    before = [
        found
        for other in earlier
        if other.outcome is Outcome.HELD
        and other.plan.load == plan.load
        and other.plan.conditions.power_mode == plan.conditions.power_mode
        and _shallower(unit, other.setting, plan.setting)
        and _sizes(other.closing.detail if other.closing else {}) == _sizes(said)
        and len(found := _rates(other)) >= LEAST_RATES
    ]
    if len(rates) < LEAST_RATES or not before:
        return None
    from surefoot.scores.means import welch

    reference = batch_means(before[-1])
    difference = welch(batch_means(rates), reference, confidence=CONFIDENCE)
    base = float(np.mean(reference))
    fall = -difference.difference / base if base else 0.0
    if difference.high < 0 and fall >= LEAST_FALL:
        return f"verified work per second fell by {fall:.1%} (Welch, p {difference.p_value:.2g})"
    return None


def _sizes(detail: Mapping[str, Any]) -> Any:
    loads = detail.get("loads", {})
    return [detail.get("graphics_sizes"), *(one.get("graphics_sizes") for one in loads.values())]


def _rates(run: Run) -> list[float]:
    return list(run.closing.detail.get("rates", [])) if run.closing else []


def _shallower(unit: Unit, one: Setting, other: Setting) -> bool:
    """Whether no clock of the first is above that of the second, and some clock is below."""
    pairs = [(abs(one.value(knob.name)), abs(other.value(knob.name))) for knob in unit.knobs if knob.is_clock]
    return all(a <= b for a, b in pairs) and any(a < b for a, b in pairs)
