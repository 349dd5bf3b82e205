"""Hands of kind `command`: an argument list of the user's applies a setting; another may read it back. No shell."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence

from surefoot.errors import BadInput, MachineError
from surefoot.rig.card_commands import PLACE, CardCommand, hands_commands, see_confirmed, start
from surefoot.rig.hands.bounded import MOST_BYTES, PIPES, bounded
from surefoot.rig.hands.guard import guard
from surefoot.units import Setting, Unit

NUMBER = r"[-+\u2212]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?"
SHOWN = 300
LONGEST_LINE = 1000


class CommandHands:
    """Runs the card's commands with a time limit. ``{knob-name}`` stands for that knob's signed offset from stock."""

    kind = "command"

    def __init__(self, unit: Unit, prompt: Callable[[str, str], str] | None = None) -> None:
        self._card = unit.hands
        places = {name for argument in self._card.apply for name in PLACE.findall(argument)}
        known = {knob.name for knob in unit.knobs}
        if unknown := places - known:
            raise BadInput(
                f"the apply command names {', '.join(sorted(unknown))}, which the card does not have.",
                where=f"unit {unit.name!r}, hands",
                remedy=f"Its knobs: {', '.join(sorted(known)) or 'none'}.",
            )
        if left_out := known - places:
            raise BadInput(
                f"the apply command has no place for {', '.join(sorted(left_out))}.",
                where=f"unit {unit.name!r}, hands",
                remedy="Write {" + min(left_out) + "} where its value belongs.",
            )

    @property
    def can_read_back(self) -> bool:
        """Whether the card has a read-back command."""
        return bool(self._card.read_back)

    def apply(self, unit: Unit, setting: Setting) -> Setting | None:
        """Apply and read back. Raises BadInput past a limit, MachineError when a command fails or takes too long."""
        guard(unit, setting)
        # Both, so that nothing is applied that could not be read back.
        see_confirmed(*hands_commands(self._card))
        values = {knob.name: f"{setting.value(knob.name):g}" for knob in unit.knobs}
        self._run(CardCommand("hands.apply", self._card.apply), "apply", values)
        return self.read_back(unit)

    def read_back(self, unit: Unit) -> Setting | None:
        """What the read-back command prints; None without one. Raises MachineError when it cannot be understood."""
        if not self._card.read_back:
            return None
        return parse_read_back(unit, self._run(CardCommand("hands.read_back", self._card.read_back), "read-back"))

    def _run(self, command: CardCommand, what: str, values: Mapping[str, str] | None = None) -> str:
        limit, program = self._card.timeout_seconds, command.arguments[0]
        try:
            # Ctrl-C and a window that is shut reach every process of the terminal; the way back must not be one.
            process = start(command, values=values, start_new_session=True, **PIPES)
        except BadInput:
            raise
        except (OSError, ValueError) as error:
            raise MachineError(f"the {what} command could not be started: {error}.", where=program) from None
        done = bounded(process, limit)
        if done.code is None:
            raise MachineError(
                f"the {what} command did not end within {limit:g} s, so it and what it started were ended.",
                where=program,
            )
        if done.code != 0:
            said = plain((done.err.strip() or done.out.strip())[-SHOWN:])
            raise MachineError(
                f"the {what} command ended with exit code {done.code}" + (f": {said}" if said else "."), where=program
            )
        if done.more:
            raise MachineError(
                f"the {what} command printed more than {MOST_BYTES // 1_000_000} MB: that is no value.", where=program
            )
        return done.out


def plain(text: str) -> str:
    """A command's words without what steers a terminal."""
    return "".join(sign if sign.isprintable() else " " for sign in text).strip()


def parse_read_back(unit: Unit, text: str) -> Setting:
    """The setting in a read-back command's output: ``name value`` or ``name=value`` lines, or one bare number when
    the unit has one knob. Raises MachineError naming the knob that is not there."""
    lines = [line.strip() for line in text.splitlines() if len(line) <= LONGEST_LINE]
    values: dict[str, float] = {}
    for knob in unit.knobs:
        end = rf"({NUMBER})\s*(?:{re.escape(knob.unit)})?"
        found = _last(rf"{re.escape(knob.name)}(?:\s*[=:]\s*|\s+){end}", lines)
        if found is None and len(unit.knobs) == 1:
            found = _last(end, lines)
        if found is None:
            raise MachineError(
                f"the read-back command printed no value for {knob.name}: {plain(text.strip()[:SHOWN])!r}.",
                remedy=f"It must print a line '{knob.name} VALUE'.",
            )
        value = float(found.replace("\u2212", "-"))
        if not math.isfinite(value):
            raise MachineError(f"the read-back command printed {found} for {knob.name}: no value can be so large.")
        values[knob.name] = value
    return Setting(values=values)


def _last(pattern: str, lines: Sequence[str]) -> str | None:
    """The number in the last line that is nothing but such a value."""
    for line in reversed(lines):
        if match := re.fullmatch(pattern, line):
            return match[1]
    return None
