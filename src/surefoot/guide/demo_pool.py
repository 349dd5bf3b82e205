"""The demo's small pool: more machines of the workshop's kind, invented, and what they lend the first."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Final

import numpy as np

from surefoot.guide.demo import draw_edges
from surefoot.guide.fleet import fleet
from surefoot.guide.goals import goal_for
from surefoot.guide.pooling import build_pool, goal_with_pool, pool_words, rows_from
from surefoot.guide.recall import Present, Recall, recall
from surefoot.journal import Journal
from surefoot.pool.build import Built
from surefoot.pool.fleet import Fleet
from surefoot.rehearsal.play import tune
from surefoot.rehearsal.populations import Population
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.search import Evidence
from surefoot.search.joint_goal import goal_in_unit
from surefoot.units import Knob, Unit

SIBLINGS: Final = 6
SETUP: Final = timedelta(minutes=5)


@dataclass(frozen=True, slots=True)
class SmallPool:
    """The pool that was built, what it lends the demo's unit in words, that unit's claim with it, and all units."""

    built: Built
    lends: tuple[str, ...]
    claim: Recall
    fleet: Fleet


def play_siblings(journal: Journal, like: Unit, seed: int, at: datetime, units: int = SIBLINGS) -> list[Unit]:
    """Enter more units with the card of one, each another chip, and their runs of a quick search of each knob.

    Virtual and said to be: no bench saw them. They are called after the first: ``demo-like-1`` and so on.
    """
    taken = {unit.name for unit in journal.units(retired=True)}
    made: list[Unit] = []
    number = 0
    while len(made) < units:
        number += 1
        name = f"{like.name}-like-{number}"
        if name in taken:
            continue
        card = like.model_copy(update={"name": name, "pool": "", "notes": "Rehearsal data: it does not exist."})
        journal.add_unit(card, at=at)
        edges = draw_edges(seed + 1000 + number)
        for knob in card.leaders():
            population = Population(name, "one chip", partial(_drawn, edges[knob.name]), knob)
            goal = goal_in_unit(knob, replace(goal_for(card), effort="quick"))
            for piece in tune(population, seed, number, goal).evidence:
                at = _log(journal, card, knob, piece, at)
        at += timedelta(hours=15)
        made.append(card)
    return made


def _drawn(edge: VirtualUnit, _: np.random.Generator) -> VirtualUnit:
    return edge


def _log(journal: Journal, card: Unit, knob: Knob, piece: Evidence, at: datetime) -> datetime:
    plan = RunPlan(
        unit_name=card.name, setting=card.setting_at({knob.name: piece.depth}), load=knob.load or "rehearsal",
        knob=knob.name, planned_minutes=max(piece.minutes, 1.0), source="virtual",
    )  # fmt: skip
    failure = Outcome.MISCOMPUTE if piece.soft else Outcome.RESET
    outcome = failure if piece.failed else Outcome.HELD
    journal.log_run(plan, Closing(outcome=outcome, minutes=piece.minutes, judged_by="rehearsal"), at=at)
    return at + timedelta(minutes=piece.minutes) + SETUP


def show_pool(
    journal: Journal, unit: Unit, file: Path, now: datetime, *, told: Callable[[str], None] | None = None
) -> SmallPool:
    """Build a pool of the whole journal into ``file``, and see what it lends one of its units (never its own runs)."""
    rows, _ = rows_from([journal.path], told=told)
    built = build_pool(rows, [], file, overwrite=True)
    goal = goal_with_pool(journal, unit, goal_for(unit), file)
    present = Present(now)
    return SmallPool(
        built, tuple(pool_words(unit, goal)), recall(journal, unit, goal, present), fleet(journal, present)
    )
