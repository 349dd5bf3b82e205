"""`surefoot log`: runs that were made without the tool."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from surefoot.cli.common import JsonFlag, UnitName, attended, console, open_journal, pairs, show, sure
from surefoot.errors import AnswerIsNo, BadInput
from surefoot.wording import count

if TYPE_CHECKING:
    from rich.console import RenderableType

    from surefoot.guide.outside import Told
    from surefoot.journal import Journal
    from surefoot.logs.hand_table import HandTable
    from surefoot.units import Unit

SHOWN = 12


def register(app: typer.Typer) -> None:
    """Add `log`."""
    app.command("log")(log)


def log(
    unit: UnitName,
    setting: Annotated[
        list[str] | None, typer.Option("--set", metavar="KNOB=VALUE", help="Value of a knob; repeat for several.")
    ] = None,
    outcome: Annotated[str | None, typer.Option("--outcome", help="held, reset, hang, miscompute, ...")] = None,
    minutes: Annotated[
        str | None, typer.Option("--minutes", help="Under load, to the end or the failure: 30, 2h, 1:30:00.")
    ] = None,
    load: Annotated[str, typer.Option("--load", help="What was run.")] = "unknown",
    when: Annotated[
        str | None, typer.Option("--when", metavar="DATE", help="When it began: 2026-03-04 14:30, 4 Mar 2026. [now]")
    ] = None,
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
    day_first: Annotated[
        bool | None, typer.Option("--day-first/--month-first", help="Settles dates like 3/4/2026.")
    ] = None,
    yes: Annotated[
        bool, typer.Option("--yes", help="Take the columns as matched, and leave out every row that is not sure.")
    ] = False,
    sure: Annotated[bool, typer.Option("--sure", help="What looks like a slip is right as it stands.")] = False,
    as_json: JsonFlag = False,
) -> None:
    """Record a run done elsewhere, or a whole table of them. What looks like a slip is asked, or refused."""
    with open_journal() as journal:
        card = journal.unit(unit)
        if table is not None:
            _log_table(journal, card, table, columns, day_first, yes=yes, sure=sure, as_json=as_json)
            return
        one = _one(journal, card, setting, outcome, minutes, load, when, day_first, untimed, ambient, mode, note)
        doubts = _doubts(journal, card, [one])[0]
        if doubts and not sure:
            settle_doubts(doubts, "Log it as it stands?", as_json)
        ids = _write(journal, [one])
    result = {"unit": unit, "logged": ids, "doubts": list(doubts), "problems": []}
    show(result, lambda: _logged(card, ids, [one]), as_json)


def settle_doubts(doubts: tuple[str, ...], question: str, as_json: bool) -> None:
    """Ask whether what looks like a slip is right. Raises BadInput where nobody can be asked, AnswerIsNo for a no."""
    if as_json or not attended():
        raise BadInput(f"{'; '.join(doubts)}: a slip?", remedy="Nothing was written. If it is right, add --sure.")
    out = console(stderr=True)
    for text in doubts:
        out.print(f"? {text}", markup=False)
    if not sure(f"That looks like a slip. {question}", default=False):
        raise AnswerIsNo("nothing was written.")


def _one(
    journal: Journal,
    card: Unit,
    setting: list[str] | None,
    outcome: str | None,
    minutes: str | None,
    load: str,
    when: str | None,
    day_first: bool | None,
    untimed: bool,
    ambient: float | None,
    mode: str | None,
    note: str,
) -> Told:
    from surefoot.guide.outside import date_of, length_is_bare, minutes_named, moment_of, outcome_named, told, values_of

    if outcome is None or minutes is None:
        raise BadInput("a run needs --outcome and --minutes.", remedy="Or give a table with --from.")
    at = moment_of(when, "--when", day_first) if when else None
    return told(
        card,
        values_of(card, pairs(setting, "--set")),
        outcome_named(outcome),
        minutes_named(minutes),
        then=journal.card_at(card.name, at) if at else card,
        load=load,
        at=at,
        whole_day=bool(when) and date_of(when or "", "--when", day_first).whole_day,
        note=note,
        ambient_celsius=ambient,
        power_mode=mode,
        timed=not untimed,
        bare_length=length_is_bare(minutes),
    )


def _doubts(journal: Journal, card: Unit, runs: list[Told]) -> list[tuple[str, ...]]:
    from surefoot.guide.slips import slips

    return slips(card, runs, journal.runs(card.name), datetime.now(UTC))


def _log_table(
    journal: Journal,
    card: Unit,
    path: Path,
    columns: list[str] | None,
    day_first: bool | None,
    *,
    yes: bool,
    sure: bool,
    as_json: bool,
) -> None:
    from surefoot.guide.outside import rows_told
    from surefoot.logs.hand_table import read_hand_table
    from surefoot.logs.tables import read_table

    try:
        data = path.read_bytes()
    except OSError as error:
        raise BadInput(f"cannot be read: {error.strerror}.", where=str(path)) from None
    found = read_hand_table(read_table(data), card, pairs(columns, "--map"), day_first=day_first)
    runs, refused = rows_told(card, found.rows, lambda at: journal.card_at(card.name, at))
    problems = [str(problem) for problem in found.problems] + refused
    doubts = [()] * len(runs) if sure else _doubts(journal, card, runs)
    taken = [one for one, said in zip(runs, doubts, strict=True) if not said]
    dropped = [f"{one.place}: {'; '.join(said)}" for one, said in zip(runs, doubts, strict=True) if said]
    if not yes:
        unsure = [] if sure else [*found.doubts, *dropped]
        if as_json or not attended():
            _refuse(path, problems, unsure)
        else:
            taken, dropped = _confirmed(found, runs, taken, problems, dropped)
    ids = _write(journal, taken)
    result = {
        "unit": card.name,
        "logged": ids,
        "columns": {column.heading: column.meaning for column in found.columns},
        "outcomes": dict(found.readings),
        "doubts": list(found.doubts),
        "left_out": dropped,
        "problems": problems,
    }

    def view() -> list[RenderableType]:
        head = _columns(found) if yes else []
        return [*head, *_logged(card, ids, taken), *_left_out(problems, dropped)]

    show(result, view, as_json)
    if not ids:
        raise AnswerIsNo("no run was logged.", where=str(path))


def _refuse(path: Path, problems: list[str], unsure: list[str]) -> None:
    """Unattended, a table is taken whole or not at all. Raises BadInput with the first line that is not sure."""
    if problems:
        more = f" ({len(problems) - 1} more)" if len(problems) > 1 else ""
        raise BadInput(
            f"{problems[0]}{more}",
            where=str(path),
            remedy="Nothing was logged; --yes logs what is understood.",
        )
    if unsure:
        more = f" ({len(unsure) - 1} more)" if len(unsure) > 1 else ""
        raise BadInput(
            f"{unsure[0]}{more}: a slip?",
            where=str(path),
            remedy="Nothing was logged. --sure takes it as it stands, --yes leaves such rows out, --map says a column.",
        )


def _confirmed(
    found: HandTable, runs: list[Told], taken: list[Told], problems: list[str], dropped: list[str]
) -> tuple[list[Told], list[str]]:
    out = console(stderr=True)
    for part in _columns(found):
        out.print(part)
    out.print(
        f"{count(len(taken), 'run')} understood, {len(dropped)} not sure, {count(len(problems), 'row')} not understood."
    )
    for text in [*dropped, *problems][:SHOWN]:
        out.print(f"? {text}", markup=False)
    if len(dropped) + len(problems) > SHOWN:
        out.print(f"? and {len(dropped) + len(problems) - SHOWN} more.", markup=False)
    if dropped:
        question = f"{len(dropped)} look like slips. Log them as they stand, with the others?"
        if sure(question, default=False):
            taken, dropped = runs, []
    if not taken:
        raise AnswerIsNo("nothing was logged: no row is sure.")
    if not sure(f"Log {count(len(taken), 'run')}?", default=False):
        raise AnswerIsNo("nothing was logged.", remedy="Correct a column with --map 'HEADER=MEANING'.")
    return taken, dropped


def _columns(found: HandTable) -> list[RenderableType]:
    from rich.table import Table
    from rich.text import Text

    view = Table("column", "is taken as", box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for column in found.columns:
        unit = f", in {column.unit}" if column.unit and column.unit != column.meaning else ""
        view.add_row(Text(column.heading), Text(column.meaning + unit))
    parts: list[RenderableType] = [view]
    parts += [Text(f"? {text}", style="yellow") for text in found.doubts]
    words = Table("said of the outcome", "is taken as", box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for said, meant in list(found.readings.items())[:SHOWN]:
        words.add_row(Text(said), Text(meant))
    return [*parts, words]


def _write(journal: Journal, runs: list[Told]) -> list[int]:
    with journal.together():
        return [journal.log_run(one.plan, one.closing, at=one.at) for one in runs]


def _logged(card: Unit, ids: list[int], runs: list[Told]) -> list[RenderableType]:
    from rich.text import Text

    parts: list[RenderableType] = [
        Text(
            f"Run {number}: {one.plan.setting.describe(card)}, {one.closing.outcome.value} "
            f"after {one.closing.minutes:g} min."
        )
        for number, one in zip(ids, runs, strict=True)
    ]
    if len(parts) > SHOWN:
        parts = [*parts[:SHOWN], Text(f"... and {len(ids) - SHOWN} more; see `surefoot runs`.")]
    return parts


def _left_out(problems: list[str], dropped: list[str]) -> list[RenderableType]:
    from rich.text import Text

    return [Text(f"? not logged: {text}", style="yellow") for text in [*dropped, *problems]]
