"""Prompts take answers, not keys: what is no answer is asked again, and never ends a session."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from surefoot.errors import MachineError
from surefoot.rig.hands.answers import Again, value_read
from surefoot.rig.hands.ask import TRIES, AskHands
from surefoot.units import Knob, Setting, Unit

CORE = Knob("cpu-core", "cpu", "mV", "down", 5, 150)
CLOCK = Knob("gpu-core", "gpu", "MHz", "up", 15, 300)
UNIT = Unit(name="shoebox-3", knobs=(CORE,))


class Typing:
    """Types these in turn; keeps the questions."""

    def __init__(self, answers: Sequence[str]) -> None:
        self.answers = list(answers)
        self.asked: list[str] = []

    def __call__(self, question: str, default: str) -> str:
        self.asked.append(question)
        return self.answers.pop(0) or default


@pytest.mark.parametrize("answer", ["", "yes", "Y", "stock", "0", "0 mV", "-0"])
def test_stock_is_confirmed_by_a_yes_or_its_value(answer: str) -> None:
    assert AskHands(UNIT, Typing([answer])).apply(UNIT, Setting()) == Setting()


@pytest.mark.parametrize("answer", ["no", "-5", "n", "go", "5", "-95 mV", "later"])
def test_anything_else_is_no_word_for_stock(answer: str) -> None:
    typing = Typing([answer, "yes"])
    assert AskHands(UNIT, typing).apply(UNIT, Setting()) == Setting()
    assert len(typing.asked) == 2 and repr(answer) in typing.asked[1] and "yes or 0" in typing.asked[1]
    with pytest.raises(MachineError, match="not confirmed"):
        AskHands(UNIT, Typing([answer] * TRIES)).apply(UNIT, Setting())


@pytest.mark.parametrize(("answer", "value"), [("-90", -90), ("\u221290 mV", -90), ("-92,5", -92.5), ("yes", -95)])
def test_a_value_is_read(answer: str, value: float) -> None:
    hands = AskHands(UNIT, Typing([answer]))
    assert hands.apply(UNIT, Setting(values={"cpu-core": -95})) == Setting(values={"cpu-core": value})


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        ("95", "type the sign"),
        ("-500", "past the limit"),
        ("-155", "past the limit"),
        ("no", "not a value"),
        ("nan", "not a value"),
        ("1e999", ""),
    ],
)
def test_a_slip_is_asked_again_and_says_what_is_accepted(answer: str, words: str) -> None:
    typing = Typing([answer, "-95"])
    assert AskHands(UNIT, typing).apply(UNIT, Setting(values={"cpu-core": -95})) == Setting(values={"cpu-core": -95})
    assert words in typing.asked[1] and "with its sign, or yes" in typing.asked[1]


def test_a_clock_goes_up() -> None:
    assert value_read(CLOCK, 120, "105 MHz") == 105
    assert isinstance(value_read(CLOCK, 120, "-105"), Again)
