"""The search's sentences: the one place where a claim, a chance and what both rest on are worded."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from surefoot.runs import Run
from surefoot.search.evidence import Certificate, Evidence, Goal
from surefoot.search.lent import Lent
from surefoot.search.own_evidence import SENSIBLE_MINUTES, SENSIBLE_RUNS, Doubt
from surefoot.search.rests import Rests
from surefoot.units import Knob, Setting, Unit

BEYOND = "beyond what the model tells"

MOSTLY_USE = 0.5
"""A claim with a greater share of its hours from ordinary use says which load it is a claim of."""


def percent(chance: float) -> str:
    """A chance as a percentage that is never 0 or 100: ``under 1 %``, ``12 %``, ``over 99 %``."""
    if chance < 0.01:
        return "under 1 %"
    if chance > 0.99:
        return "over 99 %"
    return f"{chance * 100:.0f} %"


def chance_words(chance: float) -> str:
    """The chance that a run fails, never said to be none: ``chance to fail 12 %``, ``chance to fail under 1 %``."""
    return f"chance to fail {percent(chance)}"


def at_least(hours: float) -> str:
    """A lower bound in hours, rounded down to three figures and never to 0: 138.55 is ``138``, 0.6199 is ``0.619``."""
    if not math.isfinite(hours):
        return BEYOND
    if hours < 0.001:
        return "under 0.001"
    digits = 2 - math.floor(math.log10(hours))
    # The nudge keeps 0.57 from becoming 0.569 by binary rounding.
    down = math.floor(hours * 10**digits * (1 + 1e-12)) / 10**digits
    return f"{down:,.{max(digits, 0)}f}".rstrip("0").rstrip(".") if digits > 0 else f"{down:,.0f}"


def length(hours: float) -> str:
    """A time held: ``12 min``, ``2.5 h``."""
    return f"{hours * 60:.0f} min" if hours < 1 else f"{hours:.3g} h"


def counted(number: int, noun: str) -> str:
    """``no failure``, ``1 failure``, ``3 failures``."""
    return f"{number or 'no'} {noun}{'' if number in (0, 1) else 's'}"


def claim_text(known: Certificate | None, knob: Knob, goal: Goal) -> str:
    """What may be claimed of one knob, in short. A certificate of stock itself claims nothing of the knob."""
    if known is None or known.depth <= 0:
        return nothing_known(goal)
    return (
        f"{knob.describe(known.depth)} is certified: on average at least {goal.mttf_hours:g} h of load between "
        f"failures, at {known.confidence:.0%} confidence."
    )


def nothing_known(goal: Goal) -> str:
    """That nothing is certified. Of stock it says nothing: that is claimed on its own hours alone (known.py)."""
    return f"Nothing off stock is known to hold for {goal.mttf_hours:g} h of load at {goal.confidence:.0%} yet."


def likely_words(unit: Unit, likely: Mapping[str, float]) -> str:
    """What is likely, where nothing is certified; "" when that is stock."""
    deep = {name: depth for name, depth in likely.items() if depth > 0}
    if not deep:
        return ""
    where = " and ".join(f"{name} {unit.knob(name).describe(depth)}" for name, depth in deep.items())
    return (
        f"Likely, and no more than that: {where}. A certificate asks for {SENSIBLE_MINUTES:g} min held there or "
        f"deeper in {SENSIBLE_RUNS} runs, and for the model's word on them."
    )


def claim_sentence(
    unit: Unit, setting: Setting, confidence: float, rests: Rests, likely: Mapping[str, float], together: bool | None
) -> str:
    """The claim for a setting in one sentence: on average, both figures, and what is likely beyond it.

    ``together``: whether all tuned knobs were held at once, None where there is one only.
    """
    where = setting.describe(unit)
    parts = [f"{where} is certified: {_average(rests)} at {confidence:.0%} confidence", _figures(rests, bool(together))]
    if rests.use_share > MOSTLY_USE:
        parts.append(
            "most of its hours are your use, so it is a claim per hour of such load: a harder one may fail sooner"
        )
    if together is False:
        parts.append("the knobs were never held together")
    deeper = [f"{name} to {unit.knob(name).describe(depth)}" for name, depth in likely.items()]
    if len(unit.leaders()) == 1:
        deeper = [f"good to {unit.knob(name).describe(depth)}" for name, depth in likely.items()]
    if deeper:
        parts.append(f"likely {' and '.join(deeper)}, which longer runs or use would show")
    return "; ".join(parts) + "."


def lent_sentence(unit: Unit, setting: Setting, without: Setting | None, lent: Lent) -> str:
    """What a pool lends to a claim, and what would be certified without it."""
    priors = dict(lent.priors)
    units = " and ".join(f"{name} {counted(prior.units, 'unit')} of {prior.group}" for name, prior in priors.items())
    said = f"Lent by the pool {lent.pool}: {units}"
    if without is None:
        return f"{said}. Without it nothing would be certified yet."
    if without == setting:
        return f"{said}. Without it the same setting would be certified."
    return f"{said}. Without it {without.describe(unit)} would be certified."


def strategy_sentence(unit: Unit, setting: Setting, strategy: str, confidence: float, rests: Rests) -> str:
    """What another strategy than the product's own recommends, and what the runs bear out of it."""
    return (
        f"{setting.describe(unit)}: what the rule of the {strategy} recommends; by the runs, {_average(rests)} "
        f"at {confidence:.0%} confidence; {_figures(rests)}."
    )


def stock_sentence(confidence: float, rests: Rests) -> str:
    """Stock as the known-stable setting."""
    return (
        f"Stock, nothing tuned: {length(rests.hours)} of load without a failure bear out, on average, at least "
        f"{at_least(rests.alone_mttf_hours)} h between failures at {confidence:.0%} confidence."
    )


def _average(rests: Rests) -> str:
    if rests.beyond:
        return f"on average more hours of load between failures than the model can tell ({at_least(rests.mttf_hours)})"
    return f"on average at least {at_least(rests.mttf_hours)} h of load between failures"


def _figures(rests: Rests, together: bool = False) -> str:
    """What the hours alone bear out and what is added to them."""
    failures = f" with {counted(rests.failures, 'failure')} there or shallower" if rests.failures else ""
    if rests.hours <= 0:
        return "no hours were held so deep in every part at once, all of it is the model's word"
    held = "held together" if together else "held"
    text = f"the {length(rests.hours)} {held} there or deeper{failures} bear out {at_least(rests.alone_mttf_hours)} h"
    if rests.use_hours * 60 >= 0.5:
        text += f" ({length(rests.use_hours)} of them, {percent(rests.use_share)}, ordinary use)"
    if rests.without_pool_mttf_hours is not None:
        model = at_least(rests.without_pool_mttf_hours)
        if rests.without_pool_mttf_hours >= rests.mttf_hours * 0.99:
            return f"{text} by themselves, the model claims {model} h of them, a pool of such units lends nothing to it"
        return f"{text} by themselves, the model would claim {model} h of them, a pool of such units lends the rest"
    if rests.alone_mttf_hours >= rests.mttf_hours * 0.99:
        return text + " by themselves"
    return text + " by themselves, the model adds the rest"


def hours_sentences(unit: Unit, rests: Mapping[str, Rests]) -> tuple[str, ...]:
    """For each knob what was held, under which load, and what checked it."""
    found = []
    for name, one in rests.items():
        if not one.by_load:
            found.append(f"{name}: nothing was held so deep under a load that bears on it.")
            continue
        parts = [
            f"{length(under.hours)} under {under.load} ({under.checked_by}, {counted(under.runs, 'run')})"
            for under in one.by_load
        ]
        found.append(f"{name}: held there or deeper {', '.join(parts)}.")
    return tuple(found)


def hours_words(rests: Rests) -> str:
    """The hours claimed, short, for a table: ``138 h``, or that they lie beyond what the model tells."""
    return BEYOND if rests.beyond else f"{at_least(rests.mttf_hours)} h"


def edge_sentences(
    unit: Unit, certificates: Mapping[str, Certificate], evidence: Mapping[str, Sequence[Evidence]]
) -> tuple[str, ...]:
    """For each knob how far the claim stands back from the estimated edge, and on how many failures that rests."""
    found = []
    for name, one in certificates.items():
        if not math.isfinite(one.edge_depth):
            continue
        knob = unit.knob(name)
        failures = failed_from(knob, evidence.get(name, ()))
        side = "past" if one.guard_band >= 0 else "short of"
        found.append(
            f"{name}: the edge, one failure an hour, is put at {knob.describe(round(one.edge_depth))}, "
            f"{abs(one.guard_band):.3g} {knob.unit} {side} it; {failures or 'nothing has failed yet'}."
        )
        told = max((piece.depth for piece in evidence.get(name, ()) if piece.told), default=0.0)
        if not failures and told > one.depth + 1e-9:
            found.append(
                f"{name}: of what was told by hand nothing failed, so the claim keeps clear of the deepest of it "
                f"({knob.describe(told)}), as if its failure had been forgotten."
            )
    return tuple(found)


def failed_from(knob: Knob, evidence: Sequence[Evidence]) -> str:
    """Where failures begin and on how many runs that rests, or "" when nothing failed."""
    failed = [piece.depth for piece in evidence if piece.failed]
    if not failed:
        return ""
    first = min(failed)
    there = sum(depth <= first + 1e-9 for depth in failed)
    text = f"failed from {knob.describe(first)} on ({counted(there, 'run')}"
    deeper = len(failed) - there
    return text + (f" there, {deeper} deeper)" if deeper else ")")


def doubt_words(knob: Knob, doubt: Doubt, run: Run, against: Sequence[int] = ()) -> str:
    """A run that is not believed, why, and what to do about it. ``against``: numbers of the failed runs."""
    text = f"Run {run.id} ({knob.name} {knob.describe(doubt.depth)}, held {run.minutes:g} min) is not believed: "
    if doubt.why == "limit":
        text += f"the card's limit is {knob.describe(knob.limit)}"
    elif doubt.why == "leap":
        text += f"nothing else held past {knob.describe(doubt.against)}"
    else:
        runs = ", ".join(str(number) for number in against)
        word = "run" if len(against) == 1 else "runs"
        text += f"{word} {runs} failed, from {knob.describe(doubt.against)} on" if against else "shallower runs failed"
    if doubt.why == "limit":
        return text + ". If it is a slip, amend or void it."
    return text + ". If it is a slip, amend or void it; if not, hold something near it again."


def step_back_words(knobs: Mapping[str, Knob], back: Mapping[str, float]) -> str:
    """Which knobs were stepped back and by how much, or ""."""
    return " and ".join(f"{name} by {by:g} {knobs[name].unit}" for name, by in back.items())
