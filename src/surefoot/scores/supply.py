"""Whether the supply keeps up: wall power against the adapter's rating, and a battery that drains on mains."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from surefoot.runs import Floats

ADAPTER_LOSS = 0.12
"""Share of the wall power that an adapter may turn into heat itself: efficiency rules for external supplies above 49 W
ask for 88 % on average (level VI marking, from memory)."""

DRAIN_PERCENT = 1.0
DRAIN_MINUTES = 5.0
BATTERY_WORDS = ("battery", "unplugged")


@dataclass(frozen=True, slots=True)
class SupplyCheck:
    """What was seen of the supply in a configuration.

    ``verdict``: ``enough``, ``near its rating``, ``beyond its rating``, ``battery drains`` or ``not known``;
    ``wall_watts``: highest wall power read under load; ``rated_watts``: of the adapter; ``drain_percent_per_hour``: of
    the battery on mains, None when not seen; ``words``: one sentence.
    """

    configuration: str
    verdict: Literal["enough", "near its rating", "beyond its rating", "battery drains", "not known"]
    wall_watts: float | None
    rated_watts: float | None
    drain_percent_per_hour: float | None
    words: str


def battery_drain(minutes: Sequence[float] | Floats, percent: Sequence[float] | Floats) -> float | None:
    """Percent per hour that a battery fell over a run, at least 0; None when that cannot be told.

    ``minutes``, ``percent``: shape (n,), NaN where not read. From the first to the last value, of runs of five minutes
    or more; a fall of less than one percent is a gauge's own step.
    """
    at, charge = np.asarray(minutes, dtype=np.float64), np.asarray(percent, dtype=np.float64)
    seen = np.isfinite(at) & np.isfinite(charge)
    if np.count_nonzero(seen) < 2:
        return None
    at, charge = at[seen], charge[seen]
    length = float(at[-1] - at[0])
    if length < DRAIN_MINUTES:
        return None
    fall = float(charge[0] - charge[-1])
    return 60 * fall / length if fall > DRAIN_PERCENT - 1e-9 else 0.0


def on_battery(supply: str | None) -> bool:
    """Whether the conditions say that the unit ran from its battery."""
    return any(word in (supply or "").casefold() for word in BATTERY_WORDS)


def check_supply(
    configuration: str, wall_watts: float | None, rated_watts: float | None, drain_percent_per_hour: float | None
) -> SupplyCheck:
    """Judge the supply of a configuration.

    A rating is what the adapter puts out; the wall meter also sees its own loss, taken as at most 12 %. So up to the
    rating at the wall it has room, past rating / 0.88 it is surely beyond, and between the two it is near. A battery
    that falls on mains says that the adapter does not keep up, whatever the meter says.
    """
    parts = []
    verdict: Literal["enough", "near its rating", "beyond its rating", "battery drains", "not known"] = "not known"
    if wall_watts is not None and rated_watts is not None:
        share = wall_watts / rated_watts
        if share <= 1:
            verdict = "enough"
        else:
            verdict = "beyond its rating" if share > 1 / (1 - ADAPTER_LOSS) else "near its rating"
        parts.append(
            f"{wall_watts:.0f} W at the wall, of which an adapter loses up to {100 * ADAPTER_LOSS:.0f} %, "
            f"against a rating of {rated_watts:.0f} W"
        )
    elif wall_watts is not None:
        parts.append(f"{wall_watts:.0f} W at the wall; the adapter's rating (supply_watts) is not on the card")
    if drain_percent_per_hour is not None and not math.isnan(drain_percent_per_hour):
        if drain_percent_per_hour > 0:
            verdict = "battery drains"
            parts.append(
                f"the battery fell by {drain_percent_per_hour:.0f} % an hour on mains: the adapter does not keep up,"
                " and the score may fall once the battery is low"
            )
        else:
            parts.append("the battery did not fall on mains")
            verdict = "enough" if verdict == "not known" else verdict
    words = "; ".join(parts) or "no wall power and no battery charge was read"
    return SupplyCheck(configuration, verdict, wall_watts, rated_watts, drain_percent_per_hour, words)
