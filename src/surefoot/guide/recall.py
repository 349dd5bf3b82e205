"""What is known of a unit: the known-stable setting, its certificate in words, and what has changed since."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from surefoot.errors import AnswerIsNo, BadInput
from surefoot.guide.goals import goal_for, goal_words
from surefoot.journal import Journal
from surefoot.runs import Run
from surefoot.search import Certificate, Goal, KnownStable, known_stable
from surefoot.units import Conditions, Setting, Unit

OLD_DAYS: Final = 365
AMBIENT_CELSIUS: Final = 5.0


@dataclass(frozen=True, slots=True)
class Recall:
    """The answer of `recall`.

    ``setting``: signed offsets by knob, {} is stock; ``certificate``: the claim for the whole setting, None when
    nothing is known-stable; ``certificates``: per knob; ``then``: the conditions it is known under.
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

    def as_setting(self) -> Setting:
        """The setting to apply."""
        return Setting(values=dict(self.setting))


def recall(journal: Journal, unit: Unit, goal: Goal, now: datetime, ambient_celsius: float | None = None) -> Recall:
    """The last known-stable setting of a unit for a goal, and every reason to doubt it.

    What was found under the card's present firmware and driver counts first; where nothing is, what was known before
    is given with a warning, since a new version may have moved the edge.
    """
    runs = journal.runs(unit.name)
    present = Conditions(firmware=unit.firmware, driver=unit.driver)
    known = known_stable(unit, runs, goal, conditions=present)
    warnings: list[str] = []
    if known is None:
        known, before = _known_before(unit, runs, goal)
        if known is not None and before is not None:
            warnings += _versions(before, unit)
    if known is None:
        return Recall(
            unit=unit.name,
            known=False,
            setting={},
            units=_units(unit),
            certificate=None,
            certificates={},
            joint=False,
            words=_nothing(unit, runs, goal),
            when=None,
            then=None,
            loads=(),
            run_ids=(),
            warnings=(),
        )
    support = [run for run in runs if run.id in set(known.run_ids)]
    last = max(support, key=lambda run: run.opened_at, default=None)
    then = last.plan.conditions if last else None
    if then is not None:
        warnings += [text for text in _changed(then, unit, ambient_celsius) if text not in warnings]
    if known.last_at is not None and (age := (now - known.last_at).days) > OLD_DAYS:
        warnings.append(f"it was last held {age} days ago; dust, paste and pads age, so hold it again")
    warnings += _never_tried(known, unit)
    certificate = whole(known)
    return Recall(
        unit=unit.name,
        known=True,
        setting=known.setting.values,
        units=_units(unit),
        certificate=certificate,
        certificates=dict(known.certificates),
        joint=known.joint is not None,
        words=_words(known, unit, certificate),
        when=known.last_at,
        then=then,
        loads=tuple(known.loads),
        run_ids=tuple(known.run_ids),
        warnings=tuple(warnings),
    )


def setting_for(journal: Journal, unit: Unit, values: Mapping[str, float], known_stable_wanted: bool) -> Setting:
    """The setting that was asked for: the values given (linked knobs moved along), or the known-stable one.

    Raises AnswerIsNo when nothing is known-stable, BadInput when both were asked for or a value must never be applied.
    """
    if not known_stable_wanted:
        depths = {name: unit.knob(name).depth_of(value) for name, value in values.items()}
        return unit.setting_at(depths).with_values(values)
    if values:
        raise BadInput("--set and --known-stable were both given.", remedy="Give one of them.")
    known = known_stable(
        unit, journal.runs(unit.name), goal_for(unit), conditions=Conditions(firmware=unit.firmware, driver=unit.driver)
    )
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


def _units(unit: Unit) -> dict[str, str]:
    return {knob.name: knob.unit for knob in unit.knobs}


def _words(known: KnownStable, unit: Unit, certificate: Certificate | None) -> str:
    setting = known.setting.describe(unit)
    if certificate is None:
        return f"{setting} is known-stable."
    failures = "no failure" if certificate.failures == 0 else f"{certificate.failures} failures"
    text = (
        f"{setting}: at {certificate.confidence:.0%} confidence the mean time to failure is at least "
        f"{certificate.mttf_hours:,.0f} h of load, from {certificate.hours:.1f} h held there or deeper and {failures} "
        f"there or shallower"
    )
    if certificate.guard_band == certificate.guard_band and len(known.certificates) == 1:
        knob = unit.knob(next(iter(known.certificates)))
        text += (
            f"; it stands {certificate.guard_band:.0f} {knob.unit} back from the estimated edge "
            f"({knob.describe(round(certificate.edge_depth))})"
        )
    return text + "."


def _nothing(unit: Unit, runs: Sequence[Run], goal: Goal) -> str:
    if not runs:
        return f"Nothing is known of {unit.name} yet: stay at stock, and start with `surefoot tune`."
    return f"Nothing is known-stable for {goal_words(goal)} after {len(runs)} runs: stay at stock, or tune on."


def _known_before(unit: Unit, runs: Sequence[Run], goal: Goal) -> tuple[KnownStable | None, Conditions | None]:
    """Known-stable under the latest earlier versions that certify anything."""
    seen: list[tuple[str | None, str | None]] = []
    for run in reversed(runs):
        then = run.plan.conditions
        if (then.firmware, then.driver) in seen:
            continue
        seen.append((then.firmware, then.driver))
        versions = Conditions(firmware=then.firmware, driver=then.driver)
        if (known := known_stable(unit, runs, goal, conditions=versions)) is not None:
            return known, then
    return None, None


def _versions(then: Conditions, unit: Unit) -> list[str]:
    found = []
    for name in ("firmware", "driver"):
        was, now = getattr(then, name), getattr(unit, name)
        if was and now and was != now:
            found.append(f"the {name} was {was} and is now {now}: it may have moved the edge, so hold it again")
    return found


def _changed(then: Conditions, unit: Unit, ambient_celsius: float | None) -> list[str]:
    found = _versions(then, unit)
    for name in ("cooling", "supply"):
        was, now = getattr(then, name), getattr(unit, name)
        if was and now and was != now:
            found.append(f"the {name} was {was} and is now {now}")
    was_celsius = then.ambient_celsius
    if ambient_celsius is not None and was_celsius is not None and abs(ambient_celsius - was_celsius) > AMBIENT_CELSIUS:
        found.append(
            f"the room was at {was_celsius:g} °C and is now at {ambient_celsius:g} °C; "
            "temperature moves the edge a little"
        )
    return found


def _never_tried(known: KnownStable, unit: Unit) -> list[str]:
    found = []
    if not known.transition_tried:
        found.append("no load with idle-to-full transitions was held; some settings fail only there")
    off = [name for name in known.certificates if known.setting.value(name)]
    if len(off) > 1 and known.joint is None:
        found.append(f"{' and '.join(off)} were never held together; the claim is for each alone")
    return found
