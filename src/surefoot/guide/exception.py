"""A deliberate exception from the rules of the search: asked for, by somebody who is there, and written down."""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

from surefoot.errors import AnswerIsNo, BadInput
from surefoot.guide.bench import Bench
from surefoot.guide.voice import Voice, at_terminal
from surefoot.search import Goal
from surefoot.search.joint_goal import goal_in_unit
from surefoot.units import Setting, Unit

WIDE_STRIDES: Final = 2.5
"""A stride so many times the usual one is asked about: 200 may be a slip for 20."""


def ask_exception(bench: Bench, setting: Setting) -> None:
    """See that a setting may be applied though a rule is against it. Nothing is asked where none is.

    Raises BadInput for one past the card, and past a rule where nobody is at a terminal (answers that were piped in
    were written before the question); AnswerIsNo when the answer is no.
    """
    rule = bench.forbidden(setting)
    if rule is None or not at_terminal(bench.voice):
        bench.permit(setting)
        return
    bench.voice.say(rule, "warn")
    answer = bench.voice.choose(
        f"Apply {setting.describe(bench.unit)} all the same? The machine may go down.",
        {"no": "leave it", "yes": "apply it; the journal keeps that it was your decision"},
        "no",
    )
    if answer != "yes":
        raise AnswerIsNo(f"nothing was applied: {rule}")
    bench.make_exception(setting, rule)


def ask_wide_stride(voice: Voice, unit: Unit, goal: Goal, names: Collection[str] | None) -> None:
    """See that a stride far past the usual one is meant. ``names``: of the knobs to be searched, None for all.

    Raises BadInput where nobody is at a terminal, AnswerIsNo when the answer is no.
    """
    for knob in unit.leaders():
        given, usual = goal_in_unit(knob, goal).max_stride, goal_in_unit(knob, Goal()).max_stride
        if given <= WIDE_STRIDES * usual or (names is not None and knob.name not in names):
            continue
        said = f"{knob.name}: a stride of {given:g} {knob.unit} is {given / usual:.0f} times the usual {usual:g}"
        if not at_terminal(voice):
            remedy = "Give a smaller --max-stride; somebody at a terminal is asked."
            raise BadInput(f"{said}: a slip?", where="--max-stride", remedy=remedy)
        voice.say(f"{said}: one run may go so far past anything that held.", "warn")
        choices = {"no": "leave it", "yes": "go so far in one run"}
        if voice.choose("Search with that stride all the same?", choices, "no") != "yes":
            raise AnswerIsNo("nothing was run.")
