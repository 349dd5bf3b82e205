"""How a claim grew in use: the certified setting, hours and failures, stretch after stretch."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from surefoot.runs import USE, Run
from surefoot.search.assess import assess
from surefoot.search.evidence import Goal
from surefoot.search.use_choice import choose_for_use, in_use
from surefoot.search.words import length
from surefoot.units import Conditions, Setting, Unit

MOST_POINTS = 12
"""Moments at which the claim is worked out again, at most."""


@dataclass(frozen=True, slots=True)
class Grown:
    """The claim at a moment. ``certified``: stock where nothing was; hours and failures of use until then."""

    at: datetime
    certified: Setting
    awake_hours: float
    load_hours: float
    failures: int


def growth(
    unit: Unit, runs: Iterable[Run], goal: Goal, *, conditions: Conditions | None = None, points: int = MOST_POINTS
) -> tuple[Grown, ...]:
    """The claim before the first stretch and after later ones, the last among them; () without any use. Pure.

    At most ``points`` moments, evenly spread over the stretches; every failure is one of them where there is room.
    """
    ordered = sorted((run for run in runs if run.closing is not None), key=lambda run: (run.opened_at, run.id))
    places = [at for at, run in enumerate(ordered) if run.plan.purpose == USE]
    if not places:
        return ()
    failed = [at for at in places if (outcome := ordered[at].outcome) and (outcome.is_crash or outcome.is_soft)]
    room = max(points - 1, 2)
    chosen = {places[-1], *failed[-(room // 2) :]}
    spread = room - len(chosen)
    chosen |= {places[number * len(places) // spread] for number in range(spread)}
    ends = [places[0], *(at + 1 for at in sorted(chosen))]
    found = []
    for end in ends:
        until = ordered[:end]
        known = assess(unit, until, goal, conditions=conditions).known
        told = in_use(until)
        last = until[-1] if until else ordered[0]
        at = (last.closed_at or last.opened_at) if until else last.opened_at
        setting = known.setting if known else Setting()
        found.append(Grown(at, setting, told.awake_hours, told.load_hours, told.failures))
    return tuple(found)


def growth_words(unit: Unit, grown: Sequence[Grown]) -> str:
    """The settings that were certified one after the other, with the hours of use; "" where nothing changed."""
    steps = [one for at, one in enumerate(grown) if at == 0 or one.certified != grown[at - 1].certified]
    if len(steps) < 2:
        return ""
    told = [f"{one.certified.describe(unit)} ({length(one.load_hours)})" for one in steps]
    return f"Certified over the hours of use: {', then '.join(told)}."


def use_words(unit: Unit, runs: Iterable[Run], goal: Goal, *, conditions: Conditions | None = None) -> tuple[str, ...]:
    """What use has brought, in sentences: hours, failures, how the claim grew, the next step; () without any use."""
    runs = tuple(runs)
    told = in_use(runs)
    if not told.stretches:
        return ()
    grown = growth_words(unit, growth(unit, runs, goal, conditions=conditions))
    last = next(run for run in sorted(runs, key=lambda run: run.opened_at, reverse=True) if run.plan.purpose == USE)
    chance = last.plan.note.removeprefix("trial at ") if last.plan.note.startswith("trial at ") else ""
    ahead = choose_for_use(unit, runs, goal, float(chance) if chance else None, conditions=conditions)
    return tuple(words for words in (told.words(), grown, *ahead.next_words(unit)) if words)
