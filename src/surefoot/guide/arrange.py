"""Naming, ordering and adding configurations, as the user wants them shown."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from surefoot.errors import BadInput
from surefoot.journal.configured import list_configurations
from surefoot.scores.configurations import UNORDERED, Configuration, Parts, find, key_of, word
from surefoot.units import Setting, validated

if TYPE_CHECKING:
    from surefoot.journal import Journal

LONGEST_NAME = 60


def name_configurations(journal: Journal, unit_name: str, names: Mapping[str, str]) -> None:
    """Give configurations names: which (name or number) to the new name; an empty one brings the automatic name back.

    Raises BadInput for one that is not there, and for a name that is taken, too long or a bare number.
    """
    found = list_configurations(journal, unit_name)
    chosen = {find(found, which).key: new for which, new in names.items()}
    for key, new in chosen.items():
        _check_name(new, [(one.key, chosen.get(one.key, one.name)) for one in found if one.key != key])
    ranks = {one.key: one.rank for one in found}
    for key, new in chosen.items():
        rank = ranks[key]
        journal.name_configuration(unit_name, key, " ".join(new.split()), UNORDERED if rank is None else rank)


def order_configurations(journal: Journal, unit_name: str, order: Sequence[str]) -> None:
    """Put configurations (names or numbers) first in this order; the others follow as before."""
    found = list_configurations(journal, unit_name)
    first = [find(found, text) for text in order]
    if len({one.key for one in first}) != len(first):
        raise BadInput("a configuration is named twice in the order.", where="--order")
    rest = [one for one in found if one not in first]
    for rank, one in enumerate([*first, *rest], 1):
        journal.name_configuration(unit_name, one.key, "" if one.name == one.automatic_name else one.name, rank)


def add_configuration(
    journal: Journal,
    unit_name: str,
    name: str,
    *,
    power_mode: str | None = None,
    cooling: str | None = None,
    setting: Setting | None = None,
    load: str | None = None,
    firmware: str | None = None,
) -> Configuration:
    """Make a configuration that no run was made in, to attach scores and readings to.

    Raises BadInput for a knob that the unit does not have or a value it may not take, a taken name, or when nothing
    tells the configuration from one there is.
    """
    card = journal.unit(unit_name)
    wanted = setting or Setting()
    card.depths(wanted)
    found = list_configurations(journal, unit_name)
    _check_name(name, [(one.key, one.name) for one in found])
    key = key_of(Parts(word(power_mode), word(cooling), wanted, word(load), word(firmware)))
    for one in found:
        if one.key == key:
            raise BadInput(f"that configuration is there already: {one.name!r}.", remedy="Name it with --name.")
    journal.name_configuration(unit_name, key, " ".join(name.split()), UNORDERED)
    return next(one for one in list_configurations(journal, unit_name) if one.key == key)


def setting_from(texts: Mapping[str, str]) -> Setting:
    """A setting from knob names and values as typed. Raises BadInput for a value that is no number."""
    values = {}
    for knob, text in texts.items():
        try:
            values[knob] = float(text)
        except ValueError:
            raise BadInput(
                f"{text!r} is no value for knob {knob!r}.", remedy="Give a signed number, such as -95."
            ) from None
    return validated(Setting, {"values": values}, "the setting")


def _check_name(name: str, others: Sequence[tuple[str, str]]) -> None:
    plain = " ".join(name.split())
    if not plain:
        return
    if not plain.isprintable() or len(plain) > LONGEST_NAME:
        raise BadInput(f"a configuration's name is 1 to {LONGEST_NAME} printable characters.", where="--name")
    if plain.isdigit():
        raise BadInput(f"{plain!r} would be taken for a number in the list.", where="--name", remedy="Use words.")
    if plain.casefold() in {other.casefold() for _, other in others}:
        raise BadInput(f"another configuration is called {plain!r}.", where="--name", remedy="Use another name.")
