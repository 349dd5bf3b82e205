"""`surefoot demo`: a whole session on a virtual unit."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from surefoot.cli.common import JsonFlag, console, open_journal, show

if TYPE_CHECKING:
    from rich.console import RenderableType

    from surefoot.guide.demo import Demo
    from surefoot.guide.demo_pool import SmallPool


def register(app: typer.Typer) -> None:
    """Add `demo`."""
    app.command("demo")(demo)


def demo(
    seed: Annotated[int, typer.Option("--seed", min=0, help="Another seed, another chip.")] = 15,
    pool: Annotated[
        bool,
        typer.Option("--pool", help="Six more units of the kind, the pool they make, and what it lends."),
    ] = False,
    report: Annotated[bool, typer.Option("--report/--no-report", help="Also write the report page.")] = True,
    as_json: JsonFlag = False,
) -> None:
    """Play a whole session on a virtual unit: search, a crash, recovery, recall, report."""
    from surefoot.cli.voice import TerminalVoice
    from surefoot.guide.demo import play

    with open_journal() as journal:
        voice = TerminalVoice(console(stderr=as_json), attended=False)
        voice.say(
            "A virtual desktop is measured, tuned and measured again, on a clock of its own: nothing of this machine "
            "is changed. All else is the real thing: the search, the journal on the disk, the recovery, the recall.",
        )
        played = play(journal, seed, voice)
        page = _report(journal, played) if report else None
        files = {"journal": journal.path, "report": page}
        small = _small_pool(journal, played, seed, voice, files, report) if pool else None
    show(_for_tools(played, files, small), lambda: _view(played, files, small), as_json)


def _small_pool(journal: Any, played: Demo, seed: int, voice: Any, files: dict[str, Any], report: bool) -> SmallPool:
    from surefoot.guide.demo_pool import SIBLINGS, play_siblings, show_pool

    voice.say(f"{SIBLINGS} more units of the kind are tuned, each another chip, invented like the first.", "quiet")
    last = max(run.closed_at or run.opened_at for run in journal.runs(played.unit.name))
    play_siblings(journal, played.unit, seed, last)
    files["pool"] = Path(journal.path).parent / f"{played.unit.name}-pool.parquet"
    now = max(run.closed_at or run.opened_at for unit in journal.units() for run in journal.runs(unit.name))
    made = show_pool(journal, played.unit, files["pool"], now)
    if report:
        from surefoot.report.fleet import write_fleet_page

        files["all units"] = write_fleet_page(made.fleet, Path(journal.path).parent / f"{played.unit.name}-fleet.html")
    return made


def _report(journal: Any, played: Demo) -> Path:
    from surefoot.report.page import write_report

    path = Path(journal.path).parent / f"{played.unit.name}-report.html"
    write_report(journal, played.unit, path)
    return path


def _for_tools(played: Demo, files: dict[str, Any], small: SmallPool | None) -> dict[str, Any]:
    told = {} if small is None else {"pool": small.built, "lends": small.lends, "with_pool": small.claim}
    return {
        **told,
        "unit": played.unit.name,
        "recall": played.recall,
        "crashes": played.crashes,
        "bench_hours": played.bench_hours,
        "true_mttf_hours": played.true_mttf_hours,
        "files": files,
    }


def _view(played: Demo, files: dict[str, Any], small: SmallPool | None) -> list[RenderableType]:
    from rich.text import Text

    from surefoot.wording import count

    answer = played.recall
    name = played.unit.name
    crashes = count(played.crashes, "crash", "crashes")
    parts: list[RenderableType] = [
        Text(),
        Text(f"Known-stable: {answer.as_setting().describe(played.unit)}", style="bold"),
        Text(answer.words),
        Text(
            f"It took {played.bench_hours:.1f} virtual bench hours and {crashes}. What no real bench can tell: "
            f"the true mean time to failure of this setting is {played.true_mttf_hours:,.0f} h."
        ),
        Text(),
    ]
    if small is not None:
        parts.append(Text("What the others would lend it, its own runs left out:", style="bold"))
        parts += [Text(text) for text in small.lends]
        parts += [Text(f"With it: {small.claim.words}"), Text()]
    # Paths stand alone on their line, unbroken, so that they can be copied.
    for what, path in files.items():
        if path is not None:
            parts += [Text(f"{what}:"), Text(f"  {path}", no_wrap=True, overflow="ignore")]
    parts.append(Text(f"Now try: surefoot recall {name}; surefoot runs {name}; surefoot compare {name}"))
    return parts
