"""The limits that a trace is judged against, as far as they are known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from surefoot.units import Unit


@dataclass(frozen=True)
class Limits:
    """What is known of a unit's limits, by domain (``cpu``, ``gpu``); what is not known is left out.

    ``ceilings_celsius``: the temperature on the card above which a run is stopped. It is no throttle point: a part may
    run above it at full clock. ``throttle_celsius``: the temperature at which the part holds itself back, where
    somebody knows it; ``power_limits_watts``: the sustained limit; ``clock_limits_mhz``: the clock under this load
    when nothing holds it back (not a single-core peak under an all-core load). A trace that clearly says otherwise
    overrules what is on the card, and limits that the machine itself reports in the trace (`power-limit`,
    `temperature-limit`, `clock-limit`) come before those on the card.
    """

    ceilings_celsius: Mapping[str, float] = field(default_factory=dict)
    power_limits_watts: Mapping[str, float] = field(default_factory=dict)
    clock_limits_mhz: Mapping[str, float] = field(default_factory=dict)
    throttle_celsius: Mapping[str, float] = field(default_factory=dict)

    @classmethod
    def of(cls, unit: Unit) -> Limits:
        """The limits on a unit's card."""
        return cls(
            dict(unit.ceilings_celsius), dict(unit.power_limits_watts), throttle_celsius=dict(unit.throttle_celsius)
        )
