"""What the runs of a unit say of one knob alone, each shared failure given to the knob most to blame."""

from __future__ import annotations

from collections.abc import Iterable

from surefoot.runs import Run
from surefoot.search.evidence import Evidence, Goal
from surefoot.search.joint import JointPosterior, is_shared
from surefoot.search.run_evidence import plain_evidence, read_runs
from surefoot.units import Conditions, Knob, Unit


def run_evidence(
    unit: Unit, runs: Iterable[Run], knob: Knob | str, *, conditions: Conditions | None = None
) -> tuple[Evidence, ...]:
    """What the runs of a unit say of one knob, in order of time.

    Which runs count: see `read_runs`. A failure that several knobs may have caused is listed for the one most likely
    to have caused it, by the exact posterior of all knobs together (`joint.py`); a failure at stock for every knob.
    ``knob``: a searched knob or its name; for a linked one its leader answers. Raises BadInput for an unknown knob.
    """
    asked = unit.knob(knob if isinstance(knob, str) else knob.name)
    name = asked.linked_to or asked.name
    counted = read_runs(unit, runs, conditions=conditions).counted
    shared = any(is_shared(item) and name in item.causes for item in counted)
    blamed = JointPosterior(unit.leaders(), counted, Goal()).most_blamed() if shared else {}
    return plain_evidence(counted, name, blamed)
