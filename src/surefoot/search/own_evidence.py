"""What a unit's own runs bear out, whatever a model makes of them: which are believed, how deep a claim may go.

A posterior will find some explanation for any history: three resets at 60 mV and a typed "held" at 300 are to it three
stray failures. A claim is therefore kept within rules that no arithmetic overrides, here in one place:

* a hold past the knob's limit, or a lone one far past everything else that held (a leap), or one far deeper than a
  failure (contradicted) is not believed: it is named, and supports nothing until other runs agree with it;
* a claim lies shallower than every failure, unless the hours held at least so deep bear the goal out by themselves with
  the failures counted (chi-square bound, bounds.py);
* a claim lies no deeper than what was held for `SENSIBLE_MINUTES` in `SENSIBLE_RUNS` runs, at that depth or deeper;
* of what somebody wrote down (``told``) no hold deeper than a failure bears a claim out, and where no failure is known
  (or none near what held) none within `CLEAR_DECADES` of the deepest: whoever steps down by hand stops at a failure,
  whose line may have been forgotten, left out or written down as held, and nothing in what remains says so.

Hours that bear the goal out by themselves need nobody's agreement.
"""

from __future__ import annotations

import math
from collections.abc import Container, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from surefoot.search.bounds import hours_to_claim, mttf_lower_bound
from surefoot.search.evidence import Evidence, Goal
from surefoot.search.prior import typical_per_decade
from surefoot.units import Knob

SENSIBLE_MINUTES = 5.0
"""Minutes under load that must have been held at a claimed depth or deeper. Below it a setting is likely, not known."""
SENSIBLE_RUNS = 2
"""Runs of a minute or more among them: one run alone may be a slip of the hand."""
SHORTEST_HOLD_MINUTES = 1.0
LEAP_DECADES = 8.0
"""How far past everything else that held a lone hold may lie, in typical depths per decade of hazard (40 mV)."""
APART_DECADES = 4.0
"""How far deeper than a failure a hold may lie before the two contradict each other, likewise (20 mV): between the two
the hazard grows a hundredfold even where edges are twice as soft as is typical."""
AGREE_DECADES = 1.0
"""Within so much of a failure a deeper hold still agrees with it: edges waver by that from run to run."""
CLEAR_DECADES = 4.0
"""How far a claim keeps off the deepest hold told by hand where no failure is known, likewise (20 mV): what held for
some minutes that far past an edge was very lucky, also where edges are soft."""
CLEAR_OF_NEXT = 2.0
"""And off the one next to it, since the deepest may be that failure itself."""
AT_ONCE_MINUTES = 1.0
"""A failure within so many minutes speaks for a hazard far above one an hour: the edge lies shallower."""
_ROUNDING = 1e-9

Why = Literal["limit", "leap", "failure"]


@dataclass(frozen=True, slots=True)
class Doubt:
    """A run whose minutes are not believed: ``at``, its place in the evidence; ``why``; ``against``: the depth it
    conflicts with: the knob's limit, the deepest other that held, or the shallowest failure."""

    at: int
    depth: float
    why: Why
    against: float


def _counts(piece: Evidence) -> bool:
    return not piece.failed and piece.minutes >= SHORTEST_HOLD_MINUTES - _ROUNDING


def hours_bear_out(hours: float, failures: int, goal: Goal) -> bool:
    """Whether so many hours held at a depth, with so many failures there or shallower, bear the goal by themselves."""
    if hours < hours_to_claim(goal.mttf_hours, goal.confidence) * (1.0 - 1e-9):
        return False
    return failures == 0 or mttf_lower_bound(hours, failures, goal.confidence) >= goal.mttf_hours


def leap(knob: Knob, goal: Goal) -> float:
    """How far past everything else that held a lone hold is believed, in the knob's unit."""
    return max(LEAP_DECADES * typical_per_decade(knob), goal.max_stride, knob.step)


def doubts(
    knob: Knob, evidence: Sequence[Evidence], goal: Goal, *, leaps: bool = True, apart: float = APART_DECADES
) -> tuple[Doubt, ...]:
    """The runs whose minutes under load are not believed and why, in the order of the evidence.

    ``leaps``: whether lone holds far past all others are among them; ``apart``: how far deeper than a failure a hold
    is no longer believed, in typical depths per decade. Of a failure only its time is doubted, never
    that it failed.
    """
    found: dict[int, Doubt] = {}
    first = _shallowest_failure(evidence)
    far = apart * typical_per_decade(knob)
    for at, piece in enumerate(evidence):
        if piece.depth > knob.limit + knob.step + _ROUNDING:
            found[at] = Doubt(at, piece.depth, "limit", knob.limit)
    # The deepest first: the hours of a run that is itself in doubt outweigh nothing.
    for at, piece in sorted(enumerate(evidence), key=lambda pair: -pair[1].depth):
        if at in found:
            continue
        if piece.depth > first + far + _ROUNDING and not _outlived(piece.depth, evidence, found, goal):
            found[at] = Doubt(at, piece.depth, "failure", first)
    if leaps:
        deepest, others = _deepest_borne_out(knob, evidence, found, goal)
        for at, piece in enumerate(evidence):
            if at not in found and piece.depth > deepest + leap(knob, goal) + _ROUNDING:
                found[at] = Doubt(at, piece.depth, "leap", others)
    return tuple(found[at] for at in sorted(found))


def _outlived(depth: float, evidence: Sequence[Evidence], out: Container[int], goal: Goal) -> bool:
    """Whether the hours held so deep bear the goal out by themselves, all failures counted."""
    held = (piece.minutes for at, piece in enumerate(evidence) if at not in out and _held(piece, depth))
    return hours_bear_out(sum(held) / 60.0, sum(piece.failed for piece in evidence), goal)


def _held(piece: Evidence, depth: float) -> bool:
    return not piece.failed and piece.depth >= depth - _ROUNDING


def _deepest_borne_out(
    knob: Knob, evidence: Sequence[Evidence], out: Container[int], goal: Goal
) -> tuple[float, float]:
    """The deepest hold of a minute that another run is near enough to bear out, twice: as a bound and for naming.

    Another hold not much shallower will do, stock's own, or a failure not much deeper: they were at work there.
    """
    most = leap(knob, goal)
    failed = [piece.depth for at, piece in enumerate(evidence) if at not in out and piece.failed]
    depths = sorted(piece.depth for at, piece in enumerate(evidence) if at not in out and _counts(piece))
    while depths:
        depth = depths.pop()
        # Not with the hours of a hold so much deeper that it would itself be a leap.
        hours = (
            sum(
                piece.minutes
                for at, piece in enumerate(evidence)
                if at not in out and _held(piece, depth) and piece.depth <= depth + most + _ROUNDING
            )
            / 60.0
        )
        near = depth - (depths[-1] if depths else 0.0) <= most + _ROUNDING
        near = near or any(depth - _ROUNDING <= other <= depth + most + _ROUNDING for other in failed)
        if near or hours_bear_out(hours, 0, goal):
            return depth, depth
    return 0.0, 0.0


def believed(
    knob: Knob, evidence: Sequence[Evidence], goal: Goal, *, leaps: bool = True, apart: float = APART_DECADES
) -> tuple[Evidence, ...]:
    """The evidence without the holds that are not believed; a failure in their place counts, its time does not."""
    out = {doubt.at for doubt in doubts(knob, evidence, goal, leaps=leaps, apart=apart)}
    return tuple(
        replace(piece, timed=False) if at in out else piece
        for at, piece in enumerate(evidence)
        if at not in out or piece.failed
    )


def agreeing(knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> tuple[Evidence, ...]:
    """The evidence that agrees with every failure: without the holds deeper than one (by more than `AGREE_DECADES`).

    Such a hold may be luck, or a slip. A claim must stand with it and without it (certificate.py). One that was told
    by hand agrees with no shallower failure at all.
    """
    trusted = believed(knob, evidence, goal, apart=AGREE_DECADES)
    first = _shallowest_failure(trusted)
    return tuple(
        piece
        for piece in trusted
        if piece.failed
        or not piece.told
        or piece.depth <= first + _ROUNDING
        or _outlived(piece.depth, trusted, (), goal)
    )


def deepest_believed(knob: Knob, evidence: Sequence[Evidence], goal: Goal, *, leaps: bool = True) -> float | None:
    """The deepest depth that held for a minute and is believed, or None when nothing has."""
    return max((piece.depth for piece in believed(knob, evidence, goal, leaps=leaps) if _counts(piece)), default=None)


def below_failures(knob: Knob, trusted: Sequence[Evidence], goal: Goal) -> float:
    """The deepest whole step that no failure speaks against, inf where nothing failed. ``trusted``: see `believed`."""
    failed = sorted({piece.depth for piece in trusted if piece.failed})
    held = sorted({piece.depth for piece in trusted if not piece.failed}, reverse=True)
    if not failed:
        return math.inf
    for depth in held:
        if depth < failed[0] - _ROUNDING:
            break
        hours = sum(piece.minutes for piece in trusted if not piece.failed and piece.depth >= depth - _ROUNDING) / 60.0
        failures = sum(piece.failed and piece.depth <= depth + _ROUNDING for piece in trusted)
        if hours_bear_out(hours, failures, goal):
            return depth
    return (math.ceil(failed[0] / knob.step - _ROUNDING) - 1) * knob.step


def sensibly_held(trusted: Iterable[Evidence]) -> float | None:
    """The greatest depth at which or deeper `SENSIBLE_MINUTES` were held in `SENSIBLE_RUNS` runs, or None."""
    minutes, runs = 0.0, 0
    for depth, held in sorted(((piece.depth, piece.minutes) for piece in trusted if _counts(piece)), reverse=True):
        minutes, runs = minutes + held, runs + 1
        if minutes >= SENSIBLE_MINUTES - _ROUNDING and runs >= SENSIBLE_RUNS:
            return depth
    return None


def claim_ceiling(knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> float | None:
    """The deepest depth that may be claimed on the unit's own runs, whatever the model; None when nothing may."""
    trusted = believed(knob, evidence, goal)
    agreed = agreeing(knob, evidence, goal)
    sensible = sensibly_held(agreed)
    if sensible is None:
        return None
    reach = _told_reach(knob, agreed, goal)
    if sensible > reach:
        # What was seen to hold needs nobody's word.
        seen = sensibly_held(piece for piece in agreed if not piece.told)
        sensible = max(reach, seen) if seen is not None else reach
    return min(sensible, below_failures(knob, trusted, goal), knob.deepest)


def likely_ceiling(knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> float:
    """The deepest depth that may be called likely: one where the unit was seen to hold for a minute, or deeper.

    What the model makes of depths that nothing ever held at is its prior, and no word on this unit.
    """
    agreed = agreeing(knob, evidence, goal)
    held = [piece for piece in agreed if _counts(piece)]
    reach = _told_reach(knob, agreed, goal)
    deepest = max((piece.depth if not piece.told else min(piece.depth, reach) for piece in held), default=0.0)
    return max(0.0, min(deepest, below_failures(knob, believed(knob, evidence, goal), goal), knob.deepest))


def _told_reach(knob: Knob, agreed: Sequence[Evidence], goal: Goal) -> float:
    """The depth to which holds told by hand bear a claim out, inf where a failure says where they ended."""
    told = sorted({piece.depth for piece in agreed if piece.told and not piece.failed}, reverse=True)
    # A failure told far past all that held hides where it really failed.
    if not told or _shallowest_failure(agreed) <= told[0] + leap(knob, goal) + _ROUNDING:
        return math.inf
    decade = typical_per_decade(knob)
    # The deepest may itself be the failure, written down as held.
    clear = min(told[0] - CLEAR_DECADES * decade, [*told, 0.0][1] - CLEAR_OF_NEXT * decade)
    return max((depth for depth in told if _outlived(depth, agreed, (), goal)), default=clear)


def _shallowest_failure(evidence: Iterable[Evidence]) -> float:
    return min((piece.depth for piece in evidence if piece.failed), default=math.inf)
