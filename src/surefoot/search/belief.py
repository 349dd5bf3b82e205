"""Which runs of a unit are believed: the rules of own_evidence.py for every knob, and what they set aside, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from surefoot.search.evidence import Goal
from surefoot.search.joint_goal import goal_in_unit
from surefoot.search.own_evidence import Doubt, doubts
from surefoot.search.run_evidence import CountedRun, alone_runs
from surefoot.search.words import doubt_words
from surefoot.units import Knob, Unit


def believe(unit: Unit, counted: Sequence[CountedRun], goal: Goal) -> tuple[tuple[CountedRun, ...], tuple[str, ...]]:
    """The runs with what is not believed taken out of them, and each contradiction as a sentence.

    A run that is not believed for a knob bears on it no more; it may still bear on another.
    """
    doubted: dict[int, list[str]] = {}
    sentences: list[str] = []
    for knob in unit.leaders():
        items = alone_runs(counted, knob.name)
        pieces = tuple(item.evidence(knob.name, item.failed) for item in items)
        for doubt in doubts(knob, pieces, goal_in_unit(knob, goal)):
            item = items[doubt.at]
            doubted.setdefault(item.run.id, []).append(knob.name)
            if not item.failed:
                sentences.append(doubt_words(knob, doubt, item.run, _against(knob, doubt, items)))
    if not doubted:
        return tuple(counted), ()
    found = tuple(
        replace(
            item,
            bears_on=tuple(name for name in item.bears_on if name not in doubted[item.run.id]),
            doubted=tuple(doubted[item.run.id]),
        )
        if item.run.id in doubted
        else item
        for item in counted
    )
    return found, tuple(sentences)


def _against(knob: Knob, doubt: Doubt, items: Sequence[CountedRun]) -> tuple[int, ...]:
    """Numbers of the failed runs that a contradicted hold conflicts with."""
    if doubt.why != "failure":
        return ()
    return tuple(item.run.id for item in items if item.failed and item.depths[knob.name] < doubt.depth)
