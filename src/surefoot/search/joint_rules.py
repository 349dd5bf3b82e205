"""The safety rules where several knobs are off stock at once: those of `rules.py`, of settings and not of depths.

A setting is *no deeper* than another when no knob is; it is *shallower* when besides one knob is shallower. Each knob
obeys `rules.py` on its own evidence too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from surefoot.search.joint_setting import ROUNDING, within
from surefoot.search.rules import SHORTEST_HOLD_MINUTES
from surefoot.search.run_evidence import CountedRun
from surefoot.units import Knob


def holds(item: CountedRun) -> bool:
    """Whether a run counts as held for the rules: it passed and lasted a minute under load."""
    return not item.failed and item.minutes >= SHORTEST_HOLD_MINUTES - ROUNDING


def unanswered(counted: Sequence[CountedRun]) -> CountedRun | None:
    """The last failed setting since which nothing shallower than it has held, or None."""
    held_since: list[CountedRun] = []
    for item in reversed(counted):
        if holds(item):
            held_since.append(item)
        elif item.failed and not any(shallower(since, item) for since in held_since):
            return item
    return None


def shallower(one: CountedRun, other: CountedRun) -> bool:
    """Whether a run's setting was no deeper than another's in any knob, and shallower in one."""
    return within(one, other.depths) and any(
        one.depths[name] < depth - ROUNDING for name, depth in other.depths.items()
    )


def brought_up(
    depths: Mapping[str, float], counted: Sequence[CountedRun], knobs: Mapping[str, Knob], failed: CountedRun
) -> dict[str, float]:
    """What may be run while ``failed`` is unanswered: ``depths`` where one setting at least so deep held as a whole,
    else the deepest setting that answers it.

    An answer is shallower than the failure, no deeper than a setting that held, and on whole steps; of several the one
    that leaves most of the wanted depths, counted in shares of each knob's limit. Stock always is one.
    """
    wanted = {name: depths.get(name, 0.0) for name in knobs}
    kept = [item for item in counted if holds(item)]
    if any(all(item.depths[name] >= depth - ROUNDING for name, depth in wanted.items()) for item in kept):
        return dict(depths)
    best = dict.fromkeys(knobs, 0.0)
    most = 0.0
    for item in kept:
        left = {
            name: _whole(knobs[name], min(depth, item.depths[name], failed.depths[name]))
            for name, depth in wanted.items()
        }
        if all(left[name] >= failed.depths[name] - ROUNDING for name in left):
            options = [{**left, name: left[name] - knobs[name].step} for name in left if left[name] > 0]
        else:
            options = [left]
        for option in options:
            share = sum(option[name] / knobs[name].limit for name in option)
            if share > most + ROUNDING:
                best, most = option, share
    return {name: depth for name, depth in best.items() if depth > 0 or name in depths}


def ceilings(
    counted: Sequence[CountedRun], knobs: Mapping[str, Knob], strides: Mapping[str, float]
) -> dict[str, float]:
    """By knob, the deepest whole step that a stride past the deepest that held in any run reaches, within its limit."""
    found: dict[str, float] = {}
    for name, knob in knobs.items():
        deepest = max((item.depths[name] for item in counted if holds(item)), default=0.0)
        found[name] = min(_whole(knob, deepest + strides[name]), knob.deepest)
    return found


def _whole(knob: Knob, depth: float) -> float:
    return int(depth / knob.step + ROUNDING) * knob.step
