"""What is told of many units at one look: plain data, worked out in the guide, shown as a table, CSV or a page."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class EdgeAmong:
    """One knob's estimated edge among the units of its platform: ``depth`` in ``measure``, ``toward`` the risky side.

    ``deeper_than``: of how many of the ``others``; ``low``, ``high``: the shallowest and deepest edge of all of them;
    ``likely_low``, ``likely_high``: where eight tenths of the edge's density lie; ``certified``: depth of the
    known-stable setting, None where there is none; ``failures``: that tell where the edge is.
    """

    knob: str
    platform: str
    measure: str
    toward: str
    depth: float
    deeper_than: int
    others: int
    low: float
    high: float
    likely_low: float
    likely_high: float
    certified: float | None
    failures: int

    def value(self, depth: float) -> float:
        """A depth as the signed value that is set."""
        return -depth if self.toward == "down" else depth


@dataclass(frozen=True, slots=True)
class FleetUnit:
    """One unit. ``parts``: of its card, in words; ``setting``: known-stable, in words, "" where there is none;
    ``claim``: its sentence; ``mttf_hours``; ``changed``: every reason to doubt it; ``due``: those that ask for the unit
    to be tried again; ``hours``: under load, ``use_hours`` of them in ordinary use; ``crashes``,
    ``use_crashes`` of them in use; ``runs``; ``virtual``: a rehearsal, no measurement."""

    unit: str
    parts: str
    setting: str
    claim: str
    mttf_hours: float | None
    changed: tuple[str, ...]
    due: tuple[str, ...]
    edges: tuple[EdgeAmong, ...]
    hours: float
    use_hours: float
    crashes: int
    use_crashes: int
    runs: int
    virtual: bool = False


@dataclass(frozen=True, slots=True)
class Fleet:
    """Every unit, and the sums: hours under load, crashes, how many are known-stable, how many are due."""

    units: tuple[FleetUnit, ...]
    hours: float
    use_hours: float
    crashes: int
    known: int
    due: int
