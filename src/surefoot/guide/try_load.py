"""One load tried by itself, with no setting and nothing kept: what `surefoot load run` does and shows."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from surefoot.rig.protocols import Load, TellsOfCores
from surefoot.rig.sampler import over_ceiling
from surefoot.runs import Outcome

LOOK_SECONDS: Final = 0.5
OVER_SAMPLES: Final = 3


@dataclass(frozen=True, slots=True)
class CoreRow:
    """One worker now. ``doing``: the kernel of work, or rest; ``verified``: units; Celsius and MHz where measured."""

    where: str
    doing: str
    verified: int
    celsius: float | None
    mhz: float | None


@dataclass(frozen=True, slots=True)
class Look:
    """The load at one moment."""

    seconds: float
    planned_seconds: float
    phase: str
    progress: float
    rows: tuple[CoreRow, ...]
    sample: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Tried:
    """How it ended. ``held``: nothing failed; ``peaks``: the highest of each temperature and power."""

    load: str
    held: bool
    outcome: Outcome
    message: str
    minutes: float
    peaks: dict[str, float] = field(default_factory=dict)
    detail: dict[str, Any] = field(default_factory=dict)


def try_load(
    load: Load,
    minutes: float,
    *,
    sample: Callable[[], dict[str, float]],
    show: Callable[[Look], None],
    seconds: Callable[[], float],
    sleep: Callable[[float], None],
    ceilings_celsius: Mapping[str, float] | None = None,
) -> Tried:
    """Run it for so long, stopped at once by a failure, a ceiling or Ctrl-C (raised again). Raises MachineError."""
    session = load.start(minutes)
    began = seconds()
    peaks: dict[str, float] = {}
    over = 0
    hot: tuple[str, float, float] | None = None
    try:
        while (state := session.poll()).state == "running":
            now = sample()
            for name, value in now.items():
                if "temperature" in name.split(".") or "power" in name.split("."):
                    peaks[name] = max(value, peaks.get(name, value))
            hot = over_ceiling(now, ceilings_celsius or {})
            over = over + 1 if hot else 0
            if over >= OVER_SAMPLES:
                break
            rows = core_rows(session.cores(), now) if isinstance(session, TellsOfCores) else ()
            show(Look(seconds() - began, minutes * 60.0, state.phase, state.progress, rows, now))
            sleep(LOOK_SECONDS)
    finally:
        last = session.stop()
    spent = (seconds() - began) / 60.0
    if last.state == "failed":
        outcome = last.outcome or Outcome.MISCOMPUTE
        return Tried(load.name, False, outcome, last.message, spent, peaks, dict(last.detail))
    if hot is not None and over >= OVER_SAMPLES:
        domain, value, ceiling = hot
        words = f"{domain} at {value:.0f} °C, ceiling {ceiling:.0f} °C."
        return Tried(load.name, False, Outcome.OVERHEAT, words, spent, peaks, dict(last.detail))
    verified = last.detail.get("verified_units")
    if verified is not None and not sum(verified.values()):
        return Tried(load.name, False, Outcome.VOID, f"Nothing was verified. {last.message}", spent, peaks)
    return Tried(load.name, True, Outcome.HELD, last.message, spent, peaks, dict(last.detail))


def core_rows(cores: Mapping[str, Mapping[str, Any]], sample: Mapping[str, float]) -> tuple[CoreRow, ...]:
    """Workers with the sensors that belong to each: its core's own, else its part's."""
    rows = []
    for where, facts in cores.items():
        core = facts.get("processor")
        part = "gpu" if core is None else "cpu"
        rows.append(
            CoreRow(
                where,
                str(facts.get("doing", "")),
                int(facts.get("verified", 0)),
                _of_core(sample, part, "temperature", core),
                _of_core(sample, part, "clock", core),
            )
        )
    return tuple(rows)


def _of_core(sample: Mapping[str, float], part: str, quantity: str, core: int | None) -> float | None:
    own = sample.get(f"{part}.{quantity}.core-{core}") if core is not None else None
    return own if own is not None else sample.get(f"{part}.{quantity}")


def heat_here(runs: Mapping[str, list[dict[str, float]]]) -> dict[str, dict[str, float]]:
    """By load, the highest of each temperature in runs that were kept: what `load list` calls how hot it gets here."""
    found: dict[str, dict[str, float]] = {}
    for load, peaks in runs.items():
        for one in peaks:
            for name, value in one.items():
                seen = found.setdefault(load, {})
                seen[name] = max(value, seen.get(name, value))
    return found
