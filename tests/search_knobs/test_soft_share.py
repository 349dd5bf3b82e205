"""What is expected of a load's catching its own failures, by its card and by what its runs are known to check."""

from __future__ import annotations

from dataclasses import replace

import pytest
from knobs_bench import run_of

from surefoot.runs import Outcome, Run
from surefoot.search import Goal, assess
from surefoot.search.run_evidence import read_runs
from surefoot.search.soft_share import CHECKED_LOAD_SHARE, SOFT_LOAD_SHARE, USUAL_SOFT_SHARE, expected_soft_share
from surefoot.units import Knob, LoadCard, Unit

CORE = Knob("cpu-core", "cpu", "mV", "down", 5, 250, load="sums")
STOCK = run_of(1, {}, 2, load="sums", knob="cpu-core")


def unit_of(*, soft: bool) -> Unit:
    return Unit(name="bench-unit", knobs=(CORE,), loads=(LoadCard(name="sums", exercises=("cpu",), soft=soft),))


def expected(unit: Unit, *runs: Run) -> float:
    return expected_soft_share(unit, read_runs(unit, runs).counted, CORE)


def test_the_card_of_the_load_says_that_failures_show_as_wrong_results():
    assert expected(unit_of(soft=True)) == SOFT_LOAD_SHARE
    assert expected(unit_of(soft=False), STOCK) == USUAL_SOFT_SHARE


def test_a_load_whose_runs_checked_their_results_is_known_by_them():
    assert STOCK.closing is not None
    checked = STOCK.model_copy(
        update={
            "plan": STOCK.plan.model_copy(update={"source": "rig"}),
            "closing": STOCK.closing.model_copy(update={"detail": {"verified_units": 500}}),
        }
    )
    assert expected(unit_of(soft=False), checked) == CHECKED_LOAD_SHARE > USUAL_SOFT_SHARE
    # Another load's checks say nothing of the one that the knob is searched under.
    other = checked.model_copy(update={"plan": checked.plan.model_copy(update={"load": "other"})})
    assert expected(unit_of(soft=False), other) == USUAL_SOFT_SHARE


def climbed(*more: Run) -> list[Run]:
    held = [run_of(2 + at, {"cpu-core": -20.0 * (at + 1)}, 2, load="sums", knob="cpu-core") for at in range(5)]
    return [STOCK, *held, *more]


@pytest.mark.parametrize("outcome", [Outcome.RESET, Outcome.MISCOMPUTE])
def test_the_search_prices_a_failure_by_what_the_card_says(outcome):
    runs = climbed(
        run_of(8, {"cpu-core": -120}, 0.5, outcome, load="sums", knob="cpu-core"),
        run_of(9, {"cpu-core": -100}, 4, load="sums", knob="cpu-core"),
    )
    goal = Goal(worth_per_hour=0.0)

    def priced(soft: bool, wanted: Goal) -> list[float]:
        proposal = assess(unit_of(soft=soft), runs, wanted).step.proposal
        assert proposal is not None
        return [one.price_minutes for one in proposal.alternatives if one.failure_chance > 0.5]

    assert priced(True, goal)
    assert sum(priced(True, goal)) / len(priced(True, goal)) < sum(priced(False, goal)) / len(priced(False, goal))
    # What the goal says outright is taken literally, whatever the card says.
    assert priced(True, replace(goal, soft_share=0.1)) == priced(False, replace(goal, soft_share=0.1))
