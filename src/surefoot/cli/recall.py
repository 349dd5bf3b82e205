"""`surefoot recall`: the known-stable setting of a unit, its certificate, and what has changed since."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from surefoot.cli.common import JsonFlag, UnitName, console, open_journal, show
from surefoot.cli.hands_options import Agreed, On, ThisMachine, Unattended

if TYPE_CHECKING:
    from rich.console import RenderableType

    from surefoot.guide.recall import Recall
    from surefoot.units import Unit


def register(app: typer.Typer) -> None:
    """Add `recall`."""
    app.command("recall")(recall)


def recall(
    unit: UnitName,
    mttf_hours: Annotated[float | None, typer.Option("--mttf-hours", help="For this claim instead.")] = None,
    confidence: Annotated[float | None, typer.Option("--confidence", help="At this confidence instead.")] = None,
    ambient: Annotated[float | None, typer.Option("--ambient", help="Room temperature now, °C.")] = None,
    apply: Annotated[bool, typer.Option("--apply", help="Have the setting applied by the unit's hands.")] = False,
    on: On = None,
    unattended: Unattended = False,
    i_agree: Agreed = False,
    this_machine: ThisMachine = False,
    as_json: JsonFlag = False,
) -> None:
    """Give back the last setting that is known to hold, and say how well that is known."""
    from surefoot.cli.voice import TerminalVoice
    from surefoot.guide.apply import Applying, present_on, recall_and_apply
    from surefoot.guide.bench import Bench
    from surefoot.guide.goals import goal_for
    from surefoot.guide.interrupts import stoppable
    from surefoot.guide.machine import RealMachine
    from surefoot.guide.pooling import goal_with_card_pool
    from surefoot.guide.recall import recall as recalled
    from surefoot.guide.sensors_from import machine_or

    with open_journal() as journal:
        card = journal.unit(unit)
        goal = goal_for(card, mttf_hours=mttf_hours, confidence=confidence)
        goal, why_no_pool = goal_with_card_pool(journal, card, goal)
        voice = TerminalVoice(console(stderr=as_json), attended=not unattended)
        applied = None
        with stoppable(), machine_or(RealMachine(), card, voice, on) as machine:
            bench = Bench(journal, card, machine, voice, goal=goal)
            if apply:
                answer, applied = recall_and_apply(bench, Applying(i_agree, this_machine, ambient))
            else:
                answer = recalled(journal, card, goal, present_on(bench, ambient))
        if why_no_pool:
            answer = answer.with_warning(why_no_pool)
    values = applied.values if applied is not None else None
    show(_for_tools(answer, values), lambda: _view(card, answer, values), as_json)
    raise typer.Exit(0 if answer.known else 1)


def _for_tools(answer: Recall, applied: dict[str, float] | None) -> dict[str, Any]:
    import dataclasses

    found = {field.name: getattr(answer, field.name) for field in dataclasses.fields(answer)}
    return found if applied is None else {**found, "applied": applied}


def _view(card: Unit, answer: Recall, applied: dict[str, float] | None) -> list[RenderableType]:
    from rich.table import Table
    from rich.text import Text

    first: list[RenderableType] = [Text(f"! {text[0].upper()}{text[1:]}.", style="bold red") for text in answer.first]
    if not answer.known:
        warned = [Text(f"? {warning}", style="yellow") for warning in answer.warnings]
        return [*first, Text(answer.words), Text("Setting: stock."), *warned]
    parts: list[RenderableType] = [
        *first,
        Text(f"Known-stable for {card.name}: {answer.as_setting().describe(card)}", style="bold"),
        Text(answer.words),
    ]
    table = Table(box=None, pad_edge=False)
    for name, justify in (("knob", "left"), ("value", "right"), ("MTTF at least", "right"), ("held", "right")):
        table.add_column(name, justify=justify)  # type: ignore[arg-type]
    table.add_column("failures", justify="right")
    for knob in card.knobs:
        one = answer.certificates.get(knob.name)
        table.add_row(
            knob.name,
            knob.describe(knob.depth_of(answer.setting.get(knob.name, 0.0))),
            answer.at_least.get(knob.name, "") if one else f"with {knob.linked_to}" if knob.linked_to else "",
            f"{one.hours:.1f} h" if one else "",
            str(one.failures) if one else "",
        )
    parts.append(table)
    parts += [Text(sentence) for sentence in (*answer.basis, *answer.use)]
    if answer.when is not None:
        parts.append(Text(f"Last held {answer.when:%Y-%m-%d %H:%M} UTC under: {', '.join(answer.loads) or 'unknown'}."))
    if answer.then is not None:
        known = [
            f"{name.replace('_celsius', ' °C').replace('_', ' ')}: {value}"
            for name, value in answer.then.model_dump().items()
            if value is not None
        ]
        parts.append(Text(f"Conditions: {'; '.join(known) or 'none recorded'}."))
    parts += [Text(f"? {warning}", style="yellow") for warning in answer.warnings]
    if applied is not None:
        parts.append(Text("Applied. It stays until the next restart; Surefoot sets nothing at boot."))
    return parts
