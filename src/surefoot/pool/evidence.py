"""A unit's runs as rows of a pool: what the search sees of them, and no more."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from surefoot.pool.columns import NAMES
from surefoot.pool.kinds import BY, family_of, platform_of
from surefoot.runs import Run
from surefoot.search import Goal
from surefoot.search.reckoning import reckon
from surefoot.search.run_evidence import CountedRun
from surefoot.units import Unit

if TYPE_CHECKING:
    import pandas as pd

CODE_LENGTH = 16


@dataclass(frozen=True, slots=True)
class Known:
    """A unit as a journal has it. ``identity``: what two copies of the unit share; only a code of it is kept."""

    unit: Unit
    runs: tuple[Run, ...]
    identity: str
    source: str


def code(text: str) -> str:
    """A short code from which the text cannot be had. SHA-256, FIPS 180-4."""
    return hashlib.sha256(f"surefoot pool\n{text}".encode()).hexdigest()[:CODE_LENGTH]


def rows_of(known: Known, *, by: str = BY) -> list[dict[str, Any]]:
    """The rows of one unit, a row for each run and knob that it says something of, in the order of time.

    Runs that do not count for the unit itself do not count for a pool. A failure that several knobs may have caused
    is the one's most to blame.
    """
    unit = known.unit
    if not unit.leaders():
        return []
    found = reckon(unit, known.runs, Goal())
    blamed = found.joint.most_blamed() if found.counted else {}
    rows = []
    for number, item in enumerate(found.counted, 1):
        for knob in unit.leaders():
            if not _says(item, knob.name, blamed):
                continue
            piece = item.evidence(knob.name, item.failed)
            platform = platform_of(unit, knob, by)
            conditions = item.run.plan.conditions
            rows.append(
                {
                    "unit": code(known.identity),
                    "source": code(known.source),
                    "month": f"{item.run.opened_at:%Y-%m}",
                    "platform": platform,
                    "family": family_of(unit, platform),
                    "domain": knob.domain.lower(),
                    "knob": knob.name,
                    "measure": knob.unit,
                    "toward": knob.toward,
                    "step": float(knob.step),
                    "most": float(knob.limit),
                    "number": number,
                    "depth": piece.depth,
                    "minutes": piece.minutes,
                    "failed": piece.failed,
                    "timed": piece.timed,
                    "soft": piece.soft,
                    "use": piece.use,
                    "outcome": str(item.run.outcome or ""),
                    "load": item.run.plan.load,
                    "ambient_celsius": conditions.ambient_celsius,
                    "power_mode": conditions.power_mode,
                    "firmware": conditions.firmware,
                    "driver": conditions.driver,
                }
            )
    return rows


def _says(item: CountedRun, knob: str, blamed: Mapping[int, str]) -> bool:
    """Whether a run is evidence of a knob, as in the unit's own search (run_evidence.plain_evidence)."""
    if not item.failed:
        return knob in item.bears_on
    return item.at_stock or (knob in item.causes and (len(item.causes) == 1 or blamed.get(item.run.id) == knob))


def frame(rows: Iterable[Mapping[str, Any]]) -> pd.DataFrame:
    """Rows as a table with the columns of a pool, in their order."""
    import pandas as pd

    return pd.DataFrame(list(rows), columns=list(NAMES))
