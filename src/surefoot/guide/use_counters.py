"""The two clocks of a stretch of use, as the samples of its heartbeats carry them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from surefoot.journal import Journal
from surefoot.runs import Run
from surefoot.units import Knob, Unit

AWAKE = "use.count.awake"
"""Channel: minutes awake at the setting since the stretch began."""
_LOADED = "use.count.loaded-{}"


def loaded_channel(at: int) -> str:
    """Channel of the minutes under a load that works the searched knob at that place on the card."""
    return _LOADED.format(at)


def part_of_knob(knob: Knob) -> str:
    """The part whose sensors tell whether a knob is worked: the graphics card, else the processor."""
    words = set(re.findall(r"[a-z]+", knob.domain.lower()))
    return "gpu" if words & {"gpu", "vram", "graphics"} else "cpu"


def counters(unit: Unit, awake: float, loaded: Mapping[str, float]) -> dict[str, float]:
    """Both clocks as channels of one sample."""
    found = {AWAKE: awake}
    return found | {loaded_channel(at): loaded.get(knob.name, 0.0) for at, knob in enumerate(unit.leaders())}


def use_detail(journal: Journal, unit: Unit, run: Run) -> dict[str, Any]:
    """What the last heartbeat of a stretch says for its closing: minutes awake, minutes under load by knob."""
    trace = journal.trace(run.id) if journal.has_trace(run.id) else None
    tuned = [knob.name for knob in unit.leaders() if run.setting.value(knob.name)]
    detail: dict[str, Any] = {"awake_minutes": 0.0, "loaded": dict.fromkeys(tuned, 0.0), "exercises": tuned}
    if trace is None or (awake := trace.get(AWAKE)) is None:
        return detail
    detail["awake_minutes"] = round(float(awake[-1]), 3)
    for at, knob in enumerate(unit.leaders()):
        values = trace.get(loaded_channel(at))
        if knob.name in tuned and values is not None:
            detail["loaded"][knob.name] = round(float(values[-1]), 3)
    return detail
