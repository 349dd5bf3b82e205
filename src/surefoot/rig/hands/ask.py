"""Hands of kind `ask`: the user sets the value in the maker's own utility and confirms what it reads back."""

from __future__ import annotations

from collections.abc import Callable

from surefoot.errors import BadInput, MachineError
from surefoot.rig.hands.guard import guard
from surefoot.units import Knob, Setting, Unit

TRIES = 3


class AskHands:
    """The user is the hands. ``prompt(question, default)`` returns what was typed, or the default for nothing."""

    kind = "ask"
    can_read_back = True

    def __init__(self, unit: Unit, prompt: Callable[[str, str], str] | None) -> None:
        if prompt is None:
            raise BadInput(
                "this unit's hands are the user, and nobody is here to ask.",
                where=f"unit {unit.name!r}",
                remedy="Run it on a terminal, or give the card hands of kind 'command'.",
            )
        self._prompt = prompt
        self._asked = Setting()

    def apply(self, unit: Unit, setting: Setting) -> Setting | None:
        """Ask for each knob's value; the answers are the read-back. Raises BadInput past a limit, before asking."""
        guard(unit, setting)
        self._asked = setting
        return self._ask_all(unit, setting, "Set {name} to {value} in the maker's own utility. It reads")

    def read_back(self, unit: Unit) -> Setting | None:
        """Ask whether each value is still there."""
        return self._ask_all(unit, self._asked, "Look again: {name} should still be at {value}. It reads")

    def _ask_all(self, unit: Unit, setting: Setting, question: str) -> Setting:
        # Knobs at stock are asked after only when everything is at stock: then the user is told once, not per knob.
        named = [knob for knob in unit.knobs if setting.value(knob.name)]
        if not named:
            self._prompt("Put every knob to stock in the maker's own utility, then Enter", "stock")
            return Setting()
        others = [knob.name for knob in unit.knobs if not setting.value(knob.name)]
        if others:
            question += " "
        values = {knob.name: self._ask_one(knob, setting.value(knob.name), question) for knob in named}
        return Setting(values=values)

    def _ask_one(self, knob: Knob, value: float, question: str) -> float:
        text = question.format(name=knob.name, value=f"{value:+g} {knob.unit}").rstrip()
        for _ in range(TRIES):
            answer = self._prompt(f"{text} ({knob.unit})", f"{value:g}")
            try:
                return float(answer.replace(knob.unit, "").replace(",", ".").strip())
            except ValueError:
                text = f"{answer!r} is not a number. {knob.name} reads"
        raise MachineError(
            f"no number was given for {knob.name}.",
            remedy="Start again when the value can be read in the utility.",
        )
