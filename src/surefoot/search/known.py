"""What is known-stable: the deepest setting that the runs certify for the goal, and what the claim rests on."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from surefoot.runs import Run
from surefoot.search.bounds import mttf_lower_bound
from surefoot.search.evidence import Certificate, Goal
from surefoot.search.joint import JointPosterior
from surefoot.search.joint_setting import SteppedBack, joint_minutes, own_certificates, step_back
from surefoot.search.prior import model_confidence
from surefoot.search.rules import covers
from surefoot.search.run_evidence import CountedRun, RunsRead, exercised_by, read_runs
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
    ``left_out``: in words, the runs that do not count.
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

    @property
    def tuned(self) -> tuple[str, ...]:
        """The searched knobs that are off stock."""
        return tuple(self.certificates)

    @property
    def needs_joint_run(self) -> bool:
        """Whether several knobs are off stock and have never been held together."""
        return len(self.certificates) > 1 and self.joint is None


def known_stable(
    unit: Unit,
    runs: Iterable[Run],
    goal: Goal,
    *,
    conditions: Conditions | None = None,
    strategy: str = "posterior",
) -> KnownStable | None:
    """The deepest setting that the runs certify for the goal, or None when nothing is known-stable.

    With several knobs it is the joint setting: hazards add, and a knob is stepped back where they do not fit. With
    nothing tuned, or nothing certified deeper than stock, the answer is None unless hours of load at stock alone
    bear the claim (chi-square bound); then the setting is stock. ``conditions``: what is installed now; runs under
    another firmware or graphics driver do not count. ``strategy``: whose recommendation; another than the posterior
    recommends by its own rule, and ``mttf_hours`` is still what the runs bear out.
    """
    read = read_runs(unit, runs, conditions=conditions)
    if any(item.failed and item.at_stock for item in read.counted):
        return None
    joint = JointPosterior(unit.leaders(), read.counted, goal)
    own = own_certificates(unit.leaders(), read.counted, joint, goal, strategy)
    target = step_back(
        {knob.name: knob for knob in unit.leaders()},
        {name: known.depth for name, known in own.items()},
        read.counted,
        joint,
        goal,
        strategy=strategy,
    )
    found = from_parts(unit, read, goal, joint, own, target, strategy)
    if found is not None and found.needs_joint_run:
        # Later runs may let each knob go deeper by itself; a setting that was held together and still meets the goal
        # is the better answer until the deeper one has been held together too.
        held = _held_together(unit, read, joint, own, goal)
        if held is not None:
            return from_parts(unit, read, goal, joint, own, held, strategy)
    return found


def _held_together(
    unit: Unit, read: RunsRead, joint: JointPosterior, own: Mapping[str, Certificate], goal: Goal
) -> SteppedBack | None:
    """The deepest setting of every tuned knob that was held together and meets the goal by all evidence, or None."""
    best: SteppedBack | None = None
    deepest = 0.0
    for item in read.counted:
        depths = {name: item.depths[name] for name in own}
        if item.failed or any(not 0 < depths[name] <= known.depth + 1e-9 for name, known in own.items()):
            continue
        score = sum(depth / unit.knob(name).limit for name, depth in depths.items())
        if score <= deepest or min(joint_minutes(read.counted, depths).values()) <= 0:
            continue
        if joint.mttf_bound(depths, model_confidence(goal)) < goal.mttf_hours:
            continue
        back = {name: known.depth - depths[name] for name, known in own.items() if depths[name] < known.depth - 1e-9}
        best, deepest = SteppedBack(depths, model_confidence(goal), back), score
    return best


def from_parts(
    unit: Unit,
    read: RunsRead,
    goal: Goal,
    joint: JointPosterior,
    own: Mapping[str, Certificate],
    target: SteppedBack,
    strategy: str = "posterior",
) -> KnownStable | None:
    """`known_stable` from what the planner has worked out already."""
    if not target.depths:
        return _stock(unit, read, goal)
    depths = dict(target.depths)
    certificates = {
        name: _at_depth(own[name], depth, joint, name, read.counted, goal) for name, depth in depths.items()
    }
    together: Certificate | None = None
    if len(depths) > 1:
        hours = min(joint_minutes(read.counted, depths).values()) / 60.0
        if hours > 0:
            together = _joint_certificate(depths, joint, read.counted, goal, hours)
    deep = [
        item
        for item in read.counted
        if not item.failed
        and any(name in item.bears_on and item.depths[name] >= depth - 1e-9 for name, depth in depths.items())
    ]
    supporting = [item for item in deep if covers(item, depths)] or deep
    setting = unit.setting_at(depths)
    if strategy != "posterior":
        bound = joint.mttf_bound(depths, model_confidence(goal))
    elif len(depths) == 1:
        bound = next(iter(certificates.values())).mttf_hours
    else:
        bound = together.mttf_hours if together else joint.mttf_bound(depths, model_confidence(goal))
    return _assemble(
        unit,
        read,
        goal,
        setting,
        certificates,
        together,
        deep,
        supporting[-1],
        target.back,
        bound,
        _says(unit, setting, goal, together, len(depths), bound, strategy),
    )


def _stock(unit: Unit, read: RunsRead, goal: Goal) -> KnownStable | None:
    """Stock as known-stable, when its own hours of load bear the claim."""
    at_stock = [item for item in read.counted if item.at_stock]
    hours = sum(item.minutes for item in at_stock) / 60.0
    bound = mttf_lower_bound(hours, 0, goal.confidence)
    if bound < goal.mttf_hours:
        return None
    says = (
        f"Stock, nothing tuned: {hours:.0f} h of load without a failure show an MTTF of at least {bound:.0f} h "
        f"at {goal.confidence:.0%} confidence."
    )
    return _assemble(unit, read, goal, Setting(), {}, None, at_stock, at_stock[-1], {}, bound, says)


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
        mttf_hours=joint.mttf_bound(depths, model_confidence(goal)),
        confidence=goal.confidence,
        hours=hours,
        failures=failures,
    )


def _says(
    unit: Unit,
    setting: Setting,
    goal: Goal,
    together: Certificate | None,
    knobs: int,
    bound: float,
    strategy: str,
) -> str:
    if strategy != "posterior":
        return (
            f"{setting.describe(unit)}: what the rule of the {strategy} recommends; the runs bear out an MTTF of "
            f"{bound:.3g} h of load at {goal.confidence:.0%} confidence."
        )
    claim = (
        f"{setting.describe(unit)}: MTTF of at least {goal.mttf_hours:g} h of load at {goal.confidence:.0%} confidence"
    )
    if knobs < 2:
        return f"{claim}."
    if together is None:
        return f"{claim}, by the knobs' own runs; they were never held together."
    return f"{claim}; held together for {together.hours:.1f} h."
