"""The safety rules: separate from all arithmetic, applied last, to every strategy and at every door alike.

One set of rules, for settings. A setting is *no deeper* than another when no knob is, and *shallower* when besides one
knob is shallower; one knob is the case of one. A run counts as held for a rule when it passed and lasted at least a
minute under load. Runs are in the order in which they were made.

`allowed` and `enforce` are the rules for one knob's proposals, `ceilings`, `unanswered` and `cut_back` for settings of
several, and `refusal` says for any door (a session, a measurement, a recall) why a setting may not be held now.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol, TypeVar

from surefoot.errors import BadInput
from surefoot.runs import Run
from surefoot.search.evidence import Evidence, Goal, Proposal
from surefoot.search.joint_goal import goal_in_unit
from surefoot.search.own_evidence import SHORTEST_HOLD_MINUTES, deepest_believed
from surefoot.search.run_evidence import CountedRun, read_runs
from surefoot.units import Conditions, Knob, Setting, Unit

ROUNDING = 1e-9


class Seen(Protocol):
    """A run as the rules see it: the depth of each knob, minutes under load, and whether it failed."""

    @property
    def depths(self) -> Mapping[str, float]: ...
    @property
    def minutes(self) -> float: ...
    @property
    def failed(self) -> bool: ...


SeenT = TypeVar("SeenT", bound=Seen)


@dataclass(frozen=True, slots=True)
class _OneKnob:
    """A piece of one knob's evidence as the rules see it."""

    depths: Mapping[str, float]
    minutes: float
    failed: bool


@dataclass(frozen=True, slots=True)
class Allowed:
    """What the rules allow next.

    ``ceiling``: the deepest depth that may be run, a whole step; ``why``: the rule that sets it, in words;
    ``stop``: ``faulty``, ``failures`` or "" when a run is allowed.
    """

    ceiling: float
    why: str
    stop: str = ""


def held(piece: Evidence | Seen) -> bool:
    """Whether a run counts as held for the rules: it passed and lasted a minute under load."""
    return not piece.failed and piece.minutes >= SHORTEST_HOLD_MINUTES - ROUNDING


def at_stock(item: Seen) -> bool:
    """Whether every knob was at stock."""
    return all(depth <= ROUNDING for depth in item.depths.values())


def within(item: Seen, depths: Mapping[str, float]) -> bool:
    """Whether a run's setting was no deeper than ``depths`` in any knob; a knob not named is at stock."""
    return all(depth <= depths.get(name, 0.0) + ROUNDING for name, depth in item.depths.items())


def covers(item: Seen, depths: Mapping[str, float]) -> bool:
    """Whether a run's setting was at least as deep as ``depths`` in every knob."""
    return all(item.depths.get(name, 0.0) >= depth - ROUNDING for name, depth in depths.items())


def shallower(one: Seen, other: Seen) -> bool:
    """Whether a run's setting was no deeper than another's in any knob, and shallower in one."""
    return within(one, other.depths) and any(
        one.depths[name] < depth - ROUNDING for name, depth in other.depths.items()
    )


def unanswered(seen: Sequence[SeenT]) -> SeenT | None:
    """The last failed setting since which nothing shallower than it has held, or None."""
    held_since: list[SeenT] = []
    for item in reversed(seen):
        if held(item):
            held_since.append(item)
        elif item.failed and not any(shallower(since, item) for since in held_since):
            return item
    return None


def deepest_vouched(seen: Sequence[Seen], knob: Knob, stride: float) -> float:
    """The deepest that held in a knob, 0 when nothing has; not what its own failures contradict (own_evidence.py)."""
    pieces = tuple(
        Evidence(item.depths[knob.name], item.minutes, item.failed)
        for item in seen
        if held(item) or (item.failed and not any(depth for name, depth in item.depths.items() if name != knob.name))
    )
    return deepest_believed(knob, pieces, Goal(max_stride=stride), leaps=False) or 0.0


def vouched(seen: Sequence[SeenT], knobs: Mapping[str, Knob], strides: Mapping[str, float]) -> list[SeenT]:
    """The runs that held at a setting which is believed in every knob."""
    deepest = {name: deepest_vouched(seen, knob, strides[name]) for name, knob in knobs.items()}
    return [item for item in seen if held(item) and within(item, deepest)]


def ceilings(seen: Sequence[Seen], knobs: Mapping[str, Knob], strides: Mapping[str, float]) -> dict[str, float]:
    """By knob, the deepest whole step that a stride past the deepest that held in any run reaches, within its limit."""
    return {
        name: min(knob.whole(deepest_vouched(seen, knob, strides[name]) + strides[name]), knob.deepest)
        for name, knob in knobs.items()
    }


def cut_back(
    depths: Mapping[str, float], kept: Sequence[Seen], knobs: Mapping[str, Knob], failed: Seen
) -> dict[str, float]:
    """What may be run while ``failed`` is unanswered: ``depths`` where one setting at least so deep held as a whole,
    else the deepest setting that answers it. ``kept``: the runs that held (`vouched`).

    An answer is shallower than the failure, no deeper than a setting that held, and on whole steps; of several the one
    that leaves most of the wanted depths, counted in shares of each knob's limit. Stock always is one.
    """
    wanted = {name: depths.get(name, 0.0) for name in knobs}
    if any(covers(item, wanted) for item in kept):
        return dict(depths)
    best = dict.fromkeys(knobs, 0.0)
    most = 0.0
    for item in kept:
        left = {
            name: knobs[name].whole(min(depth, item.depths[name], failed.depths[name]))
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


def allowed(knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Allowed:
    """What may be run next on one knob, whatever a strategy would like."""
    seen = [_OneKnob({knob.name: piece.depth}, piece.minutes, piece.failed) for piece in evidence]
    if any(item.failed and at_stock(item) for item in seen):
        return Allowed(0.0, "it failed at stock", "faulty")
    failures = sum(item.failed for item in seen)
    if failures >= goal.max_failures:
        return Allowed(0.0, f"{failures} failures of {goal.max_failures} allowed are used up", "failures")
    if not any(held(item) and at_stock(item) for item in seen):
        return Allowed(0.0, "the first run is at stock")
    deepest = deepest_vouched(seen, knob, goal.max_stride)
    failed = unanswered(seen)
    if failed is not None and deepest < knob.deepest:
        why = f"nothing shallower than the failure at {knob.describe(failed.depths[knob.name])} has held since"
        return Allowed(knob.whole(deepest), why)
    ceiling = ceilings(seen, {knob.name: knob}, {knob.name: goal.max_stride})[knob.name]
    if deepest + goal.max_stride > knob.deepest:
        return Allowed(ceiling, f"the knob's limit of {knob.limit:g} {knob.unit}")
    return Allowed(ceiling, _past(knob, goal.max_stride, deepest))


def enforce(proposal: Proposal, knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Proposal:
    """The proposal made safe: stopped, or its depth cut back to the ceiling and to a whole step of the knob.

    A stop is never turned into a run.
    """
    rule = allowed(knob, evidence, goal)
    if rule.stop == "faulty" or (rule.stop and not proposal.stop):
        return Proposal(True, 0.0, 0.0, 0.0, f"Stop: {rule.why}.", why_stop=rule.stop, claim=proposal.claim)
    if proposal.stop:
        return proposal
    depth = knob.whole(max(proposal.depth, 0.0))
    if depth <= rule.ceiling + ROUNDING:
        return proposal if depth == proposal.depth else replace(proposal, depth=depth)
    reason = f"{proposal.reason.rstrip('.')}; cut back to {knob.describe(rule.ceiling)}: {rule.why}."
    return replace(proposal, depth=rule.ceiling, reason=reason)


def refusal(
    unit: Unit, runs: Iterable[Run], setting: Setting, goal: Goal, *, conditions: Conditions | None = None
) -> str | None:
    """Why a setting may not be held on a unit now, as one sentence, or None when no rule is against it.

    The card first: an unknown knob, the safe side of stock, past a knob's limit. Then the runs, as in a search: a fault
    at stock, no run at stock yet, further than a stride past the deepest that held in a knob, and deeper than anything
    that held while a failure is unanswered. Stock is never refused. A knob that is linked counts with its leader; the
    deeper of the two is judged. ``conditions``: runs under another firmware or driver are then no evidence.
    """
    try:
        every = unit.depths(setting)
    except BadInput as error:
        return str(error)
    for name, depth in every.items():
        knob = unit.knob(name)
        if depth > knob.limit + ROUNDING:
            return f"{name}: {knob.describe(depth)} is past the limit of {knob.describe(knob.limit)} on the card."
    wanted = {
        knob.name: max(every[knob.name], *(every[other.name] for other in unit.followers(knob.name)), 0.0)
        for knob in unit.leaders()
    }
    if not any(wanted.values()):
        return None
    counted = read_runs(unit, runs, conditions=conditions).counted
    return _by_the_runs(unit, counted, wanted, goal)


def _by_the_runs(unit: Unit, counted: Sequence[CountedRun], wanted: Mapping[str, float], goal: Goal) -> str | None:
    if any(item.failed and at_stock(item) for item in counted):
        return "It failed at stock, so it has a fault: nothing off stock is held on it."
    if not any(held(item) and at_stock(item) for item in counted):
        return "Nothing has held at stock yet: the first run is at stock."
    knobs = {knob.name: knob for knob in unit.leaders()}
    strides = {name: goal_in_unit(knob, goal).max_stride for name, knob in knobs.items()}
    for name, depth in wanted.items():
        deepest = deepest_vouched(counted, knobs[name], strides[name])
        if depth > deepest + strides[name] + ROUNDING:
            knob = knobs[name]
            return f"{name}: {knob.describe(depth)} is further than {_past(knob, strides[name], deepest)}."
    failed = unanswered(counted)
    if failed is not None and not any(covers(item, wanted) for item in vouched(counted, knobs, strides)):
        return (
            f"Nothing shallower than {failed.run.setting.describe(unit)}, which failed (run {failed.run.id}), has held "
            "since: hold something shallower first."
        )
    return None


def _past(knob: Knob, stride: float, deepest: float) -> str:
    return f"{stride:g} {knob.unit} past {knob.describe(deepest)}, the deepest that held"
