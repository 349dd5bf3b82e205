"""Hands of kind `ask`: the user sets the value in the maker's own utility and confirms what it reads back."""

from __future__ import annotations

from collections.abc import Callable

from surefoot.errors import BadInput, MachineError
from surefoot.rig.hands.answers import Again, is_stock, value_read
from surefoot.rig.hands.guard import guard
from surefoot.units import Knob, Setting, Unit

TRIES = 5


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
        """Ask for each knob's value; the answers are the read-back. Raises BadInput past a limit, before asking.

        Raises MachineError after several answers that are none.
        """
        guard(unit, setting)
        self._asked = setting
        return self._ask_all(unit, setting, "Set {name} to {value} in the maker's own utility.")

    def read_back(self, unit: Unit) -> Setting | None:
        """Ask whether each value is still there."""
        return self._ask_all(unit, self._asked, "Look again: {name} should still be at {value}.")

    def _ask_all(self, unit: Unit, setting: Setting, question: str) -> Setting:
        # Knobs at stock are asked after only when everything is at stock: then the user is told once, not per knob.
        named = [knob for knob in unit.knobs if setting.value(knob.name)]
        if not named:
            return self._ask_stock(unit)
        return Setting(values={knob.name: self._ask_one(knob, setting.value(knob.name), question) for knob in named})

    def _ask_stock(self, unit: Unit) -> Setting:
        units = frozenset(knob.unit for knob in unit.knobs)
        text = "Put every knob to stock in the maker's own utility. Is it there? (yes or 0; Enter: yes)"
        for _ in range(TRIES):
            answer = self._prompt(text, "yes")
            if is_stock(units, answer):
                return Setting()
            text = f"{answer!r} does not say that every knob is at stock. Put it there, then answer yes or 0"
        raise MachineError(
            "it was not confirmed that the unit is at stock.", remedy="Put it there in the maker's utility, or restart."
        )

    def _ask_one(self, knob: Knob, value: float, question: str) -> float:
        accepted = f"What does it read? (the value in {knob.unit} with its sign, or yes for {value:+g})"
        text = f"{question.format(name=knob.name, value=f'{value:+g} {knob.unit}')} {accepted}"
        for _ in range(TRIES):
            read = value_read(knob, value, self._prompt(text, f"{value:g}"))
            if not isinstance(read, Again):
                return read
            text = f"{read.why} {knob.name}: {accepted}"
        raise MachineError(
            f"no value was given for {knob.name}.",
            remedy="Start again when the value can be read in the utility.",
        )
