"""Effort: the more is given, the longer the search goes on, and what is claimed on given runs does not change."""

from __future__ import annotations

import pytest

from surefoot.errors import BadInput
from surefoot.search import Evidence, Goal, certify, next_step
from surefoot.search.effort import EFFORTS
from surefoot.search.outlook import look_ahead
from surefoot.search.planner import worth_threshold
from surefoot.search.posterior import posterior
from surefoot.search.prior import model_doubt, typical_per_decade
from surefoot.search.prospect import prospects
from surefoot.units import Knob

KNOB = Knob("core", "cpu", "mV", "down", 5, 250)
RUNS = (
    Evidence(0, 2, False),
    *(Evidence(20.0 * at, 1, False) for at in range(1, 6)),
    Evidence(120, 0.4, True),
    Evidence(105, 90, False),
    Evidence(105, 15, False),
)


def test_more_effort_asks_less_of_an_hour_and_fears_a_crash_less() -> None:
    made = [EFFORTS[name] for name in ("quick", "usual", "thorough")]
    assert [one.worth_decades_per_hour for one in made] == sorted(
        (one.worth_decades_per_hour for one in made), reverse=True
    )
    # What a crash weighs in depth: its minutes, so many times, at what a minute must gain.
    weighs = [one.crash_aversion * one.worth_decades_per_hour for one in made]
    assert weighs == sorted(weighs, reverse=True)
    assert worth_threshold(KNOB, Goal(effort="quick")) > worth_threshold(KNOB, Goal(effort="thorough"))


def test_a_claim_on_given_runs_is_the_same_whatever_the_effort() -> None:
    assert certify(KNOB, RUNS, Goal(effort="quick")) == certify(KNOB, RUNS, Goal(effort="thorough"))


def test_a_search_that_is_done_when_quick_is_not_when_thorough() -> None:
    assert next_step(KNOB, RUNS, Goal(effort="quick")).stop
    assert not next_step(KNOB, RUNS, Goal(effort="thorough")).stop


def test_an_unknown_effort_is_refused_by_name() -> None:
    with pytest.raises(BadInput, match="much"):
        Goal(effort="much")


def test_more_effort_is_expected_to_take_longer() -> None:
    quick, thorough = prospects(KNOB, RUNS, Goal(), efforts=("quick", "thorough"), draws=4)
    assert quick.hours == 0 < thorough.hours
    known = certify(KNOB, RUNS, Goal())
    assert known is not None
    assert quick.depth == known.depth and quick.gain == 0
    assert prospects(KNOB, RUNS, Goal(), efforts=("thorough",), draws=4)[0] == thorough


def test_no_run_that_may_be_claimed_on_has_a_negative_worth() -> None:
    after = posterior(KNOB, RUNS, Goal())
    found = look_ahead(after, KNOB, Goal(), ceiling=125.0, deepest=105.0, soft_share=0.2)
    assert found.worth.min() > -0.05  # to rounding: the survival table is of single precision
    assert (found.weighed_minutes >= found.price_minutes).all()
    assert (found.price_minutes >= Goal().setup_minutes).all()


def test_a_step_finer_than_is_reckoned_with_still_gets_a_proposal() -> None:
    fine = Knob("core", "cpu", "mV", "down", 0.5, 250)
    step = next_step(fine, RUNS, Goal(effort="thorough"))
    assert not step.stop and (step.depth / 0.5) % 1 == 0


def test_what_is_typical_depends_on_what_is_tuned() -> None:
    core = Knob("gpu-core", "gpu", "MHz", "up", 15, 300)
    memory = Knob("gpu-memory", "gpu", "MHz", "up", 25, 1000)
    assert typical_per_decade(memory) == 2 * typical_per_decade(core)
    assert typical_per_decade(Knob("cpu-limit", "cpu", "W", "down", 1, 40)) == pytest.approx(1.0)


def test_a_claim_far_beyond_what_was_seen_is_stricter() -> None:
    assert model_doubt(Goal(mttf_hours=1000)) < model_doubt(Goal(mttf_hours=100)) == model_doubt(Goal(mttf_hours=10))
