"""`surefoot trace import`: a sensor log from any logger, shown as it was understood, corrected once, remembered."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from surefoot.cli.common import JsonFlag, console, open_journal, pairs, show
from surefoot.errors import AnswerIsNo, BadInput

if TYPE_CHECKING:
    from rich.console import Console, RenderableType

    from surefoot.guide.outside import Told
    from surefoot.journal import Journal
    from surefoot.logs import ImportedLog, Problem
    from surefoot.runs import Run
    from surefoot.units import Unit

SHOWN_PROBLEMS = 12
SHOWN_QUESTIONS = 6
NEWEST = "last"


def register(traces: typer.Typer) -> None:
    """Add `import` to the group `trace`."""
    traces.command("import")(import_log)


def import_log(
    file: Annotated[
        Path,
        typer.Argument(metavar="FILE", help="The log: a table of text, JSON, Parquet or a spreadsheet, packed or not."),
    ],
    unit: Annotated[str, typer.Option("--unit", metavar="UNIT", help="The unit it was taken on.")],
    run: Annotated[
        str | None,
        typer.Option("--run", metavar="RUN", help="Run it belongs to, or `last`. Default: a new run, no evidence."),
    ] = None,
    mapped: Annotated[
        list[str] | None,
        typer.Option(
            "--map", metavar="HEADER=CHANNEL", help="What a column is; also ignore, time, date; #3 for a column."
        ),
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Take the columns as recognised, without asking.")] = False,
    interval: Annotated[
        float | None,
        typer.Option("--interval", metavar="SECONDS", help="Step between samples, where no column tells it."),
    ] = None,
    timezone: Annotated[
        str | None, typer.Option("--timezone", metavar="ZONE", help="Zone of local stamps, such as Europe/Berlin.")
    ] = None,
    day_first: Annotated[
        bool | None, typer.Option("--day-first/--month-first", help="Settles dates like 3/4/2026.")
    ] = None,
    load: Annotated[str, typer.Option("--load", help="What was run meanwhile, for a new run.")] = "unknown",
    setting: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="KNOB=VALUE", help="What was set meanwhile, for a new run; repeat for several."),
    ] = None,
    ambient: Annotated[float | None, typer.Option("--ambient", help="Room temperature, °C, for a new run.")] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Add it also where the run has samples: at equal times the log's count.")
    ] = False,
    sure: Annotated[bool, typer.Option("--sure", help="What looks like a slip is right as it stands.")] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Show what would be stored; store nothing.")] = False,
    as_json: JsonFlag = False,
) -> None:
    """Import a sensor log as the trace of a run.

    What is not sure is asked, or refused where nobody can be asked; samples that a run has are never replaced unasked.
    """
    from surefoot.logs import log_fingerprint, read_log

    data = _bytes(file)
    with open_journal() as journal:
        card = journal.unit(unit)
        target = _run(journal, unit, run)
        if target is not None and (setting or ambient is not None):
            raise BadInput(
                f"run {target.id} has its setting and its room already.",
                where="--set, --ambient",
                remedy=f"Correct it with `surefoot runs amend {target.id}`.",
            )
        values = _values(card, setting)
        try:
            said = {**(journal.remembered_columns(log_fingerprint(data)) or {}), **pairs(mapped, "--map")}
            options: dict[str, Any] = {
                "timezone": timezone,
                "day_first": day_first,
                "interval_seconds": interval,
            }
            log = read_log(data, corrections=said, **options)
            if not (yes or dry_run):
                log, said = _confirmed(log, said, lambda words: read_log(data, corrections=words, **options), as_json)
        except BadInput as error:
            raise BadInput(error.what, where=error.where or str(file), remedy=error.remedy) from None
        made = None if target else _made(journal, card, log, file, load, values, ambient)
        if made is not None and not sure:
            _settle(journal, card, made, as_json)
        there = _there_already(journal, card, target, made, log, replace, sure)
        stored = None if dry_run else there or _store(journal, target, made, log, said, file)
    result = _result(log, unit, stored, dry_run or there is not None)
    show(result, lambda: _view(log, unit, stored, target is None, dry_run, there is not None), as_json)


def _bytes(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        raise BadInput(f"cannot be read: {error.strerror}.", where=str(file)) from None


def _run(journal: Journal, unit_name: str, wanted: str | None) -> Run | None:
    if wanted is None:
        return None
    if wanted == NEWEST:
        runs = journal.runs(unit_name)
        if not runs:
            raise BadInput("there is no run yet.", where=f"unit {unit_name!r}", remedy="Leave --run out to make one.")
        return runs[-1]
    try:
        number = int(wanted)
    except ValueError:
        raise BadInput(f"{wanted!r} is no run.", where="--run", remedy="Give its number, or `last`.") from None
    found = journal.run(number)
    if found.plan.unit_name != unit_name:
        raise BadInput(f"run {number} is one of unit {found.plan.unit_name!r}, not of {unit_name!r}.", where="--run")
    return found


def _confirmed(log: ImportedLog, said: dict[str, str], again: Any, as_json: bool) -> tuple[ImportedLog, dict[str, str]]:
    """The log as a person confirmed it. Without a terminal it is taken when every column taken is sure enough."""
    if not sys.stdin.isatty() or as_json:
        unsure = log.questions
        if unsure:
            more = f"; and {len(unsure) - SHOWN_QUESTIONS} more" if len(unsure) > SHOWN_QUESTIONS else ""
            raise BadInput(
                f"not sure: {'; '.join(_question(one) for one in unsure[:SHOWN_QUESTIONS])}{more}.",
                remedy="Give --yes to take it so, or say what a column is with --map, as in --map '#1=time[s]'.",
            )
        return log, said
    out = console(stderr=True)
    while True:
        for part in _columns_view(log, all_columns=True):
            out.print(part)
        for one in log.questions:
            out.print(f"? {_question(one)}", markup=False)
        answer = _asked(out)
        if answer == "":
            return log, said
        if answer.lower() in ("q", "quit", "n", "no"):
            raise AnswerIsNo("nothing was stored.")
        try:
            changes = pairs([answer], "correction")
            log, said = again({**said, **changes}), {**said, **changes}
        except BadInput as error:
            out.print(f"! {error.message()}", markup=False)


def _asked(out: Console) -> str:
    out.print("Enter stores it; #3=gpu.temperature, #3=ignore or #3=time corrects a column; q stops.", markup=False)
    try:
        return out.input("> ").strip()
    except EOFError:
        raise AnswerIsNo("nothing was stored.") from None


def _question(one: Problem) -> str:
    where = f"line {one.line}: " if one.line else ""
    return f"{where}{one.column!r} {one.text}" if one.column else f"{where}{one.text}"


def _there_already(
    journal: Journal, card: Unit, target: Run | None, made: Told | None, log: ImportedLog, replace: bool, sure: bool
) -> int | None:
    """The run that has all of it already, or None. Raises BadInput where it would stand beside or instead of what a run
    has."""
    from surefoot.guide.overlap import overlap, same_log

    if target is None:
        return (
            None
            if sure or made is None
            else same_log(journal, journal.runs(card.name), log.trace, made.closing.minutes)
        )
    if not journal.has_trace(target.id):
        return None
    found = overlap(journal.trace(target.id), log.trace)
    if found.channels and not found.same and not replace:
        raise BadInput(
            f"run {target.id} has {len(found.channels)} of its channels in that time already: {found.words}.",
            remedy="Nothing was stored. --replace adds it all the same: at equal times the log's values count then.",
        )
    return target.id if found.same else None


def _values(card: Unit, setting: list[str] | None) -> dict[str, float]:
    from surefoot.guide.outside import values_of

    return values_of(card, pairs(setting, "--set"))


def _made(
    journal: Journal,
    card: Unit,
    log: ImportedLog,
    file: Path,
    load: str,
    values: dict[str, float],
    ambient: float | None,
) -> Told:
    """The run that a log by itself becomes: no evidence, under the card as it was then."""
    from surefoot.guide.outside import told
    from surefoot.runs import Outcome

    # A stamp without a zone is taken in this computer's own.
    try:
        at = log.started_at.astimezone() if log.started_at else None
    except (ValueError, OverflowError, OSError):
        raise BadInput(
            f"the log begins at {log.started_at}, a time that this computer cannot tell in its zone.",
            where=str(file),
            remedy="Give the true date: set the column of times by --map, or take the date out of it.",
        ) from None
    return told(
        card,
        values,
        Outcome.VOID,
        round(log.trace.duration_minutes, 4),
        then=journal.card_at(card.name, at) if at else None,
        load=load,
        at=at,
        ambient_celsius=ambient,
        note=f"trace imported from {file.name}" + ("" if values else "; the setting was not told"),
        judged_by="imported log: no evidence of stability",
    )


def _settle(journal: Journal, card: Unit, made: Told, as_json: bool) -> None:
    from datetime import UTC, datetime

    from surefoot.cli.log import settle_doubts
    from surefoot.guide.slips import slips

    if not made.plan.setting.is_stock:
        doubts = slips(card, [made], journal.runs(card.name), datetime.now(UTC))[0]
        if doubts:
            settle_doubts(doubts, "Import it so all the same?", as_json)


def _store(
    journal: Journal, target: Run | None, made: Told | None, log: ImportedLog, said: dict[str, str], file: Path
) -> int:
    if not log.trace.channels:
        raise BadInput(
            "no column became a channel.", where=str(file), remedy="Say what they are with --map HEADER=CHANNEL."
        )
    with journal.together():
        if target is not None:
            number = target.id
        else:
            assert made is not None
            number = journal.log_run(made.plan, made.closing, at=made.at)
        journal.add_trace(number, log.trace)
        if said:
            journal.remember_columns(log.fingerprint, _by_header(log, said))
    return number


def _by_header(log: ImportedLog, said: dict[str, str]) -> dict[str, str]:
    """Corrections by header text: what ``#3`` means is remembered by the name of the third column."""
    names = {f"#{column.index + 1}": column.header for column in log.columns}
    return {names.get(key, key): value for key, value in said.items()}


def _result(log: ImportedLog, unit_name: str, run: int | None, dry_run: bool) -> dict[str, Any]:
    return {
        "unit": unit_name,
        "run": run,
        "stored": not dry_run,
        "samples": len(log.trace),
        "minutes": log.trace.duration_minutes,
        "started_at": log.started_at,
        "channels": sorted(log.trace.channels),
        "columns": list(log.columns),
        "problems": list(log.problems),
        "questions": list(log.questions),
        "notes": list(log.notes),
        "encoding": log.encoding,
        "delimiter": log.delimiter,
        "decimal": log.decimal,
        "header_line": log.header_line,
        "time": log.time_how,
        "fingerprint": log.fingerprint,
    }


def _columns_view(log: ImportedLog, all_columns: bool) -> list[RenderableType]:
    from rich.table import Table
    from rich.text import Text

    from surefoot.logs import ASK_BELOW

    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("#", justify="right", no_wrap=True)
    for name, most in (("column", 26), ("becomes", 27), ("sure", 5), ("first", 14)):
        table.add_column(name, max_width=most, overflow="fold" if most > 20 else "ellipsis", no_wrap=most <= 20)
    for column in log.columns:
        if not (all_columns or column.channel or column.role == "time"):
            continue
        mark = "?" if column.confidence < ASK_BELOW and (column.channel or column.role == "time") else ""
        perhaps = f"- ({column.suggestion}?)" if column.suggestion else "- not understood"
        becomes = column.channel or {"time": "(time)", "ignored": "-", "unknown": perhaps}[column.role]
        sure = f"{column.confidence:.0%}{mark}" if column.channel or column.role == "time" else ""
        first = column.sample[0] if column.sample else ""
        cells = (str(column.index + 1), column.header, becomes, sure, first)
        table.add_row(*(Text(cell) for cell in cells), style="yellow" if mark else "")
    return [table]


def _view(
    log: ImportedLog, unit_name: str, run: int | None, made: bool, dry_run: bool, there: bool = False
) -> list[RenderableType]:
    from rich.text import Text

    parts = _columns_view(log, all_columns=True)
    decimal = "comma" if log.decimal == "," else "point"
    delimiter = {"\t": "tab", "": "none"}.get(log.delimiter, log.delimiter)
    parts.append(Text(f"Read as {log.encoding}, delimiter {delimiter}, decimal {decimal}; time from {log.time_how}."))
    parts += [Text(f"  {note}") for note in log.notes]
    shown = log.problems[:SHOWN_PROBLEMS]
    for problem in shown:
        where = f"line {problem.line}" if problem.line else "file"
        where += f", {problem.column}" if problem.column else ""
        parts.append(Text(f"? {where}: {problem.text}", style="yellow"))
    if len(log.problems) > len(shown):
        parts.append(Text(f"? and {len(log.problems) - len(shown)} more; --json lists them all.", style="yellow"))
    start = f", from {log.started_at.isoformat(sep=' ', timespec='seconds')}" if log.started_at else ""
    size = f"{len(log.trace)} samples, {log.trace.duration_minutes:.1f} min, {len(log.trace.channels)} channels{start}"
    if there and run is not None:
        parts.append(Text(f"Run {run} of {unit_name} holds all of this log already: nothing was stored."))
        if made:
            parts.append(Text("If it is to stand twice, give --sure."))
    elif dry_run:
        parts.append(Text(f"Dry run: {size}; nothing was stored."))
    elif made:
        parts.append(Text(f"Stored as run {run} of {unit_name}, noted as void (no evidence): {size}."))
        parts.append(Text("To attach a log to a run that is there, give --run with its number."))
    else:
        parts.append(Text(f"Added to run {run} of {unit_name}: {size}."))
    return parts
