"""At work on a unit: the one writer, the cautions agreed to, what was left open judged, stock before and after."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from surefoot.guide.aside import aside
from surefoot.guide.bench import Bench
from surefoot.guide.card_commands import see_commands
from surefoot.guide.identity import see_identity
from surefoot.guide.interrupts import no_interrupts
from surefoot.guide.recovery import recover
from surefoot.guide.remote.lost import LineLost
from surefoot.guide.safety import consent
from surefoot.guide.stock import to_stock
from surefoot.journal.filesystem import ground_of


@contextmanager
def at_work(
    bench: Bench, *, off_stock: bool, agreed: bool, this_machine: bool = False, stays: bool = False
) -> Iterator[None]:
    """Be at work on the bench's unit while the block runs; every verb with hands comes through here.

    ``off_stock``: whether settings off stock will be applied, which needs the cautions agreed to and the machine to be
    the unit; ``agreed``, ``this_machine``: so it was said on the command line; ``stays``: what is applied is meant to
    stay. An interrupt is told where the unit is. Raises AnswerIsNo when the user declines, BadInput for a card whose
    commands were not confirmed on this machine with nobody there to ask, JournalError when another session holds it.
    """
    with bench.journal.writer(bench.unit.name):
        if off_stock:
            if bench.machine.source != "virtual" and (words := ground_of(bench.journal.path.resolve().parent).words):
                bench.voice.say(words, "warn")
            consent(bench, agreed)
            see_identity(bench, this_machine)
        if bench.machine.source != "virtual":
            see_commands(bench.unit, bench.voice)
        recovered = recover(bench)
        left = bench.left_applied
        if left is not None:
            bench.voice.say(f"{left.describe(bench.unit)} may still be applied: back to stock first.", "warn")
        if recovered or left is not None:
            to_stock(bench)
        try:
            yield
        except LineLost:
            # Nobody is there to be spoken to; the agent, or its guardian, puts the unit back by itself.
            aside(bench.voice).live(None)
            raise
        except KeyboardInterrupt:
            where = where_it_is(bench)
            aside(bench.voice).say(f"Stopped. {where}", "warn")
            raise
        except (Exception, SystemExit):
            where_it_is(bench)
            raise
        if not stays:
            where_it_is(bench)


def where_it_is(bench: Bench) -> str:
    """Put the unit back to stock where the journal does not say that it is there; say in words where it is now."""
    with no_interrupts():
        aside(bench.voice).live(None)
        if bench.left_applied is None or to_stock(bench):
            return "The unit is at stock."
        return "See that the unit is at stock: put it back by hand or restart it."
