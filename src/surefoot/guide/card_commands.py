"""Whether the commands on a card may run on this machine: shown in full, asked once, remembered here."""

from __future__ import annotations

from typing import Final

from surefoot.errors import AnswerIsNo, BadInput
from surefoot.guide.voice import Voice
from surefoot.rig.card_commands import ELEVATE, confirm, forget
from surefoot.rig.card_commands import code_of as code_of
from surefoot.rig.card_commands import commands_of as commands_of
from surefoot.rig.card_commands import in_full as in_full
from surefoot.rig.card_commands import unconfirmed as unconfirmed
from surefoot.units import Unit

HINT: Final = (
    "`surefoot unit confirm UNIT` asks at a terminal, or takes the code that `surefoot unit commands UNIT` tells."
)


def see_commands(unit: Unit, voice: Voice, *, away: bool = False) -> None:
    """See that every command on the card was confirmed on this machine; asked where somebody is there to answer.

    ``away``: those too that are started for `--on` another machine. Raises BadInput where nobody is there, AnswerIsNo
    when the user declines, MachineError when the yes cannot be remembered.
    """
    if not unconfirmed(commands_of(unit, away=away)):
        return
    if not voice.attended:
        raise BadInput(
            "its card holds commands that were not confirmed on this machine, so nothing was started.",
            where=f"unit {unit.name!r}",
            remedy=HINT.replace("UNIT", repr(unit.name)),
        )
    if not ask_to_confirm(unit, voice, away=away):
        raise AnswerIsNo("nothing was started: the card's commands were not confirmed.")


def ask_to_confirm(unit: Unit, voice: Voice, *, away: bool = False) -> bool:
    """Show what is not confirmed yet, all of it, and ask once; whether everything is confirmed now."""
    commands = unconfirmed(commands_of(unit, away=away))
    if not commands:
        return True
    voice.say(
        f"The card of {unit.name!r} holds commands that were not confirmed on this machine. They would run as you, "
        "with all that you may do. Whoever wrote the card wrote them; this is all of them:",
        "warn",
    )
    for command in commands:
        voice.say(command.shown())
    if any(command.role == ELEVATE for command in commands):
        voice.say(
            "What follows hands.elevate is set with the administrator's rights, within the card's limits.", "warn"
        )
    answer = voice.choose(
        "May Surefoot run them on this machine, when it works on this unit?",
        {"yes": "I have read them; they do what I want", "no": "run nothing of it"},
        "no",
    )
    if answer != "yes":
        return False
    confirm(commands)
    return True


def confirm_by_code(unit: Unit, code: str) -> None:
    """Confirm a card's commands for somebody who was shown them elsewhere, by the code that stands for just these.

    Raises BadInput for another code, MachineError when it cannot be remembered.
    """
    commands = commands_of(unit, away=True)
    if code != code_of(commands):
        raise BadInput(
            "this code is not that of the card's commands: they are other ones, or were changed since.",
            where=f"unit {unit.name!r}",
            remedy=f"`surefoot unit commands {unit.name!r}` shows them and their code.",
        )
    confirm(commands)


def take_back_commands(unit: Unit) -> None:
    """Its commands are not to run on this machine any more, until they are confirmed anew. Raises MachineError."""
    forget(commands_of(unit, away=True))
