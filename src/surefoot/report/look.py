"""What each configuration is called on the page and how it looks, the same in every chart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from surefoot.report.theme import Look, series
from surefoot.report.words import setting_text
from surefoot.scores.comparison import Comparison
from surefoot.scores.configurations import Configuration
from surefoot.units import Unit


@dataclass(frozen=True)
class Looks:
    """Looks by the configuration's name, in the order of the comparison; ``names``: name by key, none twice;
    ``told``: the name of the one with the known-stable setting, where it was measured."""

    by_name: dict[str, Look]
    names: dict[str, str]
    told: str | None = None

    @classmethod
    def of(cls, comparison: Comparison | None, unit: Unit, told: str | None = None) -> Looks:
        """From a comparison; empty without one. ``told``: key of the configuration that titles speak of."""
        names: dict[str, str] = {}
        for number, one in enumerate(comparison.configurations if comparison else (), 1):
            called = one.name if comparison is None or one.name != one.automatic_name else brief(one, comparison, unit)
            names[one.key] = called if called not in names.values() else f"{called} ({number})"
        return cls({name: series(index) for index, name in enumerate(names.values())}, names, names.get(told or ""))

    def speak_of(self, there: Sequence[str]) -> str:
        """The configuration a title speaks of: the known-stable setting's where it is there, else the first."""
        return self.told if self.told is not None and self.told in there else there[0]


def brief(one: Configuration, comparison: Comparison, unit: Unit) -> str:
    """What a configuration without a name of the user's is called: how it differs from the baseline, in few words."""
    everyone = comparison.configurations
    base = comparison.configuration(comparison.baseline)
    setting = setting_text(unit, one.setting)
    mode = _mode(one.power_mode)
    said = []
    if one.key == base.key:
        said += [mode] if len({other.power_mode for other in everyone}) > 1 else []
        said += [setting] if len({other.setting for other in everyone}) > 1 else []
    else:
        said += [mode] if one.power_mode != base.power_mode else []
        said += [one.cooling or "cooling not known"] if one.cooling != base.cooling else []
        said += [setting] if one.setting != base.setting else []
        said += [one.load or "load not known"] if one.load != base.load else []
        said += [f"firmware {one.firmware or 'not known'}"] if one.firmware != base.firmware else []
    return ", ".join(said) or one.name


def _mode(mode: str | None) -> str:
    if not mode:
        return "mode not known"
    return mode if "mode" in mode.casefold() else f"{mode} mode"
