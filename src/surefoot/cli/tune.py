"""`surefoot tune` and `surefoot next`: the guided session, and what it would do."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from surefoot.cli.common import JsonFlag, UnitName, console, open_journal, show
from surefoot.cli.hands_options import Agreed, On, SensorsFrom, ThisMachine, Unattended

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rich.console import RenderableType

    from surefoot.guide.session import SessionEnd
    from surefoot.search import Goal, Step
    from surefoot.search.prospect import Prospect
    from surefoot.units import Unit

    Prospects = Mapping[str, tuple[Prospect, ...]]

Knobs = Annotated[
    list[str] | None, typer.Option("--knob", metavar="KNOB", help="Only this knob (may be given again). Default: all.")
]
Hours = Annotated[float | None, typer.Option("--mttf-hours", help="Claim wanted: MTTF of at least so many hours.")]
Confidence = Annotated[float | None, typer.Option("--confidence", help="Confidence of the claim, 0.5 to below 1.")]
Within = Annotated[
    float | None, typer.Option("--within", help="Stop when likely so near the best depth (knob's unit).")
]
Stride = Annotated[float | None, typer.Option("--max-stride", help="Never further past the deepest that held.")]
Failures = Annotated[int | None, typer.Option("--max-failures", help="Stop after so many failures of a knob.")]
Worth = Annotated[
    float | None, typer.Option("--worth", help="Stop when the next hour would gain less than this (knob's unit).")
]
Effort = Annotated[
    str | None, typer.Option("--effort", help="quick, usual or thorough: bench time and risk given for depth.")
]
Pool = Annotated[
    Path | None,
    typer.Option(
        "--pool", metavar="FILE", help="Evidence of such units (`surefoot pool`): lends a prior, never a setting."
    ),
]
NoPool = Annotated[bool, typer.Option("--no-pool", help="Use no pool, and take the card's off it.")]
Strategy = Annotated[str, typer.Option("--strategy", help="posterior, ladder or bisection.")]


def register(app: typer.Typer) -> None:
    """Add `tune` and `next`."""
    app.command("tune")(tune)
    app.command("next")(next_)


def tune(
    unit: UnitName,
    knob: Knobs = None,
    load: Annotated[
        str | None, typer.Option("--load", help="Hold this load in every run; see `surefoot check`.")
    ] = None,
    ambient: Annotated[float | None, typer.Option("--ambient", help="Room temperature, °C.")] = None,
    mode: Annotated[str | None, typer.Option("--mode", help="Power mode the unit is in.")] = None,
    mttf_hours: Hours = None,
    confidence: Confidence = None,
    within: Within = None,
    max_stride: Stride = None,
    max_failures: Failures = None,
    worth: Worth = None,
    effort: Effort = None,
    pool: Pool = None,
    no_pool: NoPool = False,
    strategy: Strategy = "posterior",
    max_runs: Annotated[int | None, typer.Option("--max-runs", min=1, help="Pause after so many runs.")] = None,
    minutes: Annotated[float | None, typer.Option("--minutes", min=0, help="Pause after so many minutes.")] = None,
    sensors_from: SensorsFrom = None,
    on: On = None,
    unattended: Unattended = False,
    i_agree: Agreed = False,
    this_machine: ThisMachine = False,
    as_json: JsonFlag = False,
) -> None:
    """Search this unit's margin step by step; resumes by itself after a crash."""
    from surefoot.cli.voice import TerminalVoice
    from surefoot.guide.bench import Bench
    from surefoot.guide.exception import ask_wide_stride
    from surefoot.guide.interrupts import stoppable
    from surefoot.guide.pooling import goal_with_pool, pool_words, remember_pool, unlike_words
    from surefoot.guide.sensors_from import machine_for
    from surefoot.guide.session import Options, Session

    with open_journal() as journal:
        card = journal.unit(unit)
        goal = _goal(card, mttf_hours, confidence, within, max_stride, max_failures, worth, effort)
        goal = goal if no_pool else goal_with_pool(journal, card, goal, pool, load)
        card, remembered = remember_pool(journal, card, pool, no_pool)
        options = Options(
            goal=goal,
            knobs=tuple(knob) if knob else None,
            strategy=strategy,
            load=load,
            ambient_celsius=ambient,
            power_mode=mode,
            max_runs=max_runs,
            max_minutes=minutes,
            agreed=i_agree,
            this_machine=this_machine,
        )
        voice = TerminalVoice(console(stderr=as_json), attended=not unattended)
        ask_wide_stride(voice, card, goal, options.knobs)
        for text in (*pool_words(card, options.goal), *((remembered,) if remembered else ())):
            voice.say(text, "quiet")
        with stoppable(), machine_for(journal, card, voice, sensors_from, on) as machine:
            end = Session(Bench(journal, card, machine, voice), options).run()
        for text in unlike_words(journal, card, options.goal):
            voice.say(text)
    show(_end_for_tools(card, end), lambda: _end_view(card, end), as_json)
    raise typer.Exit(exit_code(end))


def next_(
    unit: UnitName,
    knob: Knobs = None,
    mttf_hours: Hours = None,
    confidence: Confidence = None,
    within: Within = None,
    max_stride: Stride = None,
    max_failures: Failures = None,
    worth: Worth = None,
    effort: Effort = None,
    pool: Pool = None,
    strategy: Strategy = "posterior",
    why: Annotated[bool, typer.Option("--why", help="Also the alternatives, and what more effort would buy.")] = False,
    as_json: JsonFlag = False,
) -> None:
    """Say what would be tried next and why; writes nothing."""
    from surefoot.guide.pooling import goal_with_pool
    from surefoot.guide.preview import more_effort, preview, use_so_far

    with open_journal() as journal:
        card = journal.unit(unit)
        goal = _goal(card, mttf_hours, confidence, within, max_stride, max_failures, worth, effort)
        goal = goal_with_pool(journal, card, goal, pool)
        step = preview(journal, card, goal, tuple(knob) if knob else None, strategy)
        more = more_effort(journal, card, goal, step) if why else {}
        use = use_so_far(journal, card, goal)

    def view() -> list[RenderableType]:
        from rich.text import Text

        return [*_step_view(card, step, why, more), *(Text(words) for words in use)]

    show({**_step_for_tools(card, step, why, more), "use": use}, view, as_json)


def _goal(
    card: Unit,
    mttf_hours: float | None,
    confidence: float | None,
    within: float | None,
    max_stride: float | None,
    max_failures: int | None,
    worth: float | None,
    effort: str | None,
) -> Goal:
    from surefoot.guide.goals import goal_for

    return goal_for(
        card,
        mttf_hours=mttf_hours,
        confidence=confidence,
        within=within,
        max_stride=max_stride,
        max_failures=max_failures,
        worth_per_hour=worth,
        effort=effort,
    )


def exit_code(end: SessionEnd) -> int:
    """0 when something is known-stable or the user paused; 1 when the search ended with nothing; 3 after void runs."""
    if end.why == "voids":
        return 3
    return 0 if end.found or end.why in ("paused", "stopped") else 1


def _end_for_tools(unit: Unit, end: SessionEnd) -> dict[str, Any]:
    known = end.known
    return {
        "unit": unit.name,
        "why": end.why,
        "claim": end.claim,
        "setting": known.setting.values if known else {},
        "certificates": known.certificates if known else {},
        "joint": known.joint if known else None,
        "runs": end.run_ids,
        "at_stock": end.at_stock,
    }


def _end_view(unit: Unit, end: SessionEnd) -> list[RenderableType]:
    from rich.text import Text

    known = end.known
    stock = "The unit is at stock." if end.at_stock else "See that the unit is at stock."
    if known is None:
        return [Text(f"\nNothing is known-stable yet. {stock}")]
    if end.strategy != "posterior":
        return [
            Text(f"\n{known.says}", style="bold"),
            Text(f"{stock} `surefoot recall '{unit.name}'` gives what the search by its own rule certifies."),
        ]
    return [
        Text(f"\nKnown-stable: {known.setting.describe(unit)}", style="bold"),
        Text(f"{stock} `surefoot recall '{unit.name}'` gives the setting back with its certificate."),
    ]


def _step_for_tools(unit: Unit, step: Step, why: bool, more: Prospects) -> dict[str, Any]:
    found: dict[str, Any] = {
        "unit": unit.name,
        "stop": step.stop,
        "why_stop": step.why_stop,
        "knob": step.knob,
        "purpose": step.purpose,
        "setting": step.setting.values,
        "minutes": step.minutes,
        "failure_chance": step.failure_chance,
        "reason": step.reason,
        "settles": step.settles,
        "claim": step.claim,
    }
    if why:
        found["alternatives"] = step.proposal.alternatives if step.proposal else ()
        found["more_effort"] = more
    return found


def _step_view(unit: Unit, step: Step, why: bool, more: Prospects) -> list[RenderableType]:
    from rich.text import Text

    from surefoot.search.words import chance_words

    parts: list[RenderableType] = []
    if step.stop:
        parts.append(Text(step.reason, style="bold"))
    else:
        chance = chance_words(step.failure_chance)
        parts.append(Text(f"Next: {step.setting.describe(unit)} for {step.minutes:.0f} min, {chance}", style="bold"))
    said = (step.settles, step.claim) if step.stop else (step.reason, step.settles, step.claim)
    parts += [Text(text) for text in said if text]
    if why:
        parts += _alternatives_view(unit, step)
        parts += _more_effort_view(unit, more)
    return parts


def _more_effort_view(unit: Unit, more: Prospects) -> list[RenderableType]:
    from rich.table import Table
    from rich.text import Text

    if not more:
        return []
    table = Table(title="\nWhat effort would still take and give, on average", box=None, pad_edge=False)
    for name in ("knob", "effort", "hours", "crashes", "certified"):
        table.add_column(name, justify="left" if name in ("knob", "effort") else "right", overflow="fold")
    for name, offers in more.items():
        for one in offers:
            depth = unit.knob(name).describe(round(one.depth, 1))
            table.add_row(name, one.effort, f"{one.hours:.1f}", f"{one.crashes:.1f}", depth)
    note = "The search played on against edges that the runs so far allow: a mean of few, as good as the model."
    return [table, Text(note, style="dim")]


def _alternatives_view(unit: Unit, step: Step) -> list[RenderableType]:
    from rich.table import Table
    from rich.text import Text

    from surefoot.search.words import percent

    if step.proposal is None or not step.proposal.alternatives or not step.knob:
        return [Text("No alternatives were weighed: a rule decided this step.")]
    knob = unit.knob(step.knob)
    table = Table(title="Considered (price in bench minutes, crashes included)", box=None, pad_edge=False)
    for name in ("depth", "min", "fails", "price", "worth", "note"):
        table.add_column(name, justify="left" if name == "note" else "right", overflow="fold")
    for one in step.proposal.alternatives:
        table.add_row(
            knob.describe(one.depth),
            f"{one.minutes:.0f}",
            percent(one.failure_chance),
            f"{one.price_minutes:.0f}",
            f"{one.worth:.3g}",
            one.note,
        )
    return [table]
