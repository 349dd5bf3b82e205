"""All units of a journal at one look: what each is known to hold, what changed, what is due, what it cost."""

from __future__ import annotations

from dataclasses import dataclass

from surefoot.guide.goals import goal_for
from surefoot.guide.pooling import goal_with_card_pool
from surefoot.guide.recall import Present, recall
from surefoot.journal import Journal
from surefoot.pool.kinds import platform_of
from surefoot.runs import Outcome
from surefoot.search import assess
from surefoot.units import Conditions

DUE_WORDS = ("hold it again", "was never closed", "may still be applied")
"""A warning of `recall` that asks for something to be done has one of these in it."""


@dataclass(frozen=True, slots=True)
class EdgeAmong:
    """One knob's estimated edge among the units of its platform: ``depth`` in ``measure``; ``deeper_than``: of how many
    of the ``others``; ``low``, ``high``: the shallowest and deepest of all of them."""

    knob: str
    platform: str
    measure: str
    depth: float
    deeper_than: int
    others: int
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class FleetUnit:
    """One unit. ``setting``: known-stable, in words, "" where there is none; ``claim``: its sentence; ``mttf_hours``;
    ``changed``: every reason to doubt it; ``due``: those that ask for the unit to be tried again; ``hours``: under
    load; ``crashes``; ``runs``."""

    unit: str
    setting: str
    claim: str
    mttf_hours: float | None
    changed: tuple[str, ...]
    due: tuple[str, ...]
    edges: tuple[EdgeAmong, ...]
    hours: float
    crashes: int
    runs: int


@dataclass(frozen=True, slots=True)
class Fleet:
    """Every unit, and the sums: hours under load, crashes, how many are known-stable, how many are due."""

    units: tuple[FleetUnit, ...]
    hours: float
    crashes: int
    known: int
    due: int


def fleet(journal: Journal, now: Present) -> Fleet:
    """Read every unit that is not retired. A unit's own pool counts, where its card names one."""
    cards = journal.units()
    edges: dict[tuple[str, str, str], dict[str, float]] = {}
    said = {}
    for card in cards:
        goal, why = goal_with_card_pool(journal, card, goal_for(card))
        answer = recall(journal, card, goal, now)
        said[card.name] = answer.with_warning(why) if why else answer
        present = Conditions(firmware=card.firmware, driver=card.driver)
        found = assess(card, journal.runs(card.name), goal, conditions=present)
        for name, depth in found.edges.items():
            knob = card.knob(name)
            # An edge is known once something failed there: before it, it is only somewhere deeper.
            if any(piece.failed for piece in found.evidence(name)):
                edges.setdefault((platform_of(card, knob), name, knob.unit), {})[card.name] = depth
    made = []
    for card in cards:
        answer = said[card.name]
        runs = [run for run in journal.runs(card.name) if not run.is_open]
        warnings = (*answer.first, *answer.warnings)
        due = tuple(text for text in warnings if any(words in text for words in DUE_WORDS))
        if not answer.known:
            due = ("nothing is known-stable: tune it", *due) if card.knobs else due
        made.append(
            FleetUnit(
                unit=card.name,
                setting=answer.as_setting().describe(card) if answer.known else "",
                claim=answer.words,
                mttf_hours=answer.certificate.mttf_hours if answer.certificate else None,
                changed=warnings,
                due=due,
                edges=tuple(_among(key, there, card.name) for key, there in edges.items() if card.name in there),
                hours=sum(run.minutes for run in runs) / 60.0,
                crashes=sum(isinstance(run.outcome, Outcome) and run.outcome.is_crash for run in runs),
                runs=len(runs),
            )
        )
    return Fleet(
        tuple(made),
        sum(one.hours for one in made),
        sum(one.crashes for one in made),
        sum(bool(one.setting) for one in made),
        sum(bool(one.due) for one in made),
    )


def _among(key: tuple[str, str, str], there: dict[str, float], name: str) -> EdgeAmong:
    platform, knob, measure = key
    others = [depth for other, depth in there.items() if other != name]
    depth = there[name]
    return EdgeAmong(
        knob, platform, measure, depth, sum(other < depth for other in others), len(others),
        min([depth, *others]), max([depth, *others]),
    )  # fmt: skip
