"""How often the middle 80 % of the edge's density holds the true edge, over units of the demo's kind.

    python tests/benchmarks/edge_bands.py [UNITS]

Each unit is played through `plan` until it stops, on edges drawn as the demo draws them; then the band that the report
prints is set beside the truth.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime, timedelta

import numpy as np

from surefoot.guide.demo import draw_edges
from surefoot.rehearsal.demo_card import demo_unit
from surefoot.rehearsal.measures import wilson
from surefoot.report.chapters.edges import _interval
from surefoot.runs import Closing, Outcome, Run, RunPlan
from surefoot.search import Goal, edge_posterior, plan, run_evidence

BEGAN = datetime(2026, 2, 3, 8, 0, tzinfo=UTC)


def bands(seed: int) -> dict[str, tuple[float, float, float]]:
    """By knob: the band's low and high end, and the true edge."""
    unit, goal = demo_unit(), Goal()
    truths = draw_edges(seed)
    rng = np.random.default_rng([seed, 21])
    runs: list[Run] = []
    for number in range(1, 81):
        step = plan(unit, runs, goal)
        if step.stop:
            break
        depths = unit.depths(step.setting)
        ends = {
            name: truth.hours_to_failure(depths[name], step.minutes, 0.0, rng)
            for name, truth in truths.items()
            if depths[name] > 0
        }
        hours = min(ends.values(), default=np.inf)
        held = not np.isfinite(hours)
        closing = Closing(
            outcome=Outcome.HELD if held else Outcome.RESET,
            minutes=step.minutes if held else hours * 60,
            judged_by="virtual",
        )
        planned = RunPlan(
            unit_name=unit.name,
            setting=step.setting,
            load=step.load or "everything",
            planned_minutes=step.minutes,
            purpose="joint" if step.purpose == "joint" else "search",
            knob=step.knob or None,
            source="virtual",
        )
        at = BEGAN + timedelta(hours=number)
        runs.append(Run(id=number, opened_at=at, plan=planned, applied=step.setting, closed_at=at, closing=closing))
    found = {}
    for knob in unit.leaders():
        posterior = edge_posterior(knob, run_evidence(unit, runs, knob), goal)
        low, high = _interval(posterior.depths, posterior.edge_density)
        found[knob.name] = low, high, truths[knob.name].edge
    return found


def main(units: int) -> None:
    """Print the share of bands that hold the truth, by knob, with its 95 % interval."""
    inside: dict[str, list[bool]] = {}
    for seed in range(units):
        for name, (low, high, truth) in bands(seed).items():
            inside.setdefault(name, []).append(low <= truth <= high)
    for name, hits in inside.items():
        low, high = wilson(sum(hits), len(hits))
        print(f"{name}: {sum(hits)} of {len(hits)} bands hold the edge, {np.mean(hits):.0%} [{low:.0%}, {high:.0%}]")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40)
