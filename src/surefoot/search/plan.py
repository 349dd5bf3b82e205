"""What to try next on a unit of several knobs: each knob by itself, then all of them held together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from surefoot.runs import Purpose
from surefoot.search.api import next_step
from surefoot.search.evidence import Goal, Proposal
from surefoot.search.joint_goal import goal_in_unit
from surefoot.search.joint_setting import joint_minutes
from surefoot.search.known import hours_together, known_of
from surefoot.search.payoff import Turn, payoff_order
from surefoot.search.reckoning import Reckoning
from surefoot.search.rules import ROUNDING, ceilings, covers, cut_back, held, unanswered, vouched, within
from surefoot.search.run_evidence import CountedRun
from surefoot.search.together import load_together
from surefoot.search.words import chance_words, likely_words, nothing_known, percent, step_back_words
from surefoot.units import Knob, Setting

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
    purpose: Purpose
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


def step_of(bench: Reckoning) -> Step:
    """The next run on a unit, or the stop.

    One stock run first, which counts for every knob. Then each knob is searched with the others at their own certified
    depth, in order of what pays: voltage offsets before clocks of the same part, then the greatest expected gain, as a
    share of the knob's limit, per expected bench hour; a search once begun goes on until it stops. Then all are held
    together at the joint setting (`joint_setting.py`), no deeper in any knob than its own certified depth. A failure at
    stock stops everything: the unit has a fault. A stop is a stop until something changed: runs of other purposes that
    held no deeper than what is known-stable (a measurement, a baseline, use) do not start a search again. Raises
    BadInput for an unknown or linked knob, or a unit without any.
    """
    _ = bench.searched
    step = _next(bench)
    if not step.stop and (stopped := _stopped_before(bench)) is not None:
        step = stopped
    return replace(step, claim=step.claim or claim_of(bench), left_out=bench.read.sentences())


def claim_of(bench: Reckoning) -> str:
    """What may be claimed now, in one sentence."""
    if bench.faulty:
        return "Nothing: it is faulty."
    known = known_of(bench)
    if known is not None:
        return known.says
    likely = likely_words(bench.unit, {name: bench.likely(name) for name in bench.knobs}) if bench.counted else ""
    return f"{nothing_known(bench.goal)} {likely}".strip()


def _stopped_before(bench: Reckoning) -> Step | None:
    """The stop that the search had come to, when nothing since says more than was known then, else None."""
    since: list[CountedRun] = []
    for item in reversed(bench.counted):
        if item.run.plan.purpose in ("search", "joint"):
            break
        since.append(item)
    if not since or any(item.failed for item in since):
        return None
    before = bench.without(since)
    known = known_of(before)
    if known is None:
        return None
    depths = {name: one.depth for name, one in known.certificates.items()}
    if not all(within(item, depths) for item in since):
        return None
    step = _next(before)
    return step if step.stop and step.why_stop in ("certified", "limit", "worth") else None


def joint_minutes_for(goal: Goal) -> float:
    """How long the joint setting is held before it is called known, minutes under load."""
    return min(JOINT_MINUTES, JOINT_SHARE * goal.mttf_hours * 60.0)


def _next(bench: Reckoning) -> Step:
    if bench.faulty:
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


def _stock(bench: Reckoning) -> Step:
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
        claim=claim_of(bench),
        settles=proposal.settles or "Whether the unit is sound as it came.",
        proposal=proposal,
        load=_load(bench, (knob.name,)),
        turns=tuple(turns),
    )


def _order(bench: Reckoning) -> list[Turn]:
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
    order = _by_payoff(bench, [knob for knob in bench.searched if bench.named is not None or knob.name not in done])
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


def _by_payoff(bench: Reckoning, knobs: Sequence[Knob]) -> list[Turn]:
    return payoff_order(knobs, bench.joint, bench.counted, bench.certified, bench.goal)


def _search(bench: Reckoning, knob: Knob, proposal: Proposal) -> Step:
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
        claim=claim_of(bench),
        settles=proposal.settles,
        proposal=proposal,
        load=_load(bench, (knob.name,)),
    )


def _together(bench: Reckoning, stops: Mapping[str, Proposal]) -> Step:
    """All searches have stopped: hold the joint setting, or stop."""
    target = bench.target
    depths = dict(target.depths)
    words = [f"{name}: {proposal.reason}" for name, proposal in stops.items()]
    if len(depths) < 2:
        why = next((stops[name].why_stop for name in depths if name in stops), "")
        why = why or next((proposal.why_stop for proposal in stops.values()), "") or "certified"
        reason = next(iter(stops.values())).reason if len(bench.unit.leaders()) == 1 and stops else " ".join(words)
        return _stop(why, reason or "Stop: every search has stopped.", claim_of(bench))
    by_knob = joint_minutes(bench.counted, depths)
    short = min(by_knob, key=lambda name: by_knob[name])
    enough = joint_minutes_for(bench.goal)
    load = load_together(bench.unit, [bench.knobs[name] for name in depths])
    # Held at once under a load that works every part; one after the other only where there is no such load.
    at_once = hours_together(bench.counted, depths) * 60.0
    together = at_once if load else by_knob[short]
    left = enough - together
    failures = [item for item in bench.counted if item.failed and item.run.plan.purpose == "joint"]
    if len(failures) >= bench.goal.max_failures:
        reason = f"Stop: {len(failures)} joint runs failed, as many as are allowed."
        return _stop("failures", reason, claim_of(bench))
    covering = [item for item in bench.counted if not item.failed and covers(item, depths)]
    # A session that holds joint runs under another load than the one asked for must come to an end as well.
    asked = sum(item.minutes for item in covering if item.run.plan.purpose == "joint")
    if left <= ROUNDING or asked >= enough * len(depths) - ROUNDING:
        unheard = [name for name, minutes in by_knob.items() if minutes < enough - ROUNDING]
        caution = f" The loads held together did not exercise {' and '.join(unheard)}." if unheard else ""
        if not caution and at_once < enough - ROUNDING:
            caution = " No load worked every part at once: they were loaded one after the other."
        where = bench.unit.setting_at(depths).describe(bench.unit)
        reason = f"Stop: {where} held together for {together:.0f} min{_by_all_runs(bench, target.chance)}.{caution}"
        return _stop("certified", reason, claim_of(bench) + caution)
    safe, note = _safe(bench, depths)
    same = all(abs(safe[name] - depth) < ROUNDING for name, depth in depths.items())
    minutes = left if same else ANSWER_MINUTES
    chance = _chance(bench, safe, minutes)
    setting = bench.unit.setting_at(safe)
    reason = f"Hold all together at {setting.describe(bench.unit)} for {minutes:.0f} min ({chance_words(chance)})"
    if back := step_back_words(bench.knobs, target.back):
        reason += f"; stepped back, since hazards add: {back}"
    if not load:
        load = _load(bench, (short,))
        if len({_load(bench, (name,)) for name in depths}) > 1:
            reason += f"; no load works every part at once, so one after the other: now {short} under {load}"
    elif same:
        reason += f"; under {load}, which works every part at the same time"
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
        claim=claim_of(bench),
        settles="Whether the knobs hold together as the sum of their hazards says.",
        load=load,
    )


def _by_all_runs(bench: Reckoning, chance: float) -> str:
    """What the evidence of all runs says of the joint setting. The search's own claim is at the goal's confidence: the
    model's chance is lower, its prior being gloomier than any population (prior.py). A rule of thumb has the chance."""
    if bench.strategy == "posterior":
        return f", and meets the goal at {percent(bench.goal.confidence)} confidence by the evidence of all runs"
    return f", and meets the goal with a chance of {percent(chance)} by the evidence of all runs"


def _safe(bench: Reckoning, wanted: Mapping[str, float]) -> tuple[dict[str, float], str]:
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


def _chance(bench: Reckoning, depths: Mapping[str, float], minutes: float) -> float:
    return bench.joint.failure_chance(depths, minutes)


def _load(bench: Reckoning, names: Sequence[str]) -> str:
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
