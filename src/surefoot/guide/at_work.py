"""At work on a unit: the one writer, the cautions agreed to, what was left open judged, and stock to begin from."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from surefoot.guide.bench import Bench
from surefoot.guide.recovery import recover
from surefoot.guide.safety import consent
from surefoot.guide.stock import to_stock


@contextmanager
def at_work(bench: Bench, *, off_stock: bool, agreed: bool) -> Iterator[None]:
    """Be at work on the bench's unit while the block runs; every verb with hands comes through here.

    ``off_stock``: whether settings off stock will be applied, which needs the cautions agreed to; ``agreed``: they were
    on the command line. Raises AnswerIsNo when the user declines, JournalError when another session holds the unit.
    """
    with bench.journal.writer(bench.unit.name):
        if off_stock:
            consent(bench, agreed)
        if recover(bench):
            to_stock(bench)
        yield
