"""What share of a knob's failures its load is expected to catch itself, before the unit has shown any."""

from __future__ import annotations

from collections.abc import Sequence

from surefoot.search.evidence import Goal
from surefoot.search.rests import RESULTS, checked_by
from surefoot.search.run_evidence import CountedRun
from surefoot.units import Knob, Unit

USUAL_SOFT_SHARE = Goal().soft_share
SOFT_LOAD_SHARE = 0.7
"""Where the load's card says that a failure is likely to show as a wrong result. *A guess*, worth one failure
(planner.py): the unit's own failures soon outweigh it."""
CHECKED_LOAD_SHARE = 0.4
"""Where the load is known to check its results, as every built-in one does. *A guess* too, and a more careful one: a
load that checks does not always come to checking."""


def expected_soft_share(unit: Unit, counted: Sequence[CountedRun], knob: Knob) -> float:
    """The share, 0 to 1, by the load that the knob is searched under: its card, or what its runs are known to check."""
    last = next((item.run for item in reversed(counted) if item.run.plan.knob == knob.name), None)
    load = knob.load or (last.plan.load if last is not None else "")
    card = next((card for card in unit.loads if card.name == load), None)
    if card is not None and card.soft:
        return SOFT_LOAD_SHARE
    # A virtual unit's runs are checked too, but only its card says how often its failures are caught.
    told = last is not None and last.plan.source != "virtual" and last.plan.load == load
    if told and last is not None and checked_by(unit, last) == RESULTS:
        return max(CHECKED_LOAD_SHARE, USUAL_SOFT_SHARE)
    return USUAL_SOFT_SHARE
