"""The setting to live with now: what is certified, or a trial's, and why, by the one assessment of the unit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from surefoot.errors import BadInput
from surefoot.runs import USE, Run
from surefoot.search.assess import assess
from surefoot.search.evidence import Goal
from surefoot.search.joint_goal import goal_in_unit
from surefoot.search.rules import refusal
from surefoot.search.use_plan import depth_to_live_with, hours_to_next_step, trial_is_over
from surefoot.search.words import length
from surefoot.units import Conditions, Setting, Unit

LEAST_CHANCE = 0.5
"""A trial at less is a coin that falls on the wrong side more often than not: the bench finds an edge faster."""


@dataclass(frozen=True, slots=True)
class UseChoice:
    """What to live with.

    ``setting``: stock where nothing is certified; ``certified``: the known-stable setting; ``chance``: of a trial, None
    when it is the certified setting; ``over``: why a trial that was asked for is not held, in words; ``ended``: for
    good, since it has nothing more to bring; ``next_hours``: by knob, the next depth to be certified and the hours of
    use under load it needs (None: use alone will not bring it).
    """

    setting: Setting
    certified: Setting
    chance: float | None = None
    over: str = ""
    ended: bool = False
    next_hours: Mapping[str, tuple[float, float | None]] = field(default_factory=dict)

    def next_words(self, unit: Unit) -> tuple[str, ...]:
        """The next step of each knob and the hours it needs, a sentence each."""
        found = []
        for name, (depth, hours) in self.next_hours.items():
            step = unit.knob(name).describe(depth)
            lead = f"{name}: " if len(self.next_hours) > 1 else ""
            if hours is None:
                found.append(f"{lead}{step} will not be certified by use at {self.setting.describe(unit)} alone.")
            else:
                found.append(
                    f"{lead}Next step {step}: certified after about {length(hours)} more of use under load at "
                    f"{self.setting.describe(unit)}, if nothing fails."
                )
        return tuple(found)


def check_chance(chance: float | None, goal: Goal) -> None:
    """Raises BadInput for a trial's chance that is out of range; None is no trial."""
    if chance is not None and not LEAST_CHANCE <= chance < goal.confidence:
        raise BadInput(
            f"a trial's chance is {chance!r}; it must be at least {LEAST_CHANCE:g} and below the certificate's "
            f"{goal.confidence:g}.",
            where="trial",
        )


def choose_for_use(
    unit: Unit, runs: Iterable[Run], goal: Goal, chance: float | None, *, conditions: Conditions | None = None
) -> UseChoice:
    """What to live with now: the certified setting, or with ``chance`` a trial's. Pure.

    With several knobs the chances multiply to ``chance``. A trial that a rule is against, or that has nothing more to
    bring, gives way to the certified setting. Raises BadInput for a chance out of range.
    """
    check_chance(chance, goal)
    runs = tuple(runs)
    found = assess(unit, runs, goal, conditions=conditions)
    known = found.known
    certified = known.setting if known else Setting()
    setting, over, for_good = certified, "", False
    own = {name: one.depth for name, one in found.certificates.items()}
    if chance is not None:
        each = chance ** (1.0 / max(len(unit.leaders()), 1))
        depths, ended = {}, []
        for knob in unit.leaders():
            pieces, own_goal = found.evidence(knob.name), goal_in_unit(knob, goal)
            depth = depth_to_live_with(knob, pieces, own_goal, each, certified=own.get(knob.name, 0.0))
            why = trial_is_over(knob, pieces, own_goal, depth, own.get(knob.name, 0.0)) if depth > 0 else ""
            depths[knob.name] = own.get(knob.name, 0.0) if why else depth
            if why:
                ended.append(f"{knob.name}: {why}")
        wanted = unit.setting_at(depths)
        if rule := refusal(unit, runs, wanted, goal, conditions=conditions):
            over = rule.rstrip(".")
        elif len(ended) == len(depths):
            over, for_good = "; ".join(ended), True
        else:
            setting = wanted
    if not setting.is_stock and (rule := refusal(unit, runs, setting, goal, conditions=conditions)):
        setting, over = Setting(), rule.rstrip(".")
    ahead: dict[str, tuple[float, float | None]] = {}
    for knob in unit.leaders():
        depth = knob.depth_of(setting.value(knob.name))
        cert = found.certificates.get(knob.name)
        following = (cert.depth if cert else 0.0) + knob.step
        if depth > 0 and following <= knob.deepest + 1e-9:
            hours = hours_to_next_step(knob, found.evidence(knob.name), goal_in_unit(knob, goal), depth, cert)
            ahead[knob.name] = (following, hours)
    trial = chance if setting != certified else None
    return UseChoice(setting, certified, trial, over, for_good, ahead)


@dataclass(frozen=True, slots=True)
class InUse:
    """What use has brought so far: hours awake at a setting, hours of them under load, failures, stretches."""

    awake_hours: float
    load_hours: float
    failures: int
    stretches: int

    def words(self) -> str:
        """In one sentence; "" when there was none."""
        if not self.stretches:
            return ""
        failed = "no failure" if not self.failures else f"{self.failures} failure{'s' if self.failures > 1 else ''}"
        return f"In use: {self.awake_hours:.1f} h awake, {self.load_hours:.1f} h of them under load, {failed}."


def in_use(runs: Iterable[Run]) -> InUse:
    """The hours of use of all closed stretches, the last's as far as it is acknowledged."""
    used = [run for run in runs if run.plan.purpose == USE and run.closing is not None]
    awake = sum(float(run.closing.detail.get("awake_minutes") or run.minutes) for run in used if run.closing) / 60.0
    failures = sum(run.outcome is not None and (run.outcome.is_crash or run.outcome.is_soft) for run in used)
    return InUse(awake, sum(run.minutes for run in used) / 60.0, failures, len(used))
