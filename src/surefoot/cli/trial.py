"""`surefoot trial`: a comparison that drift cannot fool, in randomised blocks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from surefoot.cli.common import JsonFlag, UnitName, console, open_journal, show
from surefoot.cli.hands_options import On

if TYPE_CHECKING:
    from rich.console import RenderableType

    from surefoot.guide.trial_planning import Planned
    from surefoot.guide.trial_state import Look, TrialState


def register(app: typer.Typer) -> None:
    """Add `trial`."""
    app.command("trial")(trial)


def trial(
    unit: UnitName,
    of: Annotated[
        list[str] | None,
        typer.Option(
            "--of",
            metavar="CONFIG",
            help="What to compare, the baseline first; give it again for each. A name or number of `configs`, or "
            "words with commas: stock, known-stable, KNOB=VALUE, mode=NAME, cooling=NAME.",
        ),
    ] = None,
    repeats: Annotated[
        int | None, typer.Option("--repeats", min=2, max=100, help="Blocks; at most so many with --to-see. Default: 5.")
    ] = None,
    to_see: Annotated[
        str | None,
        typer.Option("--to-see", metavar="2%", help="Plan the blocks to show it; may stop early."),
    ] = None,
    load: Annotated[str | None, typer.Option("--load", help="What to hold; see `surefoot check`.")] = None,
    minutes: Annotated[float, typer.Option("--minutes", min=0.1, max=1440, help="Length of each run.")] = 15.0,
    metric: Annotated[
        str, typer.Option("--metric", help="The score that decides; asked for after each run where the load has none.")
    ] = "",
    reading: Annotated[
        list[str] | None,
        typer.Option("--reading", metavar="KIND[:PLACE]", help="Instrument read in every run: sound, surface, ..."),
    ] = None,
    seed: Annotated[int | None, typer.Option("--seed", min=0, help="Of the order. Default: drawn, and kept.")] = None,
    ambient: Annotated[float | None, typer.Option("--ambient", help="Room temperature, °C.")] = None,
    runs: Annotated[int | None, typer.Option("--runs", min=1, help="Stop for now after so many runs.")] = None,
    plan_only: Annotated[bool, typer.Option("--plan-only", help="Show the plan; nothing is written or run.")] = False,
    status: Annotated[bool, typer.Option("--status", help="Where the last trial stands; nothing is run.")] = False,
    end: Annotated[bool, typer.Option("--end", help="No run of the trial that goes on is to come.")] = False,
    on: On = None,
    unattended: Annotated[bool, typer.Option("--unattended", help="Nobody will answer.")] = False,
    i_agree: Annotated[bool, typer.Option("--i-agree", help="I have read SAFETY.md and agree.")] = False,
    this_machine: Annotated[bool, typer.Option("--this-machine", help="This machine is the unit.")] = False,
    as_json: JsonFlag = False,
) -> None:
    """Compare configurations in randomised blocks; without --of, go on with the trial under way."""
    from surefoot.cli.voice import TerminalVoice
    from surefoot.guide import trial as guide
    from surefoot.guide import trial_planning as planning
    from surefoot.guide.bench import Bench
    from surefoot.guide.interrupts import stoppable
    from surefoot.guide.sensors_from import machine_or
    from surefoot.guide.trial_state import look, states
    from surefoot.guide.trial_words import arms_from, instruments_from
    from surefoot.units import Conditions, validated

    with open_journal() as journal:
        card = journal.unit(unit)
        if status or end:
            state = guide.last_trial(journal, unit)
            if end:
                state = guide.end_by_user(journal, unit)
            _show(unit, state, look(state, journal.scores(unit)), as_json)
            return
        voice = TerminalVoice(console(stderr=as_json), attended=not unattended)
        with stoppable(), machine_or(guide.machine_for(card), card, voice, on) as machine:
            conditions = validated(Conditions, {"ambient_celsius": ambient}, "the conditions")
            bench = Bench(journal, card, machine, voice)
            if of:
                planned = planning.plan_trial(
                    journal,
                    card,
                    arms_from(journal, card, of),
                    load=load or machine.default_load(card, None),
                    seed=planning.drawn_seed() if seed is None else seed,
                    minutes=minutes,
                    repeats=repeats,
                    to_see=planning.percent_from(to_see),
                    metric=metric,
                    readings=instruments_from(reading or ()),
                )
                if plan_only:
                    show({"unit": unit, "planned": planned}, lambda: _plan_view(planned), as_json)
                    return
                guide.refuse_what_cannot_be(bench, planned.plan)
                number = planning.begin_trial(journal, card, planned.plan)
                voice.say(planning.plan_says(planned), "heading")
            else:
                number = guide.going(journal, unit).number
            trialling = guide.Trialling(
                conditions=conditions, agreed=i_agree, this_machine=this_machine, at_most_runs=runs
            )
            guide.go_on(bench, number, trialling)
        state = next(one for one in states(journal, unit) if one.number == number)
        _show(unit, state, look(state, journal.scores(unit)), as_json)


def _show(unit: str, state: TrialState, found: Look | None, as_json: bool) -> None:
    turn = state.next
    result: dict[str, Any] = {
        "unit": unit,
        "trial": state.number,
        "plan": state.plan,
        "design": state.says,
        "order": state.turns,
        "runs": {f"{block}.{position}": run.id for (block, position), run in state.done.items()},
        "blocks_done": state.blocks_done,
        "next": turn,
        "minutes_left": state.minutes_left,
        "ended": state.ended,
        "look": found,
    }
    show(result, lambda: _view(unit, state, found), as_json)


def _plan_view(planned: Planned) -> list[RenderableType]:
    from rich.text import Text

    from surefoot.guide.trial_planning import order_says, plan_says

    return [Text(plan_says(planned)), Text(), *(Text(line) for line in order_says(planned.plan))]


def _view(unit: str, state: TrialState, found: Look | None) -> list[RenderableType]:
    from rich.text import Text

    from surefoot.guide.trial import look_says

    parts: list[RenderableType] = [Text(state.says), Text(state.next_says(), style="bold")]
    if found is not None:
        parts.append(Text(look_says(state, found)))
    parts.append(Text(f"`surefoot compare '{unit}'` compares what is there."))
    return parts
