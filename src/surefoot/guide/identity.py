"""Whether the machine in hand is the unit: asked once, remembered, and another machine is refused."""

from __future__ import annotations

from surefoot.errors import AnswerIsNo
from surefoot.guide.bench import Bench
from surefoot.guide.voice import at_terminal


def see_identity(bench: Bench, told: bool) -> None:
    """See that this machine is the bench's unit, and keep that in the journal.

    ``told``: the user said on the command line that it is. Where nothing is known yet and nobody is there, consent for
    the unit speaks for the machine it was given on. Raises AnswerIsNo for another machine than the journal knows.
    """
    identity = bench.machine.identity()
    name = bench.unit.name
    known = bench.journal.known_machines(name)
    if not identity or identity in known:
        return
    if not told and (known or bench.voice.attended):
        if known:
            bench.voice.say(
                f"The journal knows unit {name!r} as another machine than this one. What holds on one machine may "
                "crash another, of the same model too.",
                "warn",
            )
            if not at_terminal(bench.voice):
                raise _another(name)
        answer = bench.voice.choose(
            f"Is the machine that this runs on the unit {name!r}?",
            {"yes": "it is this very machine", "no": "it is another; change nothing"},
            "no" if known else "yes",
        )
        if answer != "yes":
            raise _another(name)
    bench.journal.know_machine(name, identity, at=bench.machine.now())


def _another(name: str) -> AnswerIsNo:
    return AnswerIsNo(
        f"nothing was changed: this machine is not known as unit {name!r}.",
        remedy="If it is (a new disk, a new installation), say so with --this-machine.",
    )
