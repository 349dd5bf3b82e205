"""What a card says that means nothing: units of measure, domains, loads and hands that there are not.

A card is checked when somebody writes it, not when a journal is read: what was right on another day, or on another
machine, stays readable.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Sequence
from difflib import get_close_matches
from typing import Final

from surefoot.errors import BadInput
from surefoot.load_names import chosen_processors
from surefoot.rig.hands import KINDS
from surefoot.rig.hands.command import CommandHands
from surefoot.rig.registry import load_names, why_not
from surefoot.search.prior import typical_per_decade
from surefoot.units import CLOCK_UNITS, POWER_UNITS, VOLTAGE_UNITS, HandsCard, Knob, LoadCard, RemoteCard, Unit

UNITS: Final = ("mV", "V", "µV", "uV", "MHz", "GHz", "kHz", "W", "mW")
TUNED_DOMAINS: Final = ("cpu", "gpu", "igpu", "memory", "ram", "vram")
"""What a knob may belong to, each also with a part of it behind a dash: ``cpu-1``, ``gpu-memory``."""
MEASURED_DOMAINS: Final = (
    *TUNED_DOMAINS, "board", "system", "chipset", "ssd", "disk", "battery", "supply", "wireless", "network", "room",
)  # fmt: skip
"""What sensors and logs may tell of: a ceiling may stand on each."""
EXERCISED: Final = ("gpu-memory", "transition")
"""What else a built-in load says that it works."""

FARTHEST: Final = ((VOLTAGE_UNITS, 500.0, "mV"), (CLOCK_UNITS, 10_000.0, "MHz"), (POWER_UNITS, 5_000.0, "W"))
"""No part goes so far from stock: a limit past it is a slip (common practice, no source)."""
LONG_STEP_DECADES: Final = 5.0
"""A step across which the hazard grows by so many decades where edges are typical (25 mV) is told: 50 may be a 5."""
_IN_COMMON: Final = {"V": 1e3, "µV": 1e-3, "uV": 1e-3, "GHz": 1e3, "kHz": 1e-3, "mW": 1e-3}

assert set(UNITS) == VOLTAGE_UNITS | CLOCK_UNITS | POWER_UNITS


def check_card(unit: Unit, *, elsewhere: bool = False) -> None:
    """Raises BadInput for the first thing on a card that means nothing, with what is known in its place.

    ``elsewhere``: its commands are those of another machine and cannot be looked for here.
    """
    own = own_domains(unit.loads)
    for knob in unit.knobs:
        where = f"knob {knob.name!r}"
        check_unit_of_measure(knob.unit, where)
        check_limit(knob, where)
        check_domain(knob.domain, where, own)
        if knob.load is not None:
            check_load_name(knob.load, unit, where)
    for field in ("ceilings_celsius", "power_limits_watts", "throttle_celsius"):
        for domain in getattr(unit, field):
            check_measured(domain, field, own)
    for load in unit.loads:
        for part in load.exercises:
            check_exercised(part, unit.knobs, f"load {load.name!r}")
        if load.command and not (elsewhere or _is_remote(unit)):
            check_program(load.command, f"load {load.name!r}")
    check_hands_kind(unit.hands.kind)


def remarks(unit: Unit, *, elsewhere: bool = False) -> tuple[str, ...]:
    """What is not there yet and can be put right without the card: a load's extra, the programs of the hands."""
    found = [
        f"load {knob.load!r} of {knob.name} cannot be started here: {why}."
        for knob in unit.knobs
        if knob.load and (why := why_not(knob.load))
    ]
    found += [
        f"{knob.name}: a step of {knob.step:g} {knob.unit} is a long way in one run, and no run can go less far."
        for knob in unit.leaders()
        if knob.step > LONG_STEP_DECADES * typical_per_decade(knob)
    ]
    if not (elsewhere or _is_remote(unit)):
        for words, command in (("apply", unit.hands.apply), ("read back", unit.hands.read_back)):
            if command and shutil.which(command[0]) is None:
                found.append(f"the hands' program {command[0]!r} ({words}) was not found here.")
    return tuple(dict.fromkeys(found))


def check_unit_of_measure(text: str, where: str) -> str:
    """The unit of measure. Raises BadInput for one that no knob has."""
    if text in UNITS:
        return text
    near = [unit for unit in UNITS if unit.casefold() == text.casefold()]
    raise BadInput(
        f"{text!r} is no unit of measure of a knob.",
        where=where,
        remedy=f"Did you mean {near[0]}?"
        if near
        else "Known: mV, V, µV (voltage), MHz, GHz, kHz (clock), W, mW (power).",
    )


def check_limit(knob: Knob, where: str) -> None:
    """Raises BadInput for a limit that no part can have: a nought too many, or another unit of measure."""
    for units, most, common in FARTHEST:
        if knob.unit in units and knob.limit * _IN_COMMON.get(knob.unit, 1.0) > most:
            raise BadInput(
                f"a limit of {knob.limit:g} {knob.unit} is farther from stock than any part goes ({most:g} {common}).",
                where=where,
                remedy="Write the limit in the knob's own unit, as far as you would ever let it be tried.",
            )


def widened(before: Unit, after: Unit) -> tuple[str, ...]:
    """In words, the limits that a new card moves farther from stock: no run will be refused there any more."""
    old = {knob.name: knob for knob in before.knobs}
    return tuple(
        f"{knob.name} may now be taken to {knob.describe(knob.limit)}; its limit was {was.describe(was.limit)}."
        for knob in after.knobs
        if (was := old.get(knob.name)) is not None and was.unit == knob.unit and knob.limit > was.limit
    )


def check_domain(text: str, where: str, own: Sequence[str] = ()) -> str:
    """The domain of a knob. ``own``: domains that a load of the card exercises. Raises BadInput for an unknown one."""
    if _is_of(text, TUNED_DOMAINS) or text in own:
        return text
    raise BadInput(
        f"{text!r} is no part of a machine that a knob belongs to.",
        where=where,
        remedy=_meant(text, TUNED_DOMAINS)
        or f"Known: {', '.join(TUNED_DOMAINS)}, or a part of it (gpu-memory), or what a load of the card exercises.",
    )


def check_measured(text: str, where: str, own: Sequence[str] = ()) -> str:
    """A domain, or a spot of it (``ssd.front``), that sensors tell of. Raises BadInput for an unknown one."""
    domain = text.partition(".")[0]
    if _is_of(domain, MEASURED_DOMAINS) or domain in own:
        return text
    raise BadInput(
        f"nothing measures {text!r}, so it would never count.",
        where=where,
        remedy=_meant(text, MEASURED_DOMAINS) or f"Known: {', '.join(MEASURED_DOMAINS)}.",
    )


def check_exercised(text: str, knobs: Sequence[Knob], where: str) -> str:
    """A knob's name or a domain that a load bears on. Raises BadInput for what is neither."""
    names = [knob.name for knob in knobs]
    domains = [knob.domain for knob in knobs]
    if text in (*names, *domains, *TUNED_DOMAINS, *EXERCISED):
        return text
    if text.startswith("core-") and text[5:].isdecimal():
        return text
    raise BadInput(
        f"{text!r} is neither a knob of the card nor a domain, so its runs would count for nothing.",
        where=where,
        remedy=_meant(text, [*names, *TUNED_DOMAINS])
        or f"Its knobs: {', '.join(names) or 'none'}; domains: {', '.join(TUNED_DOMAINS)}.",
    )


def check_load_name(text: str, unit: Unit, where: str) -> str:
    """The name of a load. Raises BadInput naming those there are."""
    known = load_names(unit)
    if text in known or chosen_processors(text):
        return text
    raise BadInput(f"there is no load {text!r}.", where=where, remedy=f"There are: {', '.join(known)}.")


def check_program(command: Sequence[str], where: str) -> Sequence[str]:
    """A command. Raises BadInput when its program is not found here."""
    if shutil.which(command[0]) is None:
        raise BadInput(
            f"the program {command[0]!r} was not found here or may not be run.",
            where=where,
            remedy="Give its whole path. For a unit that is another machine, add --elsewhere.",
        )
    return command


def check_hands_kind(text: str) -> str:
    """The kind of hands. Raises BadInput naming those there are."""
    if text in KINDS:
        return text
    raise BadInput(f"hands of kind {text!r} are not known.", where="hands", remedy=f"Known: {', '.join(KINDS)}.")


def check_apply(command: Sequence[str], knobs: Sequence[Knob]) -> tuple[str, ...]:
    """The command that applies a setting. Raises BadInput where a knob has no place in it, or a place no knob."""
    if not command:
        raise BadInput("hands of kind 'command' need the command that applies a setting.", where="hands")
    card = Unit(name="card", knobs=tuple(knobs), hands=HandsCard(kind="command", apply=tuple(command)))
    try:
        CommandHands(card)
    except BadInput as error:
        raise BadInput(error.what, where="hands", remedy=error.remedy) from None
    return tuple(command)


def own_domains(loads: Iterable[LoadCard]) -> tuple[str, ...]:
    """What the card's own loads say that they exercise: a domain that such a load works means something."""
    return tuple(dict.fromkeys(part for load in loads for part in load.exercises))


def _is_remote(unit: Unit) -> bool:
    return unit.remote != RemoteCard()


def _is_of(text: str, domains: Sequence[str]) -> bool:
    part, dash, rest = text.partition("-")
    return part in domains and bool(rest) == bool(dash)


def _meant(text: str, known: Sequence[str]) -> str:
    near = get_close_matches(text.strip().casefold(), known, n=1, cutoff=0.6)
    return f"Did you mean {near[0]}?" if near else ""
