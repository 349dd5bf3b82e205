"""The questions that `surefoot unit add NAME` asks."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any, TypeVar

import typer

from surefoot.cli.common import console
from surefoot.errors import BadInput
from surefoot.units import VOLTAGE_UNITS, Knob, Unit, validated

T = TypeVar("T")


def ask_for_unit(name: str) -> Unit:
    """Ask for a card, question by question; an answer out of range is asked again."""
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
    told["supply_watts"] = _again(lambda: _number("Supply rating, W", at_least=0.0))
    _say("Now the knobs: each quantity that you may change, one by one.")
    knobs: list[Knob] = []
    while True:
        knob = _again(partial(_knob, tuple(knobs)))
        if knob is None:
            break
        knobs.append(knob)
    told["knobs"] = tuple(knobs)
    domains = list(dict.fromkeys(knob.domain for knob in knobs)) or ["cpu"]
    ceilings = {domain: _again(partial(_ceiling, domain)) for domain in domains}
    told["ceilings_celsius"] = {domain: limit for domain, limit in ceilings.items() if limit is not None}
    return validated(Unit, told, f"unit {name!r}")


def _knob(before: tuple[Knob, ...]) -> Knob | None:
    name = _text("Knob name (for example cpu-core; empty: no more)")
    if not name:
        return None
    if name in {knob.name for knob in before}:
        raise BadInput(f"there is a knob {name!r} already.")
    domain = _text("  Domain", default="gpu" if name.startswith("gpu") else "cpu")
    unit = _text("  Unit (mV, MHz, W)", default="mV" if domain == "cpu" else "MHz")
    # A voltage has one risky side that may ever be tried, so there is nothing to ask.
    toward = "down" if unit in VOLTAGE_UNITS else _text("  Risky side (down, up)", default="up")
    step = _number("  Step, the least distance between two settings", at_least=0.0)
    limit = _number("  Limit, the farthest from stock that may ever be tried", at_least=0.0)
    same = [knob.name for knob in before if (knob.unit, knob.toward) == (unit, toward) and not knob.linked_to]
    linked_to = _text(f"  Moves together with ({', '.join(same)}; empty: on its own)") if same else ""
    if linked_to and linked_to not in same:
        raise BadInput(f"it cannot move with {linked_to!r}.", remedy=f"Choose from: {', '.join(same)}.")
    if step is None or limit is None:
        raise BadInput("a knob needs a step and a limit.")
    return Knob(name, domain, unit, toward, step, limit, linked_to=linked_to or None)  # type: ignore[arg-type]


def _ceiling(domain: str) -> float | None:
    # 95 °C: common practice for a ceiling below the point where a processor throttles itself, no source.
    limit = _number(f"Temperature at which a run is stopped, {domain}, °C", default=95.0)
    if limit is not None and not 30 <= limit <= 120:
        raise BadInput(f"{limit:g} °C is out of range; allowed: 30 to 120.")
    return limit


def _text(question: str, default: str = "") -> str:
    answer: str = typer.prompt(question, default=default, show_default=bool(default), err=True)
    return answer.strip()


def _number(question: str, *, at_least: float | None = None, default: float | None = None) -> float | None:
    answer = _text(question, default="" if default is None else f"{default:g}")
    if not answer:
        return None
    try:
        value = float(answer.replace(",", "."))
    except ValueError:
        raise BadInput(f"{answer!r} is not a number.") from None
    if value != value or abs(value) == float("inf") or (at_least is not None and value <= at_least):
        raise BadInput(f"{answer!r} is out of range; it must be more than {at_least or 0:g}.")
    return value


def _again(ask: Callable[[], T]) -> T:
    while True:
        try:
            return ask()
        except BadInput as error:
            _say(f"{error.message()} Once more:")


def _say(text: str) -> None:
    console(stderr=True).print(text, markup=False)
