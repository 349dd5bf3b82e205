"""What to try next on a unit of several knobs: each knob by itself, then all of them held together."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from surefoot.errors import BadInput
from surefoot.runs import Run
from surefoot.search.api import next_step
from surefoot.search.evidence import Certificate, Goal, Proposal
from surefoot.search.joint import JointPosterior
from surefoot.search.joint_goal import goal_in_unit
from surefoot.search.joint_setting import SteppedBack, joint_minutes, own_certificates, step_back
from surefoot.search.known import from_parts
from surefoot.search.payoff import Turn, payoff_order
from surefoot.search.rules import ROUNDING, ceilings, covers, cut_back, held, unanswered, vouched
from surefoot.search.run_evidence import CountedRun, RunsRead, plain_evidence, read_runs
from surefoot.units import Conditions, Knob, Setting, Unit

JOINT_MINUTES = 30.0
"""How long the joint setting is held before it is called known: interactions that the sum of hazards does not know
(a shared supply, a shared heat sink) with an MTTF below 13 min would show in it with 90 % (30 / ln 10)."""
JOINT_SHARE = 0.25
"""Of a goal of few hours, the share of its MTTF that the joint setting is held for at most."""
ANSWER_MINUTES = 4.0
"""Length of the run that answers a failure by holding something shallower."""


@dataclass(frozen=True, slots=True)
class Step:
    """The next run on a unit, or the stop.

    ``knob``: under search, "" for a joint run; ``purpose``: ``search`` or ``joint``; ``setting``: for every knob,
    linked ones moved along; ``minutes``: under load (0 when stopping); ``failure_chance``: that the run fails, other
    knobs included; ``reason``: one sentence with its numbers; ``claim``: what may be claimed now; ``settles``: what
    the run will settle; ``proposal``: of the knob under search, with its alternatives. ``why_stop``: ``certified``,
    ``limit``, ``failures``, ``worth``, ``faulty`` or "". ``load``: the load that it should be held under, "" when any
    that exercises the knobs will do; ``left_out``: in words, the runs that do not count; ``turns``: the knobs still to
    search, in the order in which that pays.
    """

    stop: bool
    why_stop: str
    knob: str
    purpose: str
    setting: Setting
    minutes: float
    failure_chance: float
    reason: str
    claim: str = ""
    settles: str = ""
    proposal: Proposal | None = None
    load: str = ""
    left_out: tuple[str, ...] = ()
    turns: tuple[Turn, ...] = ()


@dataclass(frozen=True, eq=False)
class _Bench:
    """All that a decision needs, worked out once."""

    unit: Unit
    goal: Goal
    strategy: str
    read: RunsRead
    searched: tuple[Knob, ...]
    named: bool
    joint: JointPosterior
    own: Mapping[str, Certificate]

    @property
    def counted(self) -> tuple[CountedRun, ...]:
        return self.read.counted

    @property
    def knobs(self) -> dict[str, Knob]:
        return {knob.name: knob for knob in self.unit.leaders()}

    @property
    def certified(self) -> dict[str, float]:
        """Depth of each knob's own certificate, those off stock only."""
        return {name: known.depth for name, known in self.own.items()}

    def proposal(self, knob: Knob) -> Proposal:
        evidence = plain_evidence(self.counted, knob.name, self.joint.most_blamed())
        return next_step(knob, evidence, goal_in_unit(knob, self.goal), strategy=self.strategy)

    def target(self) -> SteppedBack:
        return step_back(self.knobs, self.certified, self.counted, self.joint, self.goal, strategy=self.strategy)

    def claim(self, target: SteppedBack | None = None) -> str:
        target = target or self.target()
        known = from_parts(self.unit, self.read, self.goal, self.joint, self.own, target, self.strategy)
        if known is None:
            return f"Nothing is known to hold for {self.goal.mttf_hours:g} h of load at {self.goal.confidence:.0%} yet."
        return known.says


def plan(
    unit: Unit,
    runs: Iterable[Run],
    goal: Goal,
    *,
    knobs: Sequence[str] | None = None,
    strategy: str = "posterior",
    conditions: Conditions | None = None,
) -> Step:
    """The next run on a unit, or the stop. Pure: the same runs give the same step.

    One stock run first, which counts for every knob. Then each knob is searched with the others at their own certified
    depth, in order of what pays: voltage offsets before clocks of the same part, then the greatest expected gain, as a
    share of the knob's limit, per expected bench hour; a search once begun goes on until it stops. Then all are held
    together at the joint setting (`joint_setting.py`), no deeper in any knob than its own certified depth. A failure at
    stock stops everything: the unit has a fault. ``knobs``: names of those to search (None: all that are not linked);
    the others stay at their certified depth. Raises BadInput for an unknown or linked knob, or a unit without any.
    """
    searched = _searched(unit, knobs)
    read = read_runs(unit, runs, conditions=conditions)
    joint = JointPosterior(unit.leaders(), read.counted, goal)
    own = own_certificates(unit.leaders(), read.counted, joint, goal, strategy)
    bench = _Bench(unit, goal, strategy, read, searched, knobs is not None, joint, own)
    return replace(_next(bench), left_out=read.sentences())


def joint_minutes_for(goal: Goal) -> float:
    """How long the joint setting is held before it is called known, minutes under load."""
    return min(JOINT_MINUTES, JOINT_SHARE * goal.mttf_hours * 60.0)


def _next(bench: _Bench) -> Step:
    if any(item.failed and item.at_stock for item in bench.counted):
        return _stop(
            "faulty", "Stop: it failed at stock, so it has a fault and is not tuned.", "Nothing: it is faulty."
        )
    if not any(item.at_stock and held(item) for item in bench.counted):
        return _stock(bench)
    stops: dict[str, Proposal] = {}
    turns = _order(bench)
    for at, turn in enumerate(turns):
        knob = bench.knobs[turn.knob]
        proposal = bench.proposal(knob)
        if proposal.stop:
            stops[knob.name] = proposal
            continue
        return replace(_search(bench, knob, proposal), turns=tuple(turns[at:]))
    return _together(bench, stops)


def _searched(unit: Unit, names: Sequence[str] | None) -> tuple[Knob, ...]:
    if not unit.leaders():
        raise BadInput("the card has no knobs, so there is nothing to tune.", where=f"unit {unit.name!r}")
    if names is None:
        return unit.leaders()
    for name in names:
        knob = unit.knob(name)
        if knob.linked_to is not None:
            raise BadInput(
                f"knob {name!r} moves with {knob.linked_to!r}.",
                where=f"unit {unit.name!r}",
                remedy=f"Search {knob.linked_to!r} instead.",
            )
    if not names:
        raise BadInput("no knob was named.", where=f"unit {unit.name!r}", remedy="Name at least one, or leave it out.")
    return tuple(knob for knob in unit.leaders() if knob.name in names)


def _stock(bench: _Bench) -> Step:
    """The first run: stock, which counts for every knob."""
    turns = _by_payoff(bench, bench.searched)
    knob = bench.knobs[turns[0].knob]
    proposal = next_step(knob, (), goal_in_unit(knob, bench.goal), strategy=bench.strategy)
    return Step(
        stop=False,
        why_stop="",
        knob=knob.name,
        purpose="search",
        setting=Setting(),
        minutes=max(proposal.minutes, 1.0),
        failure_chance=proposal.failure_chance,
        reason=proposal.reason,
        claim=bench.claim(),
        settles=proposal.settles or "Whether the unit is sound as it came.",
        proposal=proposal,
        load=_load(bench, (knob.name,)),
        turns=tuple(turns),
    )


def _order(bench: _Bench) -> list[Turn]:
    """The knobs still to search: the one under search first, then by what pays.

    A knob that has been held together with others after its own search is done with: what its joint runs say moves the
    joint setting, and does not open its search again, unless the user names it.
    """
    begun: set[str] = set()
    done: set[str] = set()
    for item in bench.counted:
        if item.run.plan.purpose == "joint":
            done |= {one for one in begun if item.depths[one] > 0}
        elif (name := item.run.plan.knob) is not None and name in item.depths:
            begun.add(name)
    order = _by_payoff(bench, [knob for knob in bench.searched if bench.named or knob.name not in done])
    names = {turn.knob for turn in order}
    last = next(
        (
            item.run.plan.knob
            for item in reversed(bench.counted)
            if item.run.plan.purpose == "search" and item.run.plan.knob in names and not item.at_stock
        ),
        None,
    )
    return sorted(order, key=lambda turn: turn.knob != last)


def _by_payoff(bench: _Bench, knobs: Sequence[Knob]) -> list[Turn]:
    return payoff_order(knobs, bench.joint, bench.counted, bench.certified, bench.goal)


def _search(bench: _Bench, knob: Knob, proposal: Proposal) -> Step:
    """One run of a knob's search, the others at their certified depth."""
    others = {name: depth for name, depth in bench.certified.items() if name != knob.name}
    wanted = {**others, knob.name: proposal.depth}
    depths, note = _safe(bench, wanted)
    minutes = proposal.minutes
    if depths != wanted and abs(depths.get(knob.name, 0.0) - proposal.depth) > ROUNDING:
        minutes = min(minutes, ANSWER_MINUTES)
    staying = ", ".join(
        f"{name} at {bench.knobs[name].describe(depth)}"
        for name, depth in depths.items()
        if name != knob.name and depth
    )
    reason = proposal.reason if len(bench.unit.leaders()) == 1 else f"{knob.name}: {proposal.reason}"
    if staying:
        reason = f"{reason.rstrip('.')}; {staying} meanwhile."
    if note:
        reason = f"{reason.rstrip('.')}; {note}."
    return Step(
        stop=False,
        why_stop="",
        knob=knob.name,
        purpose="search",
        setting=bench.unit.setting_at(depths),
        minutes=minutes,
        failure_chance=_chance(bench, depths, minutes),
        reason=reason,
        claim=bench.claim(),
        settles=proposal.settles,
        proposal=proposal,
        load=_load(bench, (knob.name,)),
    )


def _together(bench: _Bench, stops: Mapping[str, Proposal]) -> Step:
    """All searches have stopped: hold the joint setting, or stop."""
    target = bench.target()
    depths = dict(target.depths)
    words = [f"{name}: {proposal.reason}" for name, proposal in stops.items()]
    if len(depths) < 2:
        why = next((stops[name].why_stop for name in depths if name in stops), "")
        why = why or next((proposal.why_stop for proposal in stops.values()), "") or "certified"
        reason = next(iter(stops.values())).reason if len(bench.unit.leaders()) == 1 and stops else " ".join(words)
        return _stop(why, reason or "Stop: every search has stopped.", bench.claim(target))
    by_knob = joint_minutes(bench.counted, depths)
    short = min(by_knob, key=lambda name: by_knob[name])
    enough = joint_minutes_for(bench.goal)
    left = enough - by_knob[short]
    failures = [item for item in bench.counted if item.failed and item.run.plan.purpose == "joint"]
    if len(failures) >= bench.goal.max_failures:
        reason = f"Stop: {len(failures)} joint runs failed, as many as are allowed."
        return _stop("failures", reason, bench.claim(target))
    covering = [item for item in bench.counted if not item.failed and covers(item, depths)]
    # Under a load that bears on every knob; the least of them where no load does.
    together = min(by_knob.values())
    # A session that holds joint runs under another load than the one asked for must come to an end as well.
    asked = sum(item.minutes for item in covering if item.run.plan.purpose == "joint")
    if left <= ROUNDING or asked >= enough * len(depths) - ROUNDING:
        unheard = [name for name, minutes in by_knob.items() if minutes < enough - ROUNDING]
        caution = f" The loads held together did not exercise {' and '.join(unheard)}." if unheard else ""
        where = bench.unit.setting_at(depths).describe(bench.unit)
        reason = (
            f"Stop: {where} held together for {together:.0f} min, and meets the goal with {target.chance:.0%} "
            f"by the evidence of all runs.{caution}"
        )
        return _stop("certified", reason, bench.claim(target) + caution)
    safe, note = _safe(bench, depths)
    same = all(abs(safe[name] - depth) < ROUNDING for name, depth in depths.items())
    minutes = left if same else ANSWER_MINUTES
    chance = _chance(bench, safe, minutes)
    setting = bench.unit.setting_at(safe)
    reason = (
        f"Hold all together at {setting.describe(bench.unit)} for {minutes:.0f} min (fails with chance {chance:.0%})"
    )
    if back := target.in_words(bench.knobs):
        reason += f"; stepped back, since hazards add: {back}"
    if note:
        reason += f"; {note}"
    return Step(
        stop=False,
        why_stop="",
        knob="",
        purpose="joint",
        setting=setting,
        minutes=minutes,
        failure_chance=chance,
        reason=f"{reason}.",
        claim=bench.claim(target),
        settles="Whether the knobs hold together as the sum of their hazards says.",
        load=_load(bench, (short,)),
    )


def _safe(bench: _Bench, wanted: Mapping[str, float]) -> tuple[dict[str, float], str]:
    """The wanted depths within the rules for settings, and the rule that changed them, in words."""
    strides = {name: goal_in_unit(knob, bench.goal).max_stride for name, knob in bench.knobs.items()}
    tops = ceilings(bench.counted, bench.knobs, strides)
    depths = {name: min(depth, tops[name]) for name, depth in wanted.items()}
    failed = unanswered(bench.counted)
    if failed is None:
        return depths, "" if depths == dict(wanted) else "cut back to the stride allowed"
    safe = cut_back(depths, vouched(bench.counted, bench.knobs, strides), bench.knobs, failed)
    if all(abs(safe[name] - depth) < ROUNDING for name, depth in wanted.items()):
        return safe, ""
    at = failed.run.setting.describe(bench.unit)
    return safe, f"first something that held before, since nothing shallower than {at} has held since that failed"


def _chance(bench: _Bench, depths: Mapping[str, float], minutes: float) -> float:
    return bench.joint.failure_chance(depths, minutes)


def _load(bench: _Bench, names: Sequence[str]) -> str:
    """The load that exercises a knob: its card's word, else the one that it was last searched with, else ""."""
    for name in names:
        if load := bench.knobs[name].load:
            return load
        for item in reversed(bench.counted):
            if item.run.plan.knob == name:
                return item.run.plan.load
    return ""


def _stop(why: str, reason: str, claim: str) -> Step:
    return Step(True, why, "", "search", Setting(), 0.0, 0.0, reason, claim)
