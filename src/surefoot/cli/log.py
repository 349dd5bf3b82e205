"""`surefoot log`: runs that were made without the tool."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from surefoot.cli.common import JsonFlag, UnitName, console, open_journal, pairs, show
from surefoot.errors import AnswerIsNo, BadInput

if TYPE_CHECKING:
    from rich.console import RenderableType

    from surefoot.guide.outside import Told
    from surefoot.journal import Journal
    from surefoot.units import Unit


def register(app: typer.Typer) -> None:
    """Add `log`."""
    app.command("log")(log)


def log(
    unit: UnitName,
    setting: Annotated[
        list[str] | None, typer.Option("--set", metavar="KNOB=VALUE", help="Value of a knob; repeat for several.")
    ] = None,
    outcome: Annotated[str | None, typer.Option("--outcome", help="held, reset, hang, miscompute, ...")] = None,
    minutes: Annotated[float | None, typer.Option("--minutes", help="Under load, to the end or the failure.")] = None,
    load: Annotated[str, typer.Option("--load", help="What was run.")] = "unknown",
    when: Annotated[str | None, typer.Option("--when", help="Date and time, ISO 8601. Default: now.")] = None,
    untimed: Annotated[bool, typer.Option("--untimed", help="It failed some time within these minutes.")] = False,
    ambient: Annotated[float | None, typer.Option("--ambient", help="Room temperature, °C.")] = None,
    mode: Annotated[str | None, typer.Option("--mode", help="Power mode.")] = None,
    note: Annotated[str, typer.Option("--note", help="Anything else.")] = "",
    table: Annotated[
        Path | None, typer.Option("--from", metavar="TABLE", help="A hand-kept table of runs, with any headings.")
    ] = None,
    columns: Annotated[
        list[str] | None, typer.Option("--map", metavar="HEADER=MEANING", help="What a column of the table holds.")
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Take the columns as matched, without asking.")] = False,
    as_json: JsonFlag = False,
) -> None:
    """Record a run done elsewhere, or a whole table of them."""
    with open_journal() as journal:
        card = journal.unit(unit)
        if table is not None:
            runs, problems = _from_table(card, table, columns, yes)
        else:
            runs, problems = [_one(card, setting, outcome, minutes, load, when, untimed, ambient, mode, note)], []
        ids = _write(journal, runs)
    result = {"unit": unit, "logged": ids, "problems": problems}
    show(result, lambda: _view(card, ids, runs, problems), as_json)


def _one(
    card: Unit,
    setting: list[str] | None,
    outcome: str | None,
    minutes: float | None,
    load: str,
    when: str | None,
    untimed: bool,
    ambient: float | None,
    mode: str | None,
    note: str,
) -> Told:
    from surefoot.guide.outside import moment_of, outcome_named, told, values_of

    if outcome is None or minutes is None:
        raise BadInput("a run needs --outcome and --minutes.", remedy="Or give a table with --from.")
    return told(
        card,
        values_of(card, pairs(setting, "--set")),
        outcome_named(outcome),
        minutes,
        load=load,
        at=moment_of(when, "--when") if when else None,
        note=note,
        ambient_celsius=ambient,
        power_mode=mode,
        timed=not untimed,
        where="the run",
    )


def _from_table(card: Unit, path: Path, columns: list[str] | None, yes: bool) -> tuple[list[Told], list[str]]:
    from rich.table import Table as View

    from surefoot.guide.outside import match_columns, rows_told
    from surefoot.logs.tables import read_table

    try:
        data = path.read_bytes()
    except OSError as error:
        raise BadInput(f"cannot be read: {error.strerror}.", where=str(path)) from None
    found = read_table(data)
    matched = match_columns(card, found.header, pairs(columns, "--map"))
    runs, problems = rows_told(card, found.header, found.rows, matched, list(found.lines))
    problems = [f"line {problem.line}: {problem.text}" for problem in found.problems] + problems
    if yes or not sys.stdin.isatty():
        if not yes and problems:
            raise BadInput(problems[0], where=str(path), remedy="Give --yes to log the rows that are understood.")
        return runs, problems
    out = console(stderr=True)
    view = View("column", "is taken as", "first value", box=None, pad_edge=False)
    for place, name in enumerate(found.header):
        view.add_row(name, matched[name], found.rows[0][place] if found.rows else "")
    out.print(view)
    out.print(f"{len(runs)} runs understood, {len(problems)} rows not.")
    for text in problems[:10]:
        out.print(f"? {text}", markup=False)
    if not typer.confirm("Log these runs?", default=False, err=True):
        raise AnswerIsNo("nothing was logged.", remedy="Correct a column with --map 'HEADER=MEANING'.")
    return runs, problems


def _write(journal: Journal, runs: list[Told]) -> list[int]:
    with journal.together():
        return [journal.log_run(one.plan, one.closing, at=one.at) for one in runs]


def _view(card: Unit, ids: list[int], runs: list[Told], problems: list[str]) -> list[RenderableType]:
    from rich.text import Text

    parts: list[RenderableType] = [
        Text(
            f"Run {number}: {one.plan.setting.describe(card)}, {one.closing.outcome.value} "
            f"after {one.closing.minutes:g} min."
        )
        for number, one in zip(ids, runs, strict=True)
    ]
    if len(parts) > 12:
        parts = [*parts[:12], Text(f"... and {len(ids) - 12} more; see `surefoot runs`.")]
    return parts + [Text(f"? not logged: {text}", style="yellow") for text in problems]
