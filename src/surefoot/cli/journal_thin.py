"""`surefoot journal thin`: samples of old traces taken away, by somebody's word."""

from __future__ import annotations

from typing import Annotated

import typer

from surefoot.cli.common import JsonFlag, attended, open_journal, show, sure, working
from surefoot.cli.runs import user_name
from surefoot.errors import BadInput
from surefoot.wording import count


def register(group: typer.Typer) -> None:
    """Add `thin` to `journal`."""
    group.command("thin")(thin)


def thin(
    units: Annotated[list[str], typer.Argument(metavar="UNIT...", help="Whose traces.")],
    every: Annotated[float, typer.Option("--every", metavar="SECONDS", min=1, help="Keep one sample each so long.")],
    older: Annotated[
        float, typer.Option("--older", metavar="DAYS", min=0, help="Only of runs that began so long ago.")
    ] = 90,
    yes: Annotated[bool, typer.Option("--yes", help="Do it without asking.")] = False,
    as_json: JsonFlag = False,
) -> None:
    """Keep fewer samples of old traces, for good: says what would go and asks; a record of it stays.

    One sample for each stretch of time stays, and of every channel its highest and its lowest, each as it was
    measured. Runs, outcomes, heartbeats and scores stay as they are, and with them all that is known of stability.
    """
    from rich.text import Text

    from surefoot.guide.thinning import samples, thin_runs, to_thin

    with open_journal() as journal:
        with working("Counting samples"):
            planned = to_thin(journal, units, every, older_days=older)
        before, after = samples(planned)
        told = f"{before:,} samples of {count(len(planned), 'run')} would become {after:,}, for good."
        if not planned:
            said = f"No trace of runs older than {older:g} days would lose a sample."
            show({"runs": [], "samples_before": 0, "samples_after": 0, "done": False}, lambda: Text(said), as_json)
            return
        if not yes:
            if not attended() or as_json:
                raise BadInput(
                    told,
                    remedy="Nothing was taken away. Give --yes to do it; `surefoot journal backup FILE` first keeps "
                    "all of them.",
                )
            sure(f"{told} Do it?", default=False, abort=True)
        with working("Thinning"):
            done = thin_runs(journal, planned, every, who=user_name())
    before, left = samples(done)
    said = (
        f"{before:,} samples of {count(len(done), 'run')} became {left:,}. "
        "The room they took is used for what is written next."
    )
    record = {
        "runs": [one.run_id for one in done],
        "samples_before": before,
        "samples_after": left,
        "done": True,
    }
    show(record, lambda: Text(said), as_json)
