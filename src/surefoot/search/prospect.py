"""What more effort would buy: the search played on, from what is known now, against edges drawn from the posterior.

Nothing is looked up: the runs that would follow are made up as the model says that they end, and the search itself
says what it would do next and what it would claim. So the figures are as good as the model, and a mean of few draws.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from surefoot.search.api import certify, next_step
from surefoot.search.effort import EFFORTS
from surefoot.search.evidence import Evidence, Goal
from surefoot.search.own_evidence import believed
from surefoot.search.planner import soft_share
from surefoot.search.posterior import posterior
from surefoot.units import Knob

DRAWS = 12
MOST_RUNS = 40
SEED = 20


@dataclass(frozen=True, slots=True)
class Prospect:
    """What a search with an effort is expected to cost from here on, and to certify: means.

    ``hours``: bench hours more; ``crashes``: more; ``depth``: certified in the end, 0 where nothing is, in the knob's
    unit; ``gain``: past what is certified now.
    """

    effort: str
    hours: float
    crashes: float
    depth: float
    gain: float


def prospects(
    knob: Knob, evidence: Sequence[Evidence], goal: Goal, *, efforts: Sequence[str] = tuple(EFFORTS), draws: int = DRAWS
) -> tuple[Prospect, ...]:
    """For each effort, what going on with it is expected to take and to give. Pure: the draws are always the same.

    Every effort meets the same edges. Raises BadInput for an unknown effort.
    """
    evidence = tuple(evidence)
    trusted = believed(knob, evidence, goal)
    after = posterior(knob, trusted, goal)
    rng = np.random.default_rng(SEED)
    # Evenly spread over the posterior's weight, not at random: few draws must do.
    order = np.argsort(np.broadcast_to(after.grid.goal_depth, after.weight.shape).ravel(), kind="stable")
    total = np.cumsum(after.weight.ravel()[order])
    at = order[np.searchsorted(total, (np.arange(draws) + rng.uniform(size=draws)) / draws * total[-1] * (1 - 1e-12))]
    rows, columns = np.unravel_index(at, after.weight.shape)
    share = soft_share(trusted, goal)
    now = certify(knob, evidence, goal)
    before = now.depth if now else 0.0
    found = []
    for effort in efforts:
        wanted = replace(goal, effort=effort)
        ends = [
            _play_on(
                knob, evidence, wanted, after.grid.goal_depth[row, 0], after.grid.per_decade[0, column],
                after.grid.decades, share, np.random.default_rng([SEED, draw]),
            )
            for draw, (row, column) in enumerate(zip(rows, columns, strict=True))
        ]  # fmt: skip
        hours, crashes, depth = (float(value) for value in np.mean(ends, axis=0))
        found.append(Prospect(effort, hours, crashes, depth, depth - before))
    return tuple(found)


def _play_on(
    knob: Knob,
    evidence: tuple[Evidence, ...],
    goal: Goal,
    goal_depth: np.float64,
    per_decade: np.float64,
    decades: float,
    share: float,
    rng: np.random.Generator,
) -> NDArray[np.float64]:
    """Bench hours, crashes and certified depth of one search played to its stop."""
    minutes = crashes = 0.0
    for _ in range(MOST_RUNS):
        step = next_step(knob, evidence, goal)
        if step.stop:
            break
        rate = 10.0 ** float(np.clip((step.depth - goal_depth) / per_decade - decades, -12.0, 6.0))
        lasted = float(rng.exponential()) / rate * 60.0
        failed = lasted < step.minutes
        soft = failed and bool(rng.random() < share)
        lasted = min(lasted, step.minutes)
        minutes += goal.setup_minutes + lasted
        if failed:
            minutes += goal.soft_minutes if soft else goal.crash_minutes
            crashes += not soft
        evidence = (*evidence, Evidence(step.depth, lasted, failed, soft=soft))
    known = certify(knob, evidence, goal)
    return np.array([minutes / 60.0, crashes, known.depth if known else 0.0])
