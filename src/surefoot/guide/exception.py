"""A deliberate exception from the rules of the search: asked for, by somebody who is there, and written down."""

from __future__ import annotations

from surefoot.errors import AnswerIsNo
from surefoot.guide.bench import Bench
from surefoot.guide.voice import at_terminal
from surefoot.units import Setting


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
