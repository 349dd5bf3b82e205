"""What is known-stable: the deepest setting that the runs certify for the goal, and what the claim rests on."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from surefoot.runs import Run
from surefoot.search.bounds import mttf_lower_bound
from surefoot.search.cores import weakest_core_words
from surefoot.search.evidence import Certificate, Goal
from surefoot.search.joint import JointPosterior
from surefoot.search.joint_setting import SteppedBack
from surefoot.search.prior import setting_confidence
from surefoot.search.reckoning import Reckoning
from surefoot.search.rests import Rests, rests_on
from surefoot.search.rules import covers
from surefoot.search.run_evidence import CountedRun, RunsRead, exercised_by
from surefoot.search.words import (
    claim_sentence,
    edge_sentences,
    hours_sentences,
    hours_words,
    lent_sentence,
    stock_sentence,
    strategy_sentence,
)
from surefoot.units import Conditions, Setting, Unit

TRANSITION_WORDS = frozenset({"transition", "transitions", "phases", "phase"})


@dataclass(frozen=True, slots=True)
class KnownStable:
    """The known-stable setting with its claim.

    ``setting``: value of every knob; ``certificates``: by tuned knob, each at its depth in ``setting``; ``joint``: the
    claim for all of them together where they were ever held together, else None; with one tuned knob None as well:
    its certificate is the claim. ``run_ids``: the runs it rests on: those that held so deep in some tuned
    knob, and the failures that one of them may have caused; ``loads``: tried at this setting or deeper in some
    tuned knob; ``transition_tried``: whether one of those goes from idle to full and back; ``last_at``, ``conditions``:
    of the last run that supports it; ``mttf_hours``: lower bound for the setting as a whole, held together or not, at
    ``confidence``. ``back``: by knob, how far it was stepped back so that the hazards fit together;
    ``left_out``: in words, the runs that do not count; ``says``: the claim in one sentence. ``rests``, ``whole``: what
    each knob's claim and the whole setting's rest on; ``likely``: by knob, the depth past the certified one that as
    likely as not would do, where there is any; ``basis``: sentences of what each knob's claim rests on; ``at_least``:
    each knob's hours in words.
    """

    setting: Setting
    certificates: Mapping[str, Certificate]
    joint: Certificate | None
    run_ids: tuple[int, ...]
    loads: tuple[str, ...]
    transition_tried: bool
    last_at: datetime
    conditions: Conditions
    confidence: float
    mttf_hours: float
    back: Mapping[str, float] = field(default_factory=dict)
    left_out: tuple[str, ...] = ()
    says: str = ""
    rests: Mapping[str, Rests] = field(default_factory=dict)
    whole: Rests | None = None
    likely: Mapping[str, float] = field(default_factory=dict)
    basis: tuple[str, ...] = ()
    at_least: Mapping[str, str] = field(default_factory=dict)

    @property
    def tuned(self) -> tuple[str, ...]:
        """The searched knobs that are off stock."""
        return tuple(self.certificates)

    @property
    def needs_joint_run(self) -> bool:
        """Whether several knobs are off stock and have never been held together."""
        return len(self.certificates) > 1 and self.joint is None


def known_of(reckoning: Reckoning) -> KnownStable | None:
    """The deepest setting that the runs certify for the goal, or None when nothing is known-stable.

    With several knobs it is the joint setting: hazards add, and a knob is stepped back where they do not fit. With
    nothing tuned, or nothing certified deeper than stock, the answer is None unless hours of load at stock alone
    bear the claim (chi-square bound); then the setting is stock. Another strategy than the posterior recommends by its
    own rule, and ``mttf_hours`` is still what the runs bear out.
    """
    if reckoning.faulty:
        return None
    found = _from_parts(reckoning, reckoning.target)
    if found is not None and found.needs_joint_run:
        # Later runs may let each knob go deeper by itself; a setting that was held together and still meets the goal
        # is the better answer until the deeper one has been held together too.
        held = _held_together(reckoning.unit, reckoning.read, reckoning.joint, reckoning.own, reckoning.goal)
        if held is not None:
            found = _from_parts(reckoning, held)
    return found if found is None else _with_lent(found, reckoning)


def _with_lent(known: KnownStable, reckoning: Reckoning) -> KnownStable:
    """The claim with what a pool lent to it, and what would be claimed without."""
    lent = reckoning.goal.lent
    if lent is None or reckoning.strategy != "posterior" or known.whole is None or not known.certificates:
        return known
    alone = replace(reckoning, goal=replace(reckoning.goal, lent=None))
    without = known_of(alone)
    depths = {name: one.depth for name, one in known.certificates.items()}
    if len(depths) == 1:
        name, depth = next(iter(depths.items()))
        hours = alone.joint.marginal(name).mttf_bound(depth, alone.goal)
    else:
        hours = alone.joint.mttf_bound(depths, setting_confidence(alone.goal, len(depths)))
    whole = replace(known.whole, without_pool_mttf_hours=min(hours, known.whole.mttf_hours))
    at_once = None if len(depths) == 1 else known.joint is not None
    says = claim_sentence(reckoning.unit, known.setting, known.confidence, whole, known.likely, at_once)
    said = lent_sentence(reckoning.unit, known.setting, without.setting if without else None, lent)
    return replace(known, whole=whole, says=f"{says} {said}")


def _held_together(
    unit: Unit, read: RunsRead, joint: JointPosterior, own: Mapping[str, Certificate], goal: Goal
) -> SteppedBack | None:
    """The deepest setting of every tuned knob that was held together and meets the goal by all evidence, or None."""
    best: SteppedBack | None = None
    deepest = 0.0
    confidence = setting_confidence(goal, len(own))
    for item in read.counted:
        depths = {name: item.depths[name] for name in own}
        if item.failed or any(not 0 < depths[name] <= known.depth + 1e-9 for name, known in own.items()):
            continue
        score = sum(depth / unit.knob(name).limit for name, depth in depths.items())
        if score <= deepest or hours_together(read.counted, depths) <= 0:
            continue
        if joint.mttf_bound(depths, confidence) < goal.mttf_hours:
            continue
        back = {name: known.depth - depths[name] for name, known in own.items() if depths[name] < known.depth - 1e-9}
        best, deepest = SteppedBack(depths, confidence, back), score
    return best


def _from_parts(reckoning: Reckoning, target: SteppedBack) -> KnownStable | None:
    unit, goal, joint, read = reckoning.unit, reckoning.goal, reckoning.joint, reckoning.read
    if not target.depths:
        return _stock(unit, read, goal)
    depths = dict(target.depths)
    certificates = {
        name: _at_depth(reckoning.own[name], depth, joint, name, read.counted, goal) for name, depth in depths.items()
    }
    most = most_hours(joint)
    blamed = joint.most_blamed()
    rests = {
        name: rests_on(
            unit, read.counted, {name: one.depth}, one.mttf_hours,
            confidence=goal.confidence, most_hours=most, causes=blamed,
        )
        for name, one in certificates.items()
    }  # fmt: skip
    certificates = {name: replace(one, hours=rests[name].hours) for name, one in certificates.items()}
    held_hours = hours_together(read.counted, depths)
    together: Certificate | None = None
    if len(depths) > 1 and held_hours > 0:
        together = _joint_certificate(depths, joint, read.counted, goal, held_hours)
    deep = [
        item
        for item in read.counted
        if not item.failed
        and any(name in item.bears_on and item.depths[name] >= depth - 1e-9 for name, depth in depths.items())
    ]
    supporting = [item for item in deep if covers(item, depths)] or deep
    if reckoning.strategy == "posterior" and len(depths) == 1:
        bound = next(iter(certificates.values())).mttf_hours
    else:
        bound = together.mttf_hours if together else joint.mttf_bound(depths, setting_confidence(goal, len(depths)))
    whole = rests_on(unit, read.counted, depths, bound, confidence=goal.confidence, most_hours=most, causes=blamed)
    setting = unit.setting_at(depths)
    likely = {name: deeper for name, depth in depths.items() if (deeper := reckoning.likely(name)) > depth + 1e-9}
    if reckoning.strategy == "posterior":
        at_once = None if len(depths) == 1 else together is not None
        says = claim_sentence(unit, setting, goal.confidence, whole, likely, at_once)
    else:
        says = strategy_sentence(unit, setting, reckoning.strategy, goal.confidence, whole)
    evidence = {name: reckoning.evidence(name) for name in depths}
    cores = weakest_core_words(unit, read.counted)
    basis = (*hours_sentences(unit, rests), *edge_sentences(unit, certificates, evidence), *cores)
    return _assemble(
        unit, read, goal, setting, certificates, together, deep, supporting[-1], target.back, bound, says,
        rests=rests, whole=whole, likely=likely, basis=basis,
    )  # fmt: skip


def most_hours(joint: JointPosterior) -> float:
    """The longest MTTF that the model can tell: some hazard is set aside for what no depth explains."""
    return joint.mttf_bound({}, 0.5)


def hours_together(counted: Sequence[CountedRun], depths: Mapping[str, float]) -> float:
    """Hours held at a setting or deeper with every part of it loaded at once."""
    return (
        sum(
            min((item.minutes_on(name) for name in depths), default=item.minutes)
            for item in counted
            if not item.failed and covers(item, depths) and all(name in item.bears_on for name in depths)
        )
        / 60.0
    )


def _stock(unit: Unit, read: RunsRead, goal: Goal) -> KnownStable | None:
    """Stock as known-stable, when its own hours of load bear the claim."""
    at_stock = [item for item in read.counted if item.at_stock and not item.failed]
    hours = sum(item.minutes for item in at_stock) / 60.0
    bound = mttf_lower_bound(hours, 0, goal.confidence)
    if bound < goal.mttf_hours:
        return None
    whole = rests_on(unit, at_stock, {}, bound, confidence=goal.confidence, most_hours=float("inf"), causes={})
    says = stock_sentence(goal.confidence, whole)
    return _assemble(unit, read, goal, Setting(), {}, None, at_stock, at_stock[-1], {}, bound, says, whole=whole)


def _assemble(
    unit: Unit,
    read: RunsRead,
    goal: Goal,
    setting: Setting,
    certificates: Mapping[str, Certificate],
    together: Certificate | None,
    tried: list[CountedRun],
    last: CountedRun,
    back: Mapping[str, float],
    bound: float,
    says: str,
    *,
    whole: Rests,
    rests: Mapping[str, Rests] | None = None,
    likely: Mapping[str, float] | None = None,
    basis: tuple[str, ...] = (),
) -> KnownStable:
    return KnownStable(
        setting=setting,
        certificates=dict(certificates),
        joint=together,
        run_ids=tuple(
            item.run.id
            for item in read.counted
            if item in tried or (item.failed and any(name in certificates for name in item.causes))
        ),
        loads=tuple(dict.fromkeys(item.run.plan.load for item in tried)),
        transition_tried=any(is_transition(unit, item.run) for item in tried),
        last_at=last.run.closed_at or last.run.opened_at,
        conditions=last.run.plan.conditions,
        confidence=goal.confidence,
        mttf_hours=bound,
        back=dict(back),
        left_out=read.sentences(),
        says=says,
        rests=dict(rests or {}),
        whole=whole,
        likely=dict(likely or {}),
        basis=basis,
        at_least={name: hours_words(one) for name, one in (rests or {}).items()},
    )


def is_transition(unit: Unit, run: Run) -> bool:
    """Whether a run's load goes from idle to full and back, by its name or by what it is known to exercise."""
    words = set(re.findall(r"[a-z]+", run.plan.load.lower()))
    return bool(words & TRANSITION_WORDS) or "transition" in exercised_by(unit, run)


def _at_depth(
    own: Certificate, depth: float, joint: JointPosterior, name: str, counted: tuple[CountedRun, ...], goal: Goal
) -> Certificate:
    """A knob's certificate at the depth it has in the joint setting."""
    if abs(depth - own.depth) < 1e-9:
        return own
    hours = sum(
        item.minutes
        for item in counted
        if name in item.bears_on and not item.failed and item.depths[name] >= depth - 1e-9
    )
    blamed = joint.most_blamed()
    failures = sum(
        item.failed
        and item.depths[name] <= depth + 1e-9
        and (item.causes == (name,) or blamed.get(item.run.id) == name)
        for item in counted
    )
    return Certificate(
        depth=depth,
        mttf_hours=joint.marginal(name).mttf_bound(depth, goal),
        confidence=own.confidence,
        hours=hours / 60.0,
        failures=failures,
        edge_depth=own.edge_depth,
        guard_band=own.edge_depth - depth,
    )


def _joint_certificate(
    depths: Mapping[str, float],
    joint: JointPosterior,
    counted: tuple[CountedRun, ...],
    goal: Goal,
    hours: float,
) -> Certificate:
    """The claim for all knobs together. Its depth is that of the deepest knob as a number, for want of one depth."""
    failures = sum(
        item.failed
        and sum(depth > 0 for depth in item.depths.values()) > 1
        and all(depth <= depths.get(name, 0.0) + 1e-9 for name, depth in item.depths.items())
        for item in counted
    )
    return Certificate(
        depth=max(depths.values()),
        mttf_hours=joint.mttf_bound(depths, setting_confidence(goal, len(depths))),
        confidence=goal.confidence,
        hours=hours,
        failures=failures,
    )
