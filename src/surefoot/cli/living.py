"""`surefoot live`: live with a setting, watched, so that each hour of ordinary use is evidence."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from surefoot.cli.common import JsonFlag, UnitName, console, open_journal, show
from surefoot.cli.hands_options import Agreed, On, SensorsFrom, ThisMachine, Unattended

if TYPE_CHECKING:
    from rich.console import RenderableType

    from surefoot.guide.living import Lived
    from surefoot.rig.autostart import Autostart
    from surefoot.units import Unit


def register(app: typer.Typer) -> None:
    """Add `live`."""
    app.command("live")(live)


def live(
    unit: UnitName,
    careful: Annotated[
        bool, typer.Option("--careful", help="The certified setting; deeper only when that is certified. The default.")
    ] = False,
    trial: Annotated[
        float | None,
        typer.Option("--trial", metavar="CHANCE", help="A setting that meets the goal with this chance, as 0.7."),
    ] = None,
    minutes: Annotated[float | None, typer.Option("--minutes", min=0, help="Stop after so many minutes awake.")] = None,
    to_stock: Annotated[bool, typer.Option("--to-stock", help="Go back to stock when stopped.")] = False,
    ambient: Annotated[float | None, typer.Option("--ambient", help="Room temperature, °C.")] = None,
    after_login: Annotated[
        bool,
        typer.Option("--after-login", help="Wait until the machine is up and idle; nothing while a crash is unjudged."),
    ] = False,
    start_with_login: Annotated[
        bool, typer.Option("--start-with-login", help="Install what starts the watching after login, and stop.")
    ] = False,
    not_with_login: Annotated[bool, typer.Option("--not-with-login", help="Take that out again, and stop.")] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only print what would be held or installed.")] = False,
    sensors_from: SensorsFrom = None,
    on: On = None,
    unattended: Unattended = False,
    i_agree: Agreed = False,
    this_machine: ThisMachine = False,
    as_json: JsonFlag = False,
) -> None:
    """Live with a setting and let each hour of ordinary use count as evidence. Ctrl-C stops it."""
    from surefoot.cli.voice import TerminalVoice
    from surefoot.errors import BadInput
    from surefoot.guide.bench import Bench
    from surefoot.guide.goals import goal_for
    from surefoot.guide.interrupts import stoppable
    from surefoot.guide.living import Living, choose
    from surefoot.guide.living import live as lived
    from surefoot.guide.machine import RealMachine
    from surefoot.guide.pooling import goal_with_card_pool
    from surefoot.guide.sensors_from import machine_for

    if careful and trial is not None:
        raise BadInput("--careful and --trial were both given.", remedy="Give one of them.")
    with open_journal() as journal:
        card = journal.unit(unit)
        if start_with_login or not_with_login:
            return _with_login(card, trial, to_stock, not_with_login, dry_run, i_agree, as_json)
        voice = TerminalVoice(console(stderr=as_json), attended=not unattended)
        goal, why_no_pool = goal_with_card_pool(journal, card, goal_for(card))
        if why_no_pool:
            voice.say(why_no_pool, "warn")
        if dry_run:
            choice = choose(Bench(journal, card, RealMachine(), voice, goal=goal), trial)
            show(choice, lambda: choice_view(card, choice), as_json)
            raise typer.Exit(1 if choice.setting.is_stock else 0)
        living = Living(
            chance=trial, agreed=i_agree, this_machine=this_machine, minutes=minutes, to_stock=to_stock,
            after_login=after_login, ambient_celsius=ambient,
        )  # fmt: skip
        with stoppable(), machine_for(journal, card, voice, sensors_from, on) as machine:
            end = lived(Bench(journal, card, machine, voice, goal=goal), living)
    show(end, lambda: _view(card, end), as_json)


def choice_view(card: Unit, choice: Any) -> list[RenderableType]:
    """What would be lived with, in words."""
    from rich.text import Text

    if choice.setting.is_stock:
        return [Text(f"Nothing deeper than stock is certified for {card.name}.")]
    kind = "certified" if choice.chance is None else f"on trial at {choice.chance:.0%}"
    parts = [Text(f"{choice.setting.describe(card)}, {kind}.")]
    if choice.over:
        parts.append(Text(f"No trial: {choice.over}."))
    return [*parts, *(Text(words) for words in choice.next_words(card))]


def _view(card: Unit, end: Lived) -> list[RenderableType]:
    from rich.text import Text

    why = "Stopped" if end.why == "stopped" else f"Stopped: {end.why}"
    parts = [Text(f"{why}. The unit is at {end.setting.describe(card)}.")]
    if words := end.use.words():
        parts.append(Text(words))
    return [*parts, *(Text(words) for words in end.choice.next_words(card))]


def _with_login(
    card: Unit, trial: float | None, to_stock: bool, remove: bool, dry_run: bool, agreed: bool, as_json: bool
) -> None:
    from surefoot.errors import BadInput
    from surefoot.rig import autostart

    if card.hands.kind == "ask":
        raise BadInput(
            "nobody would be there to apply the setting: the unit's hands are you.",
            where=f"unit {card.name!r}",
            remedy="Hands of kind 'command' or 'documented' can be started with the login.",
        )
    if trial is not None and not agreed:
        raise BadInput("a trial that starts by itself needs --i-agree.", remedy="Read SAFETY.md first.")
    more = [] if trial is None else ["--trial", f"{trial:g}", "--i-agree"]
    what = autostart.autostart(card.name, [*more, *(["--to-stock"] if to_stock else [])])
    if not dry_run:
        (autostart.remove if remove else autostart.install)(what)
    show({"installed": not dry_run and not remove, **_told(what)}, lambda: _login_view(what, remove, dry_run), as_json)


def _told(what: Autostart) -> dict[str, Any]:
    return {"path": what.path, "text": what.text, "commands": what.commands, "undo": what.undo}


def _login_view(what: Autostart, remove: bool, dry_run: bool) -> list[RenderableType]:
    from rich.text import Text

    commands = what.undo if remove else what.commands
    run = [Text(f"  {' '.join(command)}", no_wrap=True) for command in commands]
    if remove:
        return [Text("Would be taken out:" if dry_run else "Taken out:"), Text(str(what.path), no_wrap=True), *run]
    return [
        Text("Would be written:" if dry_run else "Written:"),
        Text(str(what.path), no_wrap=True),
        Text(""),
        *(Text(line, no_wrap=True) for line in what.text.rstrip().splitlines()),
        Text(""),
        Text("Would be run:" if dry_run else "Run:"),
        *run,
        Text("It starts the watching after your next login. Nothing is applied at boot."),
    ]
