"""What a user writes for a configuration or an instrument of a trial."""

from __future__ import annotations

import typing
from collections.abc import Sequence

from surefoot.errors import BadInput
from surefoot.guide.recall import setting_for
from surefoot.journal import Journal
from surefoot.runs import ReadingKind
from surefoot.scores.configurations import Configuration, configurations, find, is_measurement
from surefoot.scores.trial_plan import Arm, Instrument
from surefoot.units import Setting, Unit


def arms_from(journal: Journal, unit: Unit, texts: Sequence[str]) -> tuple[Arm, ...]:
    """The configurations named, the baseline first.

    Each is one of ``configs`` by name or number, or words between commas: ``stock``, ``known-stable``, ``KNOB=VALUE``,
    ``mode=NAME``, ``cooling=NAME``; mode and cooling are the card's where they are not named. Raises BadInput for one
    that is not understood or named twice, AnswerIsNo for a known-stable setting where there is none.
    """
    runs = [run for run in journal.runs(unit.name) if is_measurement(run, True)]
    there = configurations(runs, journal.configuration_names(unit.name), unit)
    arms = tuple(_arm(journal, unit, text, there) for text in texts)
    if len(arms) < 2:
        raise BadInput(
            "a trial compares two configurations at least.",
            remedy="Give --of twice or more, the baseline first: --of stock --of known-stable.",
        )
    if len({(arm.setting, arm.power_mode, arm.cooling) for arm in arms}) < len(arms):
        raise BadInput("a configuration is named twice.", where="--of")
    return arms


def _arm(journal: Journal, unit: Unit, text: str, there: Sequence[Configuration]) -> Arm:
    made = _written(journal, unit, text)
    if made is not None:
        return made
    try:
        one = find(there, text)
    except BadInput as error:
        raise BadInput(
            f"{text!r} is no configuration: {error.what}",
            where="--of",
            remedy="A name or number of `surefoot configs`, or stock, known-stable, KNOB=VALUE, mode=NAME, cooling=NAME"
            " with commas between.",
        ) from None
    return Arm(name=one.name, setting=one.setting, power_mode=one.power_mode, cooling=one.cooling)


def _written(journal: Journal, unit: Unit, text: str) -> Arm | None:
    """An arm from words; None where the text is none of them."""
    values: dict[str, float] = {}
    words = {"mode": unit.power_mode, "cooling": unit.cooling}
    known = False
    for part in (piece.strip() for piece in text.split(",")):
        name, equals, value = (piece.strip() for piece in part.partition("="))
        if part.casefold() == "stock":
            continue
        if part.casefold() == "known-stable":
            known = True
        elif equals and name in words and value:
            words[name] = value
        elif equals and any(knob.name == name for knob in unit.knobs):
            try:
                values[name] = float(value)
            except ValueError:
                raise BadInput(f"{value!r} is no number.", where=f"--of {text}") from None
        else:
            return None
    setting = setting_for(journal, unit, values, known) if known or values else Setting()
    return Arm(name=text.strip(), setting=setting, power_mode=words["mode"], cooling=words["cooling"])


def instruments_from(texts: Sequence[str]) -> tuple[Instrument, ...]:
    """Instruments from ``KIND`` or ``KIND:PLACE``. Raises BadInput for a kind that is not known."""
    kinds: tuple[ReadingKind, ...] = typing.get_args(ReadingKind)
    made = []
    for text in texts:
        kind, _, place = text.partition(":")
        found = next((one for one in kinds if one == kind.strip().lower()), None)
        if found is None:
            raise BadInput(f"{kind!r} is no instrument.", where="--reading", remedy=f"One of {', '.join(kinds)}.")
        made.append(Instrument(kind=found, place=place.strip()))
    return tuple(made)
