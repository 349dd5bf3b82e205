"""`surefoot unit`: the cards of the machines under test."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from surefoot.cli.common import JsonFlag, UnitName, console, open_journal, show, sure
from surefoot.errors import AnswerIsNo, BadInput

if TYPE_CHECKING:
    from rich.console import RenderableType

    from surefoot.guide.voice import Voice
    from surefoot.journal import CardEntry, Journal, UnitLine
    from surefoot.units import Unit

CardFile = Annotated[
    Path | None, typer.Option("--from", metavar="CARD", help="A card as a TOML file; see examples/ for ready ones.")
]
Elsewhere = Annotated[
    bool, typer.Option("--elsewhere", help="The unit is another machine: its programs are not looked for here.")
]


def register(app: typer.Typer) -> None:
    """Add `unit` and what belongs to it."""
    group = typer.Typer(help="The cards of the machines under test.", no_args_is_help=True)
    group.command("add")(add)
    group.command("list")(list_units)
    group.command("show")(show_unit)
    group.command("edit")(edit)
    group.command("retire")(retire)
    group.command("commands")(commands)
    group.command("confirm")(confirm)
    app.add_typer(group, name="unit")


def add(
    name: Annotated[str, typer.Argument(metavar="NAME", help="What you call this machine.")],
    card: CardFile = None,
    elsewhere: Elsewhere = False,
    as_json: JsonFlag = False,
) -> None:
    """Add a unit: from a card, or by answering questions."""
    from surefoot.journal.card_file import read_card

    with open_journal() as journal:
        # Before anything is asked: a name that is taken should not cost the user ten answers.
        name = journal.free_name(name)
        if card is not None:
            unit = read_card(card, name)
            _check(unit, elsewhere, str(card))
        elif _can_ask():
            from surefoot.cli.unit_questions import ask_for_unit

            unit = ask_for_unit(name)
        else:
            raise BadInput(
                "there is nobody to answer questions here.",
                where="unit add",
                remedy="Give a card with --from; examples/ holds ready ones.",
            )
        journal.add_unit(unit)
        _remark(unit, elsewhere)
        _offer_to_confirm(unit)
        result = _known(journal, name)
    show(result, lambda: _view(result, f"Added {name}."), as_json)


def list_units(
    everything: Annotated[bool, typer.Option("--all", help="Retired units too.")] = False, as_json: JsonFlag = False
) -> None:
    """List the units."""
    with open_journal() as journal:
        lines = journal.unit_lines(everything)
    show(lines, lambda: _list(lines), as_json)


def show_unit(
    unit: UnitName,
    as_toml: Annotated[bool, typer.Option("--toml", help="Print the card as TOML and nothing else.")] = False,
    as_json: JsonFlag = False,
) -> None:
    """Show a unit's card and its history."""
    from surefoot.journal.card_file import card_text

    if as_toml and as_json:
        raise BadInput("--toml and --json exclude each other.")
    with open_journal() as journal:
        result = _known(journal, unit)
    if as_toml:
        typer.echo(card_text(result["card"]), nl=False)
        return
    show(result, lambda: _view(result), as_json)


def edit(
    unit: UnitName,
    card: CardFile = None,
    force: Annotated[
        bool, typer.Option("--force", help="Also when runs would no longer count as evidence, for a knob that is gone.")
    ] = False,
    elsewhere: Elsewhere = False,
    as_json: JsonFlag = False,
) -> None:
    """Change a unit's card: from a file, or in your editor (VISUAL or EDITOR). Checked whole before it is written."""
    from surefoot.journal.card_file import read_card

    with open_journal() as journal:
        before = journal.unit(unit)
        if card is not None:
            after = read_card(card, unit, rename=False)
            _check(after, elsewhere, str(card))
            _refuse_losing(journal, after, force)
        elif _can_ask():
            after = _in_editor(journal, before, force, elsewhere)
        else:
            raise BadInput(
                "there is no terminal for an editor here.", where="unit edit", remedy="Give a card with --from."
            )
        journal.revise_unit(after)
        _remark(after, elsewhere, before)
        _offer_to_confirm(after)
        result = _known(journal, unit)
    said = f"Card of {unit} changed." if after != before else f"Card of {unit} is as it was."
    show(result, lambda: _view(result, said), as_json)


def retire(
    unit: UnitName,
    undo: Annotated[bool, typer.Option("--undo", help="Take it back into use.")] = False,
    as_json: JsonFlag = False,
) -> None:
    """Take a unit out of use; its runs are kept."""
    from rich.text import Text

    with open_journal() as journal:
        if undo:
            journal.restore_unit(unit)
        else:
            journal.retire_unit(unit)
        result = {"unit": unit, "retired": not undo, "runs": len(journal.runs(unit))}
    said = f"{unit} is back in use." if undo else f"{unit} is retired; its runs are kept. `--undo` takes it back."
    show(result, lambda: Text(said), as_json)


def commands(unit: UnitName, as_json: JsonFlag = False) -> None:
    """Show every command that this unit's card can have started, in full, and which were confirmed on this machine."""
    with open_journal() as journal:
        result = _commands(journal.unit(unit))
    show(result, lambda: _commands_view(result), as_json)


def confirm(
    unit: UnitName,
    code: Annotated[
        str | None,
        typer.Option("--code", metavar="CODE", help="Where nobody can be asked: the code that `unit commands` told."),
    ] = None,
    take_back: Annotated[bool, typer.Option("--take-back", help="They are not to run any more.")] = False,
    as_json: JsonFlag = False,
) -> None:
    """Let the commands on a unit's card run on this machine, once they were shown in full."""
    from surefoot.guide.card_commands import confirm_by_code, see_commands, take_back_commands

    if take_back and code is not None:
        raise BadInput("--code and --take-back exclude each other.")
    with open_journal() as journal:
        card = journal.unit(unit)
        if take_back:
            take_back_commands(card)
        elif code is not None:
            confirm_by_code(card, code)
        else:
            see_commands(card, _voice(), away=True)
        result = _commands(card)
    show(result, lambda: _commands_view(result), as_json)


def _offer_to_confirm(unit: Unit) -> None:
    """One question where there is somebody; a no leaves the card as it is, and its commands asleep."""
    from surefoot.guide.card_commands import ask_to_confirm

    if _can_ask():
        ask_to_confirm(unit, _voice(), away=True)


def _voice() -> Voice:
    from surefoot.cli.voice import TerminalVoice

    return TerminalVoice(console(stderr=True), attended=_can_ask())


def _commands(unit: Unit) -> dict[str, Any]:
    from surefoot.guide.card_commands import code_of, commands_of, unconfirmed

    found = commands_of(unit, away=True)
    missing = unconfirmed(found)
    return {
        "unit": unit.name,
        "code": code_of(found) if found else "",
        "commands": [
            {"role": one.role, "arguments": one.arguments, "shown": one.shown(), "confirmed": one not in missing}
            for one in found
        ],
    }


def _commands_view(told: dict[str, Any]) -> list[RenderableType]:
    from rich.text import Text

    if not told["commands"]:
        return [Text(f"The card of {told['unit']} starts no commands.")]
    parts = []
    for one in told["commands"]:
        state = "+ confirmed on this machine" if one["confirmed"] else "? not confirmed on this machine: will not run"
        parts += [Text(state, style="green" if one["confirmed"] else "yellow"), Text(f"  {one['shown']}")]
    return [*parts, Text(f"Code of these commands: {told['code']}")]


def _can_ask() -> bool:
    return sys.stdin.isatty()


def _check(unit: Unit, elsewhere: bool, where: str) -> None:
    from surefoot.guide.card_check import check_card

    try:
        check_card(unit, elsewhere=elsewhere)
    except BadInput as error:
        raise BadInput(error.what, where=f"{where}, {error.where}", remedy=error.remedy) from None


def _remark(unit: Unit, elsewhere: bool, before: Unit | None = None) -> None:
    from surefoot.guide.card_check import remarks, widened

    for text in (*remarks(unit, elsewhere=elsewhere), *(widened(before, unit) if before else ())):
        console(stderr=True).print(f"? {text}", markup=False)


def _refuse_losing(journal: Journal, after: Unit, force: bool) -> None:
    if not force:
        journal.refuse_losing_knobs(after)


def _in_editor(journal: Journal, before: Unit, force: bool, elsewhere: bool) -> Unit:
    import click

    from surefoot.journal.card_file import card_of_text, card_text

    head = (
        f"# Card of {before.name}. Save and close to change it; close without saving to leave it.\n"
        "# Fields and what they mean: README.md, and the cards in examples/.\n\n"
    )
    text = head + card_text(before, with_name=False)
    while True:
        try:
            edited = click.edit(text, extension=".toml", require_save=True)
        except click.ClickException as error:
            raise BadInput(
                f"the editor could not be used: {error.format_message()}.",
                remedy="Set EDITOR to one, or give a card with --from.",
            ) from None
        if edited is None:
            raise AnswerIsNo("nothing was changed: the card was not saved in the editor.")
        try:
            after = card_of_text(edited, before.name, where="the card", rename=False)
            _check(after, elsewhere, "the card")
            _refuse_losing(journal, after, force)
        except BadInput as error:
            console(stderr=True).print(error.message(), markup=False)
            if not sure("Go back to the editor?", default=True):
                raise
            text = edited
        else:
            return after


def _known(journal: Journal, name: str) -> dict[str, Any]:
    """What the journal knows of a unit, for the view and for JSON; and which of its commands will not run here."""
    from surefoot.guide.card_commands import commands_of, unconfirmed

    return {
        "name": name,
        "card": journal.unit(name),
        "retired": journal.is_retired(name),
        "runs": len(journal.runs(name)),
        "open_run": next((run.id for run in journal.open_runs(name)), None),
        "consent": journal.consent(name),
        "history": journal.card_history(name),
        "commands_asleep": [command.shown() for command in unconfirmed(commands_of(journal.unit(name), away=True))],
    }


def _list(lines: list[UnitLine]) -> RenderableType:
    from rich.table import Table
    from rich.text import Text

    if not lines:
        return Text("No units yet; `surefoot unit add NAME` makes one.")
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    table.add_column("unit", overflow="fold")
    table.add_column("knobs", overflow="fold")
    table.add_column("runs", justify="right")
    table.add_column("last run (local)")
    table.add_column("state")
    for line in lines:
        state = "retired" if line.retired else f"run {line.open_run} open" if line.open_run else "in use"
        last = f"{line.last_run_at.astimezone():%Y-%m-%d %H:%M}" if line.last_run_at else "none"
        table.add_row(Text(line.name), Text(", ".join(line.knobs) or "none"), str(line.runs), last, state)
    return table


def _view(known: dict[str, Any], said: str = "") -> list[RenderableType]:
    from rich.table import Table
    from rich.text import Text

    from surefoot.guide.card_commands import in_full

    unit: Unit = known["card"]
    facts = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    facts.add_column(style="bold", overflow="fold", max_width=24)
    facts.add_column(overflow="fold")

    def say(name: str, value: object) -> None:
        if value not in (None, ""):
            facts.add_row(Text(name), Text(str(value)))

    say("unit", unit.name + (" (retired)" if known["retired"] else ""))
    for part, text in unit.parts.items():
        say(part, text)
    for field in ("firmware", "driver", "cooling", "power_mode"):
        say(field.replace("_", " "), getattr(unit, field))
    watts = f"{unit.supply_watts:g} W" if unit.supply_watts else None
    say("supply", ", ".join(text for text in (unit.supply, watts) if text))
    say("ceilings", ", ".join(f"{domain} {limit:g} °C" for domain, limit in unit.ceilings_celsius.items()))
    say("power limits", ", ".join(f"{domain} {limit:g} W" for domain, limit in unit.power_limits_watts.items()))
    say("throttle point", ", ".join(f"{domain} {limit:g} °C" for domain, limit in unit.throttle_celsius.items()))
    say("goal", f"MTTF of {unit.goal.mttf_hours:g} h under load, at {unit.goal.confidence:.0%} confidence")
    say("effort", unit.goal.effort)
    say("hands", unit.hands.kind + (": " + in_full(unit.hands.apply) if unit.hands.apply else ""))
    say("own loads", ", ".join(load.name for load in unit.loads))
    say("notes", unit.notes)
    say("runs", f"{known['runs']}" + (f", run {known['open_run']} open" if known["open_run"] else ""))
    say("cautions", "agreed to" if known["consent"] else "not agreed to yet; `surefoot tune` asks")
    if known["commands_asleep"]:
        say(
            "commands",
            f"not confirmed on this machine, will not run; `surefoot unit confirm {unit.name}` shows and asks",
        )
    say("card", _changes(known["history"]))
    return [*([Text(said)] if said else []), facts, *_knobs(unit)]


def _changes(history: list[CardEntry]) -> str:
    words = {"add": "added", "revise": "changed", "retire": "retired", "restore": "taken back"}
    shown = [f"{words[entry.event]} {entry.at.astimezone():%Y-%m-%d %H:%M}" for entry in history]
    return ", ".join(shown if len(shown) <= 4 else [shown[0], f"{len(shown) - 3} more", *shown[-2:]])


def _knobs(unit: Unit) -> list[RenderableType]:
    from rich.table import Table
    from rich.text import Text

    if not unit.knobs:
        return [Text("No knobs: nothing can be tuned until the card has one (`surefoot unit edit`).")]
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    table.add_column("knob", overflow="fold")
    per_core = any(knob.cores for knob in unit.knobs)
    for name in ("domain", "toward", "step", "limit", "load", "moves with", *(["cores"] if per_core else [])):
        table.add_column(name, overflow="fold", justify="right" if name in ("step", "limit") else "left")
    for knob in unit.knobs:
        table.add_row(
            Text(knob.name),
            Text(knob.domain),
            knob.toward,
            f"{knob.step:g} {knob.unit}",
            f"{knob.value_at(knob.limit):+g} {knob.unit}",
            Text(knob.load or "of its domain"),
            Text(knob.linked_to or ""),
            *([Text(", ".join(map(str, knob.cores)) or "all")] if per_core else []),
        )
    return [Text(""), table]
