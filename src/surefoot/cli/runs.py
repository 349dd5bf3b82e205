"""`surefoot runs`: what the journal holds of a unit's runs."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

from surefoot.cli.common import JsonFlag, UnitName, attended, open_journal, pairs, show
from surefoot.cli.log import settle_doubts
from surefoot.errors import BadInput
from surefoot.wording import count

if TYPE_CHECKING:
    from rich.console import RenderableType

    from surefoot.guide.correct import Effect
    from surefoot.runs import Run
    from surefoot.units import Setting, Unit

# A word always stands beside the shape, so that neither colour nor a shape is ever needed.
_SHAPES = {"held": ("●", "green"), "void": ("○", "dim"), "overheat": ("△", "yellow"), "open": ("…", "cyan")}
_FAILED = ("✕", "red")
SOURCES = {"rig": "held by Surefoot", "hand": "told by the user", "virtual": "a virtual unit, rehearsed"}
PURPOSES = {
    "search": "to find the edge",
    "joint": "to hold every knob together",
    "baseline": "to see the unit as it came",
    "measure": "to measure",
    "soak": "to hold a setting for long",
    "log": "made without Surefoot",
    "game": "a session of play",
    "use": "ordinary use, watched",
}
CHANGED = {"opened_at": "when it began", "ambient_celsius": "room", "power_mode": "power mode"}


def register(app: typer.Typer) -> None:
    """Add `runs` and what belongs to it."""
    group = typer.Typer(cls=ListsByDefault, help="The runs of a unit: list them, show one, correct one.")
    group.command("list")(list_runs)
    group.command("amend")(amend)
    group.command("void")(void)
    app.add_typer(group, name="runs")


class ListsByDefault(TyperGroup):
    """`runs UNIT` is `runs list UNIT`."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Put `list` before what names no verb."""
        if args and args[0] not in self.commands and args[0] not in ctx.help_option_names:
            args = ["list", *args]
        return super().parse_args(ctx, args)


def list_runs(
    unit: UnitName,
    run_id: Annotated[int | None, typer.Option("--run", metavar="ID", help="Show one run in full.")] = None,
    outcome: Annotated[
        list[str] | None, typer.Option("--outcome", help="Only runs that ended so, or `open`; repeat for several.")
    ] = None,
    knob: Annotated[str | None, typer.Option("--knob", help="Only runs that searched or moved this knob.")] = None,
    last: Annotated[int | None, typer.Option("--last", metavar="N", help="Only the last N of them.")] = None,
    page: Annotated[
        int | None, typer.Option("--page", metavar="N", help="Only that page; 1 holds the newest runs.")
    ] = None,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print as CSV (RFC 4180) and nothing else.")] = False,
    as_json: JsonFlag = False,
) -> None:
    """List the runs of a unit, oldest first, or show one in full. `runs UNIT` is the same."""
    from surefoot.journal.listing import as_record, chosen, csv_text, page_of, pages_of

    if as_csv and as_json:
        raise BadInput("--csv and --json exclude each other.")
    with open_journal() as journal:
        card = journal.unit(unit)
        everything = journal.runs(unit)
        found = chosen(everything, card, outcomes=outcome or (), knob=knob, last=last)
        pages = pages_of(found)
        # Tools get everything; a person the newest page, unless a number was asked for.
        if page is not None or not (as_json or as_csv or last):
            found = page_of(found, page or 1)
        if run_id is not None:
            found = [run for run in everything if run.id == run_id]
            if not found:
                raise BadInput(f"unit {unit!r} has no run {run_id}.", remedy=f"`surefoot runs {unit}` lists them.")
        traced = journal.runs_with_trace(unit)
        written = [journal.run_as_written(run.id) if run.is_corrected else None for run in found]
    records = [
        {**as_record(run, card, was), "has_trace": run.id in traced} for run, was in zip(found, written, strict=True)
    ]
    if as_csv:
        # Bytes, so that Windows does not turn the line ends of RFC 4180 into others.
        sys.stdout.flush()
        typer.echo(csv_text(found, card).encode(), nl=False)
        return
    if run_id is not None:
        show(records[0], lambda: _in_full(found[0], written[0], card, run_id in traced), as_json)
        return
    show(records, lambda: [*_table(found, card, len(everything)), *_other_pages(page or 1, pages, last)], as_json)


def _other_pages(page: int, pages: int, last: int | None) -> list[RenderableType]:
    from rich.text import Text

    if pages == 1 or last:
        return []
    earlier = f"; `--page {page + 1}` shows the ones before" if page < pages else ""
    return [Text(f"Page {page} of {pages}, 1 being the newest{earlier}.", style="dim")]


RunNumber = Annotated[int, typer.Argument(metavar="N", help="Number of the run, as `surefoot runs UNIT` shows it.")]
Why = Annotated[str, typer.Option("--why", help="Why; kept beside the run.")]
Sure = Annotated[bool, typer.Option("--sure", help="What looks like a slip is right as it stands.")]
Who = Annotated[str | None, typer.Option("--who", help="Who says so. Default: your user name.")]


def amend(
    run: RunNumber,
    why: Why,
    setting: Annotated[
        list[str] | None, typer.Option("--set", metavar="KNOB=VALUE", help="Value of a knob; the others stay.")
    ] = None,
    outcome: Annotated[str | None, typer.Option("--outcome", help="How it ended.")] = None,
    minutes: Annotated[str | None, typer.Option("--minutes", help="Under load, to the end or the failure.")] = None,
    when: Annotated[str | None, typer.Option("--when", metavar="DATE", help="When it began.")] = None,
    load: Annotated[str | None, typer.Option("--load", help="What was run.")] = None,
    timed: Annotated[
        bool | None, typer.Option("--timed/--untimed", help="Whether the moment of the failure is known.")
    ] = None,
    ambient: Annotated[float | None, typer.Option("--ambient", help="Room temperature, °C.")] = None,
    mode: Annotated[str | None, typer.Option("--mode", help="Power mode.")] = None,
    note: Annotated[str | None, typer.Option("--note", help="Anything else.")] = None,
    who: Who = None,
    sure: Sure = False,
    as_json: JsonFlag = False,
) -> None:
    """Say what a run should have said. The first record stays, and what was changed is shown with it."""
    from surefoot.guide.correct import changes_told, doubts_of, effect_of

    with open_journal() as journal:
        before = journal.run(run)
        card = journal.unit(before.plan.unit_name)
        texts = {"outcome": outcome, "minutes": minutes, "when": when}
        fields = {"load": load, "note": note, "power_mode": mode, "ambient_celsius": ambient, "timed": timed}
        changes = changes_told(card, before, pairs(setting, "--set"), texts, fields)
        now = datetime.now(UTC)
        doubts = doubts_of(journal, card, before, changes, now, when=when)
        if not sure:
            _settle(doubts, effect_of(journal, card, before, changes, now), "Amend it so all the same?", as_json)
        after = journal.amend_run(run, changes, who=who or user_name(), why=why)
        written = journal.run_as_written(run)
        traced = journal.has_trace(run)
    _show_corrected(after, written, card, traced, as_json)


def void(run: RunNumber, why: Why, who: Who = None, sure: Sure = False, as_json: JsonFlag = False) -> None:
    """Take a run out of the evidence: another machine, a wrong setting. The first record stays."""
    from surefoot.guide.correct import effect_of

    with open_journal() as journal:
        before = journal.run(run)
        card = journal.unit(before.plan.unit_name)
        if not sure:
            effect = effect_of(journal, card, before, {"outcome": "void"}, datetime.now(UTC))
            _settle((), effect, "Take it out all the same?", as_json)
        after = journal.void_run(run, who=who or user_name(), why=why)
        card, written, traced = journal.unit(after.plan.unit_name), journal.run_as_written(run), journal.has_trace(run)
    _show_corrected(after, written, card, traced, as_json)


def _settle(doubts: tuple[str, ...], effect: Effect, question: str, as_json: bool) -> None:
    """Ask about a slip, and whether a failure may go. Where nobody is there only what deepens a claim is refused."""
    if doubts or effect.deeper or (effect.says and attended() and not as_json):
        settle_doubts((*doubts, *effect.says), question, as_json)


def _show_corrected(after: Run, written: Run, card: Unit, traced: bool, as_json: bool) -> None:
    from surefoot.journal.listing import as_record

    record = {**as_record(after, card, written), "has_trace": traced}
    show(record, lambda: _in_full(after, written, card, traced), as_json)


def user_name() -> str:
    """Of whoever gives the command."""
    import getpass

    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):
        return "unknown"


def _table(found: Sequence[Run], card: Unit, among: int) -> list[RenderableType]:
    from rich.table import Table
    from rich.text import Text

    if not found:
        what = "no run fits" if among else "no runs yet; `surefoot tune` or `surefoot log` makes the first"
        return [Text(f"{card.name}: {what}.")]
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    table.add_column("run", justify="right")
    table.add_column("when", width=10)
    table.add_column("setting", min_width=9, overflow="fold")
    table.add_column("load", overflow="fold")
    table.add_column("minutes", justify="right")
    table.add_column("outcome, judged by", min_width=11, overflow="fold")
    for run in found:
        ended = Text.assemble(_outcome(run))
        if run.is_corrected:
            ended.append(" (corrected)")
        if run.closing is not None:
            ended.append(f"\n{run.closing.judged_by}", style="dim")
        table.add_row(
            str(run.id),
            f"{run.opened_at.astimezone():%Y-%m-%d\n%H:%M}",
            Text(_lines(run.setting, card)),
            Text(run.plan.load),
            _minutes(run.minutes),
            ended,
        )
    shown = f"{len(found)} of {among} runs" if len(found) < among else count(among, "run")
    return [Text(f"{card.name}: {shown}; local times"), table]


def _in_full(run: Run, written: Run | None, card: Unit, traced: bool) -> list[RenderableType]:
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column(style="bold")
    table.add_column(overflow="fold")

    def say(name: str, value: object) -> None:
        if value not in (None, ""):
            table.add_row(name, value if isinstance(value, Text) else Text(str(value)))

    where = run.plan.conditions
    say("opened", f"{run.opened_at.astimezone():%Y-%m-%d %H:%M:%S %Z}")
    say("setting", run.setting.describe(card))
    if run.setting != run.plan.setting:
        say("asked for", run.plan.setting.describe(card))
    say("load", run.plan.load)
    purpose = PURPOSES.get(run.plan.purpose, run.plan.purpose)
    say("made", purpose + (f" of {run.plan.knob}" if run.plan.knob else ""))
    say("under load", f"{_minutes(run.minutes)} of {_minutes(run.plan.planned_minutes)} planned minutes")
    say("outcome", Text.assemble(_outcome(run)))
    if run.closing is not None:
        say("", run.closing.outcome.says)
        say("judged by", run.closing.judged_by)
        if not run.closing.timed:
            say("", "the moment of the failure is not known, only that it was within these minutes")
        for name, value in run.closing.detail.items():
            say(name.replace("_", " "), _plain(value))
        say("closed", f"{run.closed_at.astimezone():%Y-%m-%d %H:%M:%S %Z}" if run.closed_at else None)
    say("room", None if where.ambient_celsius is None else f"{where.ambient_celsius:g} °C")
    for name in ("power_mode", "cooling", "supply", "firmware", "driver", "operating_system"):
        say(name.replace("_", " "), getattr(where, name))
    say("heartbeats", f"{run.heartbeats}, {'with' if traced else 'without'} a sensor trace")
    say("source", SOURCES.get(run.plan.source, run.plan.source))
    say("note", run.plan.note)
    say("closing note", run.closing.note if run.closing else None)
    if written is not None:
        for made in run.corrections:
            verb = "voided" if made.kind == "void" else "amended"
            changed = ", ".join(f"{CHANGED.get(name, name)}" for name in made.changes if made.kind == "amend")
            said = f"by {made.who} on {made.at.astimezone():%Y-%m-%d %H:%M}" + (f" ({changed})" if changed else "")
            say(verb, f"{said}: {made.why}")
        say("as first written", _first(written, card))
    return [Text(f"Run {run.id} of {card.name}"), table]


def _first(run: Run, card: Unit) -> str:
    outcome = run.outcome.value if run.outcome else "open"
    when = f"{run.opened_at.astimezone():%Y-%m-%d %H:%M}"
    return f"{run.setting.describe(card)}, {outcome} after {_minutes(run.minutes)} min of {run.plan.load}, {when}"


def _plain(value: object) -> str:
    """What a load saw, without Python's brackets."""
    if isinstance(value, dict):
        return ", ".join(f"{str(name).replace('_', ' ')} {_plain(item)}" for name, item in value.items())
    if isinstance(value, list | tuple):
        return ", ".join(_plain(item) for item in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _outcome(run: Run) -> tuple[str, str]:
    from surefoot.journal.listing import outcome_of

    word = outcome_of(run)
    shape, style = _SHAPES.get(word, _FAILED)
    return f"{shape} {word}", style


def _lines(setting: Setting, card: Unit) -> str:
    return setting.describe(card).replace(", ", "\n")


def _minutes(minutes: float) -> str:
    return f"{minutes:.1f}" if minutes < 100 else f"{minutes:.0f}"
