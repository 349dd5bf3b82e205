"""The sweep's own planner, written a second time in C, proposes what the product proposes: else it tunes another."""

from __future__ import annotations

import shutil
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))

import policy_engine as engine
from policy_sweep import bench_of

from surefoot.rehearsal.populations import GOAL, POPULATIONS
from surefoot.search import Evidence, certify, next_step
from surefoot.search.effort import EFFORTS
from surefoot.search.joint_goal import goal_in_unit
from surefoot.search.soft_share import SOFT_LOAD_SHARE, USUAL_SOFT_SHARE


@pytest.mark.skipif(shutil.which("cc") is None, reason="the sweep's player is compiled")
@pytest.mark.parametrize("name", ["reference", "soft", "self-checking", "mislogged", "late", "clock"])
def test_the_sweep_tunes_the_search_that_is_shipped(name: str) -> None:
    population = POPULATIONS[name]
    knob = population.knob
    same = asked = 0
    for index, effort in enumerate(EFFORTS):
        goal = goal_in_unit(knob, replace(GOAL, effort=effort))
        goal = replace(goal, soft_share=SOFT_LOAD_SHARE if population.soft_load else USUAL_SOFT_SHARE)
        model = engine.Model(bench_of(population), engine.shipped(effort))
        unit = population.draw(np.random.default_rng([9, index]))
        rng = np.random.default_rng(index)
        runs: list[Evidence] = []
        for _ in range(30):
            step, known = next_step(knob, runs, goal), certify(knob, runs, goal)
            given = [(run.depth, run.minutes, run.failed, run.timed, run.soft) for run in runs]
            stop, depth, minutes, claim = model.propose(given)
            asked += 1
            same += (
                stop == step.stop
                and claim == (known.depth if known else -1.0)
                and (stop or (depth, minutes) == pytest.approx((step.depth, step.minutes), abs=1e-3))
            )
            if step.stop:
                break
            runs.append(unit.run(step.depth, step.minutes, 0.0, rng)[0])
    # Single precision sets the two apart now and then, where two runs are worth the same.
    assert asked > 15 and same >= 0.97 * asked
