"""`surefoot measure`: hold a load at a setting, several times, and keep what the sensors said."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from surefoot.cli.common import JsonFlag, UnitName, console, open_journal, pairs, show
from surefoot.cli.hands_options import Agreed, On, SensorsFrom, ThisMachine, Unattended

if TYPE_CHECKING:
    from rich.console import RenderableType

    from surefoot.runs import Run
    from surefoot.units import Unit


def register(app: typer.Typer) -> None:
    """Add `measure`."""
    app.command("measure")(measure)


def measure(
    unit: UnitName,
    setting: Annotated[
        list[str] | None, typer.Option("--set", metavar="KNOB=VALUE", help="Value of a knob. Default: all at stock.")
    ] = None,
    known_stable: Annotated[bool, typer.Option("--known-stable", help="At the known-stable setting.")] = False,
    load: Annotated[str | None, typer.Option("--load", help="What to hold; see `surefoot check`.")] = None,
    minutes: Annotated[float, typer.Option("--minutes", min=0.1, max=1440, help="Length of each run.")] = 15.0,
    repeats: Annotated[int, typer.Option("--repeats", min=1, max=50, help="How many runs.")] = 1,
    ambient: Annotated[float | None, typer.Option("--ambient", help="Room temperature, °C.")] = None,
    mode: Annotated[str | None, typer.Option("--mode", help="Power mode the unit is in.")] = None,
    cooling: Annotated[str | None, typer.Option("--cooling", help="Cooling, where it is not the card's.")] = None,
    until_steady: Annotated[
        bool,
        typer.Option(
            "--until-steady",
            help="End a run once the final temperature is known to 1 °C; a baseline offers it where you are there.",
        ),
    ] = False,
    baseline: Annotated[bool, typer.Option("--baseline", help="Mark the runs as the baseline.")] = False,
    note: Annotated[str, typer.Option("--note", help="Anything else.")] = "",
    sensors_from: SensorsFrom = None,
    on: On = None,
    unattended: Unattended = False,
    i_agree: Agreed = False,
    this_machine: ThisMachine = False,
    as_json: JsonFlag = False,
) -> None:
    """Measure a setting under a load: temperatures, clocks, power, verified work."""
    from surefoot.cli.voice import TerminalVoice
    from surefoot.guide.bench import Bench
    from surefoot.guide.interrupts import stoppable
    from surefoot.guide.measure import Measuring
    from surefoot.guide.measure import measure as measured
    from surefoot.guide.outside import values_of
    from surefoot.guide.recall import setting_for
    from surefoot.guide.sensors_from import machine_for
    from surefoot.units import Conditions, validated

    with open_journal() as journal:
        card = journal.unit(unit)
        wanted = setting_for(journal, card, values_of(card, pairs(setting, "--set")), known_stable)
        conditions = validated(
            Conditions, {"ambient_celsius": ambient, "power_mode": mode, "cooling": cooling}, "the conditions"
        )
        measuring = Measuring(
            setting=wanted,
            load=load,
            minutes=minutes,
            repeats=repeats,
            conditions=conditions,
            purpose="baseline" if baseline else "measure",
            stop_when_steady=until_steady or (baseline and not unattended),
            note=note,
            agreed=i_agree,
            this_machine=this_machine,
        )
        voice = TerminalVoice(console(stderr=as_json), attended=not unattended)
        with stoppable(), machine_for(journal, card, voice, sensors_from, on) as machine:
            runs = measured(Bench(journal, card, machine, voice), measuring)
    show({"unit": unit, "runs": runs}, lambda: _view(card, runs), as_json)
    raise typer.Exit(0 if all(run.outcome == "held" for run in runs) else 1)


def _view(card: Unit, runs: list[Run]) -> list[RenderableType]:
    from rich.text import Text

    numbers = ", ".join(str(run.id) for run in runs)
    return [
        Text(f"Run {numbers} is in the journal." if len(runs) == 1 else f"Runs {numbers} are in the journal."),
        Text(
            f"`surefoot trace explain {runs[-1].id}` says what held the clock; "
            f"`surefoot compare '{card.name}'` compares."
        ),
    ]
