"""Lost score: told from noise, and only where a clock was moved."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from surefoot.guide.speed import batch_means, lost_score
from surefoot.runs import Closing, Outcome, Run, RunPlan
from surefoot.units import Knob, Setting, Unit

MEMORY = Knob("gpu-memory", "gpu", "MHz", "up", 50, 1500)
CORE = Knob("cpu-core", "cpu", "mV", "down", 5, 250)
UNIT = Unit(name="shoebox-3", knobs=(MEMORY, CORE))


def run_at(values: dict[str, float], rates: list[float], load: str = "gpu") -> Run:
    return Run(
        id=1,
        opened_at=datetime(2026, 11, 2, tzinfo=UTC),
        plan=RunPlan(unit_name="shoebox-3", setting=Setting(values=values), load=load, planned_minutes=10),
        closing=Closing(outcome=Outcome.HELD, minutes=10, judged_by="x", detail={"rates": rates}),
    )


def rates(mean: float, seed: int, spread: float = 0.01) -> list[float]:
    return list(np.random.default_rng(seed).normal(mean, mean * spread, 60))


def test_a_fall_of_three_percent_is_seen() -> None:
    earlier = [run_at({}, rates(1000, 1))]
    plan = run_at({"gpu-memory": 800}, []).plan
    words = lost_score(UNIT, plan, rates(970, 2), earlier)
    assert words is not None and "fell by" in words


def test_noise_and_gains_are_not() -> None:
    earlier = [run_at({}, rates(1000, 1))]
    plan = run_at({"gpu-memory": 800}, []).plan
    assert lost_score(UNIT, plan, rates(1040, 3), earlier) is None
    false_alarms = sum(lost_score(UNIT, plan, rates(1000, seed), earlier) is not None for seed in range(100, 300))
    assert false_alarms <= 4


def test_only_like_is_compared_with_like() -> None:
    plan = run_at({"gpu-memory": 800}, []).plan
    assert lost_score(UNIT, plan, rates(900, 2), [run_at({}, rates(1000, 1), load="other")]) is None
    assert lost_score(UNIT, plan, rates(900, 2), [run_at({"gpu-memory": 900}, rates(1000, 1))]) is None
    assert lost_score(UNIT, plan, rates(900, 2), []) is None
    undervolt = run_at({"cpu-core": -90}, []).plan
    assert lost_score(UNIT, undervolt, rates(900, 2), [run_at({}, rates(1000, 1))]) is None


def test_batch_means_leave_the_warm_up_out() -> None:
    assert batch_means([0.0] + [10.0] * 9, 3) == [10.0, 10.0, 10.0]


def test_kernels_that_were_sized_otherwise_are_not_compared():
    plan = run_at({"gpu-memory": 800}, rates(970, 2)).plan
    earlier = [run_at({}, rates(1000, 1))]
    assert lost_score(UNIT, plan, rates(900, 2), earlier) is not None
    assert lost_score(UNIT, plan, rates(900, 2), earlier, {"graphics_sizes": {"mixed": "one in 3"}}) is None


def test_a_core_that_lost_pace_within_the_run_is_told():
    plan = run_at({"gpu-memory": 800}, rates(970, 2)).plan
    words = lost_score(UNIT, plan, rates(1000, 2), [], {"lost_pace": {"processor 3": 0.5}})
    assert words is not None
    assert "processor 3 to 50%" in words
    assert lost_score(UNIT, run_at({}, rates(1, 1)).plan, rates(9, 1), [], {"lost_pace": {"processor 3": 0.5}}) is None
