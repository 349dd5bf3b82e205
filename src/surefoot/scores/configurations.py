"""Configurations: runs grouped by power mode, cooling, setting, load and firmware."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from datetime import datetime
from typing import NamedTuple
from urllib.parse import quote, unquote

from surefoot.errors import BadInput
from surefoot.runs import Outcome, Run
from surefoot.units import Setting, Unit

MEASURING = frozenset({"baseline", "measure", "soak", "log", "game"})
"""Purposes of runs that are made to be looked at; runs of a search count only where something was scored or read."""

UNORDERED = 1_000_000
"""The rank that stands for no rank: after every one that was ordered."""


class Parts(NamedTuple):
    """What tells one configuration from another; None: not known."""

    power_mode: str | None
    cooling: str | None
    setting: Setting
    load: str | None
    firmware: str | None


@dataclass(frozen=True)
class Configuration:
    """One way of running the unit, with the runs made in it.

    ``key``: stable text of its parts, for storage (words in lower case there, as first written here); ``name``: the
    user's, else ``automatic_name``; ``rank``: the user's order, None when not ordered; ``run_ids``: oldest first;
    ``first_at``: when the first was opened; ``ambients``, ``supplies``, ``drivers``: the different ones seen, to judge
    whether like is compared with like; ``setting_words``: the setting with its units.
    """

    key: str
    name: str
    automatic_name: str
    rank: int | None
    power_mode: str | None
    cooling: str | None
    setting: Setting
    load: str | None
    firmware: str | None
    run_ids: tuple[int, ...] = ()
    first_at: datetime | None = None
    ambients: tuple[float, ...] = ()
    supplies: tuple[str, ...] = ()
    drivers: tuple[str, ...] = ()
    setting_words: str = ""

    @property
    def parts(self) -> Parts:
        """What it was grouped by."""
        return parts_from(self.key)


def parts_of(run: Run) -> Parts:
    """What a run is grouped by; its setting as read back where it was."""
    known = run.plan.conditions
    return Parts(word(known.power_mode), word(known.cooling), run.setting, word(run.plan.load), word(known.firmware))


def key_of(parts: Parts) -> str:
    """The stable text of a configuration: ``mode=evening;cooling=stock;setting=cpu-core:-95;load=mixed;firmware=1.08``.

    Values are percent-encoded and settings sorted by knob, so that the text does not depend on order.
    """
    setting = ",".join(f"{_encode(name)}:{value:.6g}" for name, value in parts.setting.key)
    fields = {
        "mode": _encode(parts.power_mode or ""),
        "cooling": _encode(parts.cooling or ""),
        "setting": setting,
        "load": _encode(parts.load or ""),
        "firmware": _encode(parts.firmware or ""),
    }
    return ";".join(f"{name}={value}" for name, value in fields.items())


def parts_from(key: str) -> Parts:
    """The parts back from a key. Raises BadInput for a text that is no key."""
    try:
        fields = dict(field.split("=", 1) for field in key.split(";"))
        values = {}
        for item in filter(None, fields["setting"].split(",")):
            name, value = item.rsplit(":", 1)
            values[unquote(name)] = float(value)
        words = [unquote(fields[name]) or None for name in ("mode", "cooling", "load", "firmware")]
        return Parts(words[0], words[1], Setting(values=values), words[2], words[3])
    except (ValueError, KeyError):
        raise BadInput(f"{key!r} is not the key of a configuration.") from None


def is_measurement(run: Run, has_score_or_reading: bool = False) -> bool:
    """Whether a run's figures stand for its configuration.

    It must have run to its end (held, or completed slow): one that crashed, overheated or was interrupted did not.
    """
    if run.outcome not in (Outcome.HELD, Outcome.SLOW):
        return False
    return has_score_or_reading or run.plan.purpose in MEASURING


def of_records(
    runs: Sequence[Run],
    names: Mapping[str, tuple[str, int]],
    unit: Unit,
    *,
    touched: Set[int],
    tied: Iterable[str],
) -> tuple[list[Run], list[Configuration]]:
    """The runs that stand for a configuration; and the configurations: grouped, named, or with something tied to.

    ``touched``: ids of runs of which something was scored or read; ``tied``: keys that a score or reading of no run
    names (a text that is no key is passed over).
    """
    measured = [run for run in runs if is_measurement(run, run.id in touched)]
    named = dict(names)
    for key in tied:
        try:
            parts_from(key)
        except BadInput:
            continue
        named.setdefault(key, ("", UNORDERED))
    return measured, configurations(measured, named, unit)


def configurations(
    runs: Sequence[Run], names: Mapping[str, tuple[str, int]] | None = None, unit: Unit | None = None
) -> list[Configuration]:
    """Group runs into configurations, named in words and ordered.

    ``names``: the user's name and rank by key; a named key without runs is a configuration too. Order: the user's
    ranks, then stock before changed, then the oldest first. ``unit``: to say settings with their units.
    """
    named = dict(names or {})
    grouped: dict[str, list[Run]] = {key: [] for key in named}
    for run in runs:
        grouped.setdefault(key_of(parts_of(run)), []).append(run)
    made = []
    for key, members in grouped.items():
        parts = parts_from(key)
        members.sort(key=lambda run: (run.opened_at, run.id))
        name, rank = named.get(key, ("", UNORDERED))
        conditions = [run.plan.conditions for run in members]
        made.append(
            Configuration(
                key=key,
                name=name,
                automatic_name="",
                rank=rank if key in named and rank < UNORDERED else None,
                power_mode=conditions[0].power_mode if members else parts.power_mode,
                cooling=conditions[0].cooling if members else parts.cooling,
                setting=parts.setting,
                load=members[0].plan.load if members else parts.load,
                firmware=conditions[0].firmware if members else parts.firmware,
                run_ids=tuple(run.id for run in members),
                first_at=members[0].opened_at if members else None,
                ambients=tuple(sorted({c.ambient_celsius for c in conditions if c.ambient_celsius is not None})),
                supplies=tuple(sorted({c.supply for c in conditions if c.supply})),
                drivers=tuple(sorted({c.driver for c in conditions if c.driver})),
            )
        )
    made.sort(key=_place)
    return _with_names(made, unit)


def find(among: Sequence[Configuration], text: str) -> Configuration:
    """The configuration a user means: by name, automatic name, number in the order shown, or key.

    Raises BadInput naming those there are, or saying which ones the text could mean.
    """
    wanted = text.strip().casefold()
    for field in ("name", "automatic_name", "key"):
        hits = [one for one in among if getattr(one, field).casefold() == wanted]
        if len(hits) == 1:
            return hits[0]
    number = int(wanted) if wanted.isascii() and wanted.isdigit() else None
    if number is not None and 1 <= number <= len(among):
        return among[number - 1]
    # A number that is too high is no part of a name: "9" must not find "-95 mV".
    part = [one for one in among if wanted and number is None and wanted in one.name.casefold()]
    if len(part) == 1:
        return part[0]
    listed = "; ".join(f"{number} {one.name}" for number, one in enumerate(among, 1))
    if not listed:
        raise BadInput(f"there is no configuration {text!r}: no run was measured yet.")
    what = f"{text!r} could mean {len(part)} configurations" if part else f"there is no configuration {text!r}"
    raise BadInput(f"{what}.", remedy=f"By number or name: {listed}.")


def short_names(among: Sequence[Configuration]) -> dict[str, str]:
    """A short name by key, for narrow tables: the user's, else what differs between those shown, in few words."""
    parts = {one.key: _short_parts(one) for one in among}
    differing = [i for i in range(5) if len({found[i] for found in parts.values()}) > 1]
    made = {}
    for one in among:
        words = [parts[one.key][i] for i in differing if parts[one.key][i]]
        made[one.key] = one.name if one.name != one.automatic_name else ", ".join(words) or one.name
    return made


def _short_parts(one: Configuration) -> tuple[str, ...]:
    return (
        one.power_mode or "",
        one.cooling or "",
        one.setting_words or one.setting.describe(),
        one.load or "",
        one.firmware or "",
    )


def unlike(one: Configuration, baseline: Configuration) -> tuple[str, ...]:
    """What differs between two configurations besides what defines them, in words: supply, driver, a room not known."""
    found = []
    for what, mine, theirs in (
        ("supply", one.supplies, baseline.supplies),
        ("driver", one.drivers, baseline.drivers),
    ):
        if mine and theirs and set(mine) != set(theirs):
            found.append(f"{what} {' and '.join(mine)} against {' and '.join(theirs)}")
    return tuple(found)


def _place(one: Configuration) -> tuple[int, bool, float, str]:
    first = one.first_at.timestamp() if one.first_at else float("inf")
    return (one.rank if one.rank is not None else UNORDERED, not one.setting.is_stock, first, one.key)


def _with_names(found: list[Configuration], unit: Unit | None) -> list[Configuration]:
    """Names in words; load and firmware are said only where they differ, so that no two names are alike."""
    loads = {one.load for one in found}
    firmwares = {one.firmware for one in found}
    named = []
    for one in found:
        words = []
        if one.power_mode:
            words.append(one.power_mode if "mode" in one.power_mode.casefold() else f"{one.power_mode} mode")
        if one.cooling:
            words.append(one.cooling if "cool" in one.cooling.casefold() else f"{one.cooling} cooling")
        words.append("stock setting" if one.setting.is_stock else one.setting.describe(unit))
        if len(loads) > 1:
            words.append(f"load {one.load}" if one.load else "load not known")
        if len(firmwares) > 1:
            words.append(f"firmware {one.firmware}" if one.firmware else "firmware not known")
        automatic = ", ".join(words)
        setting = one.setting.describe(unit)
        named.append(replace(one, automatic_name=automatic, name=one.name or automatic, setting_words=setting))
    return named


def word(text: str | None) -> str | None:
    """One spelling: case, and spaces in a row or around, do not make another configuration."""
    squeezed = " ".join((text or "").split())
    return squeezed.casefold() or None


def _encode(text: str) -> str:
    return quote(text, safe=" ._+-/")
