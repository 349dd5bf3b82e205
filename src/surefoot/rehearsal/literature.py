"""General procedures from the literature for finding a threshold by yes-or-no trials, for the benchmark only.

None of them knows hazards, times to failure or prices: each makes runs of one fixed length, sees held or failed, and
estimates the depth at which half of such runs fail. To let them claim at all, each backs off from there to the depth
at which the goal is met, by its own estimate of the spread where it has one and by a typical one where it has not.
`register_literature()` adds them to the registry; the product does not offer them.
"""

from __future__ import annotations

from surefoot.search.strategy import register

NAMES = ("up-and-down", "probabilistic-bisection", "quest-plus")


def register_literature() -> tuple[str, ...]:
    """Make the procedures known to `next_step` and `certify` by name; returns the names."""
    from surefoot.rehearsal.literature_bisection import ProbabilisticBisection
    from surefoot.rehearsal.literature_quest import QuestPlusStrategy
    from surefoot.rehearsal.literature_updown import UpAndDown

    for strategy in (UpAndDown(), ProbabilisticBisection(), QuestPlusStrategy()):
        register(strategy)
    return NAMES
