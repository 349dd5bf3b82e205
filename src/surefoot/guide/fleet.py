"""All units of a journal at one look: what each is known to hold, what changed, what is due, what it cost."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from surefoot.guide.goals import goal_for
from surefoot.guide.pooling import goal_with_card_pool
from surefoot.guide.recall import Present, Recall, recall
from surefoot.journal import Journal
from surefoot.pool.fleet import EdgeAmong, Fleet, FleetUnit
from surefoot.pool.kinds import platform_of
from surefoot.runs import USE, Outcome, Run
from surefoot.search import Assessment, Evidence, assess
from surefoot.search.edge import ANY_GOAL
from surefoot.search.own_evidence import believed
from surefoot.search.posterior import posterior
from surefoot.units import Conditions, Knob, Unit

DUE_WORDS = ("hold it again", "was never closed", "may still be applied")
"""A warning of `recall` that asks for something to be done has one of these in it."""
LIKELY_SHARE = 0.8
"""Share of an edge's density that is shown as where it likely lies."""


@dataclass(frozen=True, slots=True)
class _Edge:
    """One knob of one unit, before the others are known. As in `EdgeAmong`."""

    toward: str
    depth: float
    likely: tuple[float, float]
    certified: float | None
    failures: int


_Key = tuple[str, str, str]
"""Platform, knob, unit of measure."""


def fleet(journal: Journal, now: Present, *, told: Callable[[str], None] | None = None) -> Fleet:
    """Read every unit that is not retired. A unit's own pool counts, where its card names one. ``told``: progress."""
    cards = journal.units()
    edges: dict[_Key, dict[str, _Edge]] = {}
    made = []
    read: list[tuple[Unit, Recall, list[Run]]] = []
    for at, card in enumerate(cards, 1):
        if told:
            told(f"reading {card.name} ({at} of {len(cards)})")
        goal, why = goal_with_card_pool(journal, card, goal_for(card))
        answer = recall(journal, card, goal, now)
        runs = journal.runs(card.name)
        present = Conditions(firmware=card.firmware, driver=card.driver)
        for key, edge in _edges(card, assess(card, runs, goal, conditions=present)).items():
            edges.setdefault(key, {})[card.name] = edge
        read.append((card, answer.with_warning(why) if why else answer, [run for run in runs if not run.is_open]))
    for card, answer, runs in read:
        warnings = (*answer.first, *answer.warnings)
        due = tuple(text for text in warnings if any(words in text for words in DUE_WORDS))
        if not answer.known:
            due = ("nothing is known-stable: tune it", *due) if card.knobs else due
        crashed = [run for run in runs if isinstance(run.outcome, Outcome) and run.outcome.is_crash]
        made.append(
            FleetUnit(
                unit=card.name,
                parts=", ".join(card.parts.values()),
                setting=answer.as_setting().describe(card) if answer.known else "",
                claim=answer.words,
                mttf_hours=answer.certificate.mttf_hours if answer.certificate else None,
                changed=warnings,
                due=due,
                edges=tuple(_among(key, there, card.name) for key, there in edges.items() if card.name in there),
                hours=sum(run.minutes for run in runs) / 60.0,
                use_hours=sum(run.minutes for run in runs if run.plan.purpose == USE) / 60.0,
                crashes=len(crashed),
                use_crashes=sum(run.plan.purpose == USE for run in crashed),
                runs=len(runs),
                virtual=bool(runs) and all(run.plan.source == "virtual" for run in runs),
            )
        )
    return Fleet(
        tuple(made),
        sum(one.hours for one in made),
        sum(one.use_hours for one in made),
        sum(one.crashes for one in made),
        sum(bool(one.setting) for one in made),
        sum(bool(one.due) for one in made),
    )


def _edges(card: Unit, found: Assessment) -> dict[_Key, _Edge]:
    """The edges of a unit that are known: something failed there. Before that, an edge is only somewhere deeper."""
    made = {}
    for name, depth in found.edges.items():
        pieces = found.evidence(name)
        failures = sum(piece.failed for piece in pieces)
        if not failures:
            continue
        knob = card.knob(name)
        certificate = found.certificates.get(name)
        made[platform_of(card, knob), name, knob.unit] = _Edge(
            knob.toward,
            depth,
            _likely(knob, pieces),
            certificate.depth if certificate else None,
            failures,
        )
    return made


def _among(key: _Key, there: Mapping[str, _Edge], name: str) -> EdgeAmong:
    platform, knob, measure = key
    others = [edge.depth for other, edge in there.items() if other != name]
    own = there[name]
    return EdgeAmong(
        knob, platform, measure, own.toward, own.depth, sum(other < own.depth for other in others), len(others),
        min([own.depth, *others]), max([own.depth, *others]), *own.likely, own.certified, own.failures,
    )  # fmt: skip


def _likely(knob: Knob, pieces: Sequence[Evidence]) -> tuple[float, float]:
    """Where the edge lies with `LIKELY_SHARE`, by the unit's own runs, within stock and the limit."""
    after = posterior(knob, believed(knob, pieces, ANY_GOAL), ANY_GOAL)
    edges = after.grid.edge.ravel()
    order = np.argsort(edges, kind="stable")
    total = np.cumsum(after.weight.ravel()[order])
    tails = (0.5 - 0.5 * LIKELY_SHARE, 0.5 + 0.5 * LIKELY_SHARE)
    low, high = np.clip(edges[order][np.searchsorted(total, np.array(tails) * total[-1])], 0.0, knob.limit)
    return float(low), float(high)
