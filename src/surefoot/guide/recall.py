"""What is known of a unit: the known-stable setting, its certificate in words, and what has changed since."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from surefoot.errors import AnswerIsNo, BadInput
from surefoot.guide.changes import aged, changed, never_tried, now_on, versions_changed
from surefoot.guide.goals import goal_for, goal_words
from surefoot.guide.pooling import goal_with_card_pool
from surefoot.guide.unclosed import presumed, unclosed_words
from surefoot.journal import Journal
from surefoot.rig.guardian.reports import FILE_NAME, all_reports
from surefoot.runs import Run
from surefoot.search import Assessment, Certificate, Goal, KnownStable, assess
from surefoot.search.use_growth import use_words
from surefoot.units import Conditions, Setting, Unit
from surefoot.wording import count


@dataclass(frozen=True, slots=True)
class Recall:
    """The answer of `recall`.

    ``setting``: signed offsets by knob, {} is stock; ``certificate``: the claim for the whole setting, None when
    nothing is known-stable; ``certificates``: per knob; ``then``: the conditions it is known under; ``first``: what
    must be said before the setting is: runs that were never closed, a setting that may still be applied;
    ``basis``: what each knob's claim rests on, in sentences; ``at_least``: its hours in words;
    ``use``: what ordinary use has brought, in sentences; ``use_share``: share of the claim's hours that came from it;
    ``warnings``: every reason to doubt it, ``changes``: those of them that are other conditions than then.
    """

    unit: str
    known: bool
    setting: Mapping[str, float]
    units: Mapping[str, str]
    certificate: Certificate | None
    certificates: Mapping[str, Certificate]
    joint: bool
    words: str
    when: datetime | None
    then: Conditions | None
    loads: Sequence[str]
    run_ids: Sequence[int]
    warnings: Sequence[str]
    first: Sequence[str] = ()
    basis: Sequence[str] = ()
    at_least: Mapping[str, str] = field(default_factory=dict)
    open_runs: Sequence[int] = ()
    use: Sequence[str] = ()
    use_share: float = 0.0
    changes: Sequence[str] = ()

    def with_warning(self, text: str) -> Recall:
        """The same with one reason more to doubt it."""
        return dataclasses.replace(self, warnings=(*self.warnings, text))

    def as_setting(self) -> Setting:
        """The setting to apply."""
        return Setting(values=dict(self.setting))


@dataclass(frozen=True, slots=True)
class Present:
    """What is known of this moment. ``boot_id``, ``operating_system``: of the machine, None where it is not asked."""

    at: datetime
    ambient_celsius: float | None = None
    boot_id: str | None = None
    operating_system: str | None = None


def recall(journal: Journal, unit: Unit, goal: Goal, now: datetime | Present) -> Recall:
    """The last known-stable setting of a unit for a goal, and every reason to doubt it.

    A run that was never closed counts as an unattended start would close it, and is told first. What was found under
    the card's present firmware and driver counts before all else; where nothing is, what was known before is given
    with a warning, since a new version may have moved the edge.
    """
    present = now if isinstance(now, Present) else Present(now)
    recorded = journal.runs(unit.name)
    still_open = [run for run in recorded if run.is_open]
    runs = [presumed(run, present.boot_id) for run in recorded]
    first = [unclosed_words(run, unit, present.boot_id) for run in still_open]
    first += _left_applied(journal, unit)
    conditions = now_on(unit, present.ambient_celsius, present.operating_system)
    found = known_now(unit, runs, goal)
    known, words = found.known, _said(found, unit, runs, goal)
    warnings: list[str] = list(found.contradictions)
    if known is None:
        known, before = _known_before(unit, runs, goal)
        if known is not None and before is not None:
            words = known.says
            warnings += versions_changed(before, conditions)
    answer = Recall(
        unit=unit.name,
        known=known is not None,
        setting=known.setting.values if known else {},
        units={knob.name: knob.unit for knob in unit.knobs},
        certificate=whole(known) if known else None,
        certificates=dict(known.certificates) if known else {},
        joint=known is not None and known.joint is not None,
        words=words or _nothing(unit, runs, goal),
        when=known.last_at if known else None,
        then=None,
        loads=tuple(known.loads) if known else (),
        run_ids=tuple(known.run_ids) if known else (),
        warnings=tuple(warnings),
        basis=known.basis if known else (),
        at_least=known.at_least if known else {},
        first=tuple(first),
        open_runs=tuple(run.id for run in still_open),
        use=use_words(unit, runs, goal, conditions=Conditions(firmware=unit.firmware, driver=unit.driver)),
        use_share=known.whole.use_share if known and known.whole else 0.0,
    )
    if known is None:
        return answer
    then = _conditions_of_last(runs, known)
    if all(run.plan.source == "virtual" for run in runs if run.id in set(known.run_ids)):
        # A unit that does not exist runs no system: the one here is not its.
        conditions = conditions.model_copy(update={"operating_system": None})
    changes = changed(then, conditions) if then is not None else []
    warnings += [text for text in changes if text not in warnings]
    warnings += aged((present.at - known.last_at).days) + never_tried(known)
    return dataclasses.replace(answer, then=then, warnings=tuple(warnings), changes=tuple(changes))


def setting_for(journal: Journal, unit: Unit, values: Mapping[str, float], known_stable_wanted: bool) -> Setting:
    """The setting that was asked for: the values given (linked knobs moved along), or the known-stable one.

    Raises AnswerIsNo when nothing is known-stable, BadInput when both were asked for or a value must never be applied.
    """
    if not known_stable_wanted:
        depths = {name: unit.knob(name).depth_of(value) for name, value in values.items()}
        return unit.setting_at(depths).with_values(values)
    if values:
        raise BadInput("--set and --known-stable were both given.", remedy="Give one of them.")
    known = known_now(unit, journal.runs(unit.name), goal_with_card_pool(journal, unit, goal_for(unit))[0]).known
    if known is None:
        raise AnswerIsNo(f"nothing is known-stable for {unit.name} yet.", remedy="Start with `surefoot tune`.")
    return known.setting


def whole(known: KnownStable) -> Certificate | None:
    """The claim for the whole setting: the joint one, else the weakest knob's with the bound that holds for all."""
    if known.joint is not None:
        return known.joint
    weakest = min(known.certificates.values(), key=lambda one: one.mttf_hours, default=None)
    if weakest is None or len(known.certificates) == 1:
        return weakest
    # Hazards add: several knobs together fail sooner than the weakest of them alone.
    return dataclasses.replace(weakest, mttf_hours=known.mttf_hours)


def known_now(unit: Unit, runs: Sequence[Run], goal: Goal) -> Assessment:
    """What the runs say under the card's present versions."""
    return assess(unit, runs, goal, conditions=Conditions(firmware=unit.firmware, driver=unit.driver))


def _said(found: Assessment, unit: Unit, runs: Sequence[Run], goal: Goal) -> str:
    """The claim in one sentence, or that there is none and what is likely; "" when nothing was run."""
    if found.known is None:
        return f"{_nothing(unit, runs, goal)} {found.likely_words}".strip() if runs else ""
    return found.known.says


def _known_before(unit: Unit, runs: Sequence[Run], goal: Goal) -> tuple[KnownStable | None, Conditions | None]:
    """Known-stable under the latest earlier versions that certify anything."""
    seen: list[tuple[str | None, str | None]] = []
    for run in reversed(runs):
        then = run.plan.conditions
        if (then.firmware, then.driver) in seen:
            continue
        seen.append((then.firmware, then.driver))
        versions = Conditions(firmware=then.firmware, driver=then.driver)
        if (known := assess(unit, runs, goal, conditions=versions).known) is not None:
            return known, then
    return None, None


def _conditions_of_last(runs: Sequence[Run], known: KnownStable) -> Conditions | None:
    support = [run for run in runs if run.id in set(known.run_ids)]
    last = max(support, key=lambda run: run.opened_at, default=None)
    return last.plan.conditions if last else None


def _left_applied(journal: Journal, unit: Unit) -> list[str]:
    standing = journal.standing(unit.name)
    if standing is None or standing.setting.is_stock:
        return []
    when = f"{standing.at:%Y-%m-%d %H:%M} UTC"
    reports = all_reports(journal.path.parent / FILE_NAME, unit, standing.at)
    if reports and reports[-1].at_stock:
        at = f"{reports[-1].at:%Y-%m-%d %H:%M} UTC"
        was = f"{standing.setting.describe(unit)} was applied ({standing.why}, {when})"
        return [f"{was}; the guardian put the unit back to stock at {at}"]
    return [f"{standing.setting.describe(unit)} may still be applied ({standing.why}, {when})"]


def _nothing(unit: Unit, runs: Sequence[Run], goal: Goal) -> str:
    if not runs:
        return f"Nothing is known of {unit.name} yet: stay at stock, and start with `surefoot tune`."
    return f"Nothing is known-stable for {goal_words(goal)} after {count(len(runs), 'run')}: stay at stock, or tune on."
