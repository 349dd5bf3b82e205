"""Which look each configuration has, the same in every chart."""

from __future__ import annotations

from dataclasses import dataclass

from surefoot.report.theme import Look, series
from surefoot.scores.comparison import Comparison


@dataclass(frozen=True)
class Looks:
    """Looks by the configuration's name, in the order of the comparison; ``names``: name by key."""

    by_name: dict[str, Look]
    names: dict[str, str]

    @classmethod
    def of(cls, comparison: Comparison | None) -> Looks:
        """From a comparison; empty without one. Names that occur twice get their number."""
        names: dict[str, str] = {}
        for number, one in enumerate(comparison.configurations if comparison else (), 1):
            names[one.key] = one.name if one.name not in names.values() else f"{one.name} ({number})"
        return cls({name: series(index) for index, name in enumerate(names.values())}, names)
