"""The questions that `surefoot unit add NAME` asks. A wrong answer is asked again by itself; the others are kept."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Callable, Sequence
from typing import Any, Final, TypeVar

import typer

from surefoot.cli.common import console
from surefoot.errors import BadInput
from surefoot.harmless import for_eyes
from surefoot.units import VOLTAGE_UNITS, GoalCard, HandsCard, Knob, LoadCard, Toward, Unit, validated

T = TypeVar("T")

EFFORTS: Final = ("quick", "usual", "thorough")


def ask_for_unit(name: str) -> Unit:
    """Ask for a card, question by question. Raises click's Abort when the answers end."""
    _say(f"A card for {name}. An empty answer leaves a field out; `surefoot unit edit` changes it later.")
    parts = {part: _text(f"{part.capitalize()}") for part in ("processor", "graphics", "memory")}
    told: dict[str, Any] = {"name": name, "parts": {part: text for part, text in parts.items() if text}}
    for field, question in (
        ("firmware", "Firmware version"),
        ("driver", "Graphics driver version"),
        ("cooling", "Cooling (stand, paste, fan mode)"),
        ("power_mode", "Power mode in use"),
    ):
        told[field] = _text(question) or None
    told["supply_watts"] = _asked("Supply rating, W", lambda text: _number(text, 0, 5000))
    knobs = _knobs()
    told["knobs"] = knobs
    domains = list(dict.fromkeys(knob.domain for knob in knobs)) or ["cpu"]
    ceilings = {domain: _ceiling(domain) for domain in domains}
    told["ceilings_celsius"] = {domain: limit for domain, limit in ceilings.items() if limit is not None}
    told["loads"] = _loads(knobs)
    told["hands"] = _hands(knobs)
    told["goal"] = _goal()
    return validated(Unit, told, f"unit {name!r}")


def _knobs() -> tuple[Knob, ...]:
    _say("Now the knobs: each quantity that you may change, one by one.")
    knobs: list[Knob] = []
    while True:
        name = _asked("Knob name (for example cpu-core; empty: no more)", lambda text: _new(text, knobs, "knob"))
        if not name:
            return tuple(knobs)
        knobs.append(_knob(name, knobs))


def _knob(name: str, before: Sequence[Knob]) -> Knob:
    from surefoot.guide.card_check import check_domain, check_limit, check_unit_of_measure

    where = f"knob {name!r}"
    domain = _asked("  Domain", lambda text: check_domain(text, where), "gpu" if name.startswith("gpu") else "cpu")
    usual = "mV" if domain == "cpu" else "MHz"
    unit = _asked("  Unit (mV, MHz, W)", lambda text: check_unit_of_measure(text, where), usual)
    toward: Toward = "down"
    # A voltage has one risky side that may ever be tried, so there is nothing to ask.
    if unit not in VOLTAGE_UNITS:
        toward = _asked("  Risky side (down, up)", lambda text: _one_of(text, ("down", "up")), "up")
    step = _asked(f"  Step, the least distance between two settings, {unit}", _positive)

    def limit_of(text: str) -> float:
        limit = _positive(text)
        check_limit(Knob(name, domain, unit, toward, step, limit), where)
        return limit

    limit = _asked(f"  Limit, the farthest from stock that may ever be tried, {unit}", limit_of)
    same = [knob.name for knob in before if (knob.unit, knob.toward) == (unit, toward) and not knob.linked_to]
    linked_to = ""
    if same:
        question = f"  Moves together with ({', '.join(same)}; empty: on its own)"
        linked_to = _asked(question, lambda text: _one_of(text, same) if text else "")
    return Knob(name, domain, unit, toward, step, limit, linked_to=linked_to or None)


def _ceiling(domain: str) -> float | None:
    # 95 °C: common practice for a ceiling below the point where a processor throttles itself, no source.
    question = f"Temperature at which a run is stopped, {domain}, °C"
    return _asked(question, lambda text: _number(text, 30, 120), "95")


def _loads(knobs: Sequence[Knob]) -> tuple[LoadCard, ...]:
    from surefoot.guide.card_check import check_exercised, check_program

    _say("Loads of your own, beside the built-in ones that check their own results.")
    loads: list[LoadCard] = []
    while True:
        name = _asked("Load name (empty: no more)", lambda text: _new(text, loads, "load"))
        if not name:
            return tuple(loads)
        where = f"load {name!r}"

        def command_of(text: str, where: str = where) -> tuple[str, ...]:
            arguments = _arguments(text)
            if arguments:
                check_program(arguments, where)
            return arguments

        def exercised(text: str, where: str = where) -> tuple[str, ...]:
            return tuple(check_exercised(part, knobs, where) for part in text.replace(",", " ").split())

        command = _asked("  Command that runs it (empty: you start it by hand)", command_of)
        instructions = "" if command else _text("  What to do by hand")
        usual = " ".join(dict.fromkeys(knob.domain for knob in knobs))
        works = _asked("  Knobs or domains that it works", exercised, usual)
        loads.append(LoadCard(name=name, command=command, instructions=instructions, exercises=works))


def _hands(knobs: Sequence[Knob]) -> HandsCard:
    from surefoot.guide.card_check import check_apply, check_hands_kind

    _say(
        "Who applies a setting: ask (you do, in the maker's own utility), command (a command of yours), documented "
        "(the interfaces that `surefoot knobs` lists)."
    )
    kind = _asked("Hands", check_hands_kind, "ask")
    if kind == "ask" or not knobs:
        return HandsCard()
    if kind != "command":
        names = {knob.name: _text(f"  Interface of {knob.name}, as `surefoot knobs` names it") for knob in knobs}
        return HandsCard(kind=kind, doors={name: door for name, door in names.items() if door})
    example = " ".join(f"{{{knob.name}}}" for knob in knobs)
    apply = _asked(
        f"  Command that applies it, with {example} for the values", lambda text: check_apply(_arguments(text), knobs)
    )
    read_back = _asked("  Command that prints the values back (empty: none)", _arguments)
    return HandsCard(kind="command", apply=apply, read_back=read_back)


def _goal() -> GoalCard:
    usual = GoalCard()
    _say("What stable must mean here: hours of load between failures, on average, and how sure it must be.")
    hours = _asked("Goal, hours between failures", lambda text: _number(text, 0, 100_000), f"{usual.mttf_hours:g}")
    sure = _asked("Confidence, %", lambda text: _number(text, 50, 99.9), f"{usual.confidence * 100:g}")
    effort = _asked("Effort (quick, usual, thorough)", lambda text: _one_of(text, EFFORTS), usual.effort)
    told = {
        "mttf_hours": usual.mttf_hours if hours is None else hours,
        "confidence": usual.confidence if sure is None else sure / 100,
        "effort": effort,
    }
    return validated(GoalCard, told, "goal")


def _new(text: str, before: Sequence[Knob | LoadCard], what: str) -> str:
    if text in {one.name for one in before}:
        raise BadInput(f"there is a {what} {text!r} already.")
    if not text.isprintable():
        raise BadInput(f"a {what}'s name is a printable text.")
    return text


def _one_of(text: str, choices: Sequence[str]) -> Any:
    if text not in choices:
        raise BadInput(f"{text!r} is none of these.", remedy=f"Choose from: {', '.join(choices)}.")
    return text


def _arguments(text: str) -> tuple[str, ...]:
    try:
        # Elsewhere a backslash quotes; on Windows it is part of a path.
        return tuple(shlex.split(text, posix=sys.platform != "win32"))
    except ValueError as error:
        raise BadInput(f"that is no command: {str(error).lower()}.", remedy="Close every quotation mark.") from None


def _positive(text: str) -> float:
    value = _number(text, 0, 1e6)
    if value is None:
        raise BadInput("this one is needed: a number above 0.")
    return value


def _number(text: str, low: float, high: float) -> float | None:
    """A number above ``low`` (or at it, where that is not 0) and at most ``high``; None for an empty text."""
    if not text:
        return None
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        raise BadInput(f"{text!r} is not a number.") from None
    if not (low <= value <= high) or (low == 0 and value == 0):
        raise BadInput(f"{text!r} is out of range; allowed: {'above 0' if low == 0 else f'from {low:g}'} to {high:g}.")
    return value


def _asked(question: str, read: Callable[[str], T], default: str = "") -> T:
    """The answer as it was read; one that cannot be is asked again, by itself."""
    while True:
        try:
            return read(_text(question, default))
        except BadInput as error:
            _say(f"{error.message()} Once more:")


def _text(question: str, default: str = "") -> str:
    answer: str = typer.prompt(for_eyes(question), default=default, show_default=bool(default), err=True)
    return answer.strip()


def _say(text: str) -> None:
    console(stderr=True).print(text, markup=False)
