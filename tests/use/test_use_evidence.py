"""Use as evidence: a load of its own, whose survival is discounted and whose failures count in full."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from surefoot.rehearsal.populations import population_named
from surefoot.rehearsal.use import live_with, rehearse_use
from surefoot.search import Evidence, Goal, certify
from surefoot.search.posterior import posterior
from surefoot.search.prior import STRAY_FAILURES, grid_for
from surefoot.search.use_evidence import USE_SHARE, USE_SPREAD, log_use
from surefoot.search.use_plan import depth_to_live_with, gain_of_use, hours_to_next_step, trial_is_over
from surefoot.units import Knob

KNOB = Knob("core", "cpu", "mV", "down", 5, 250)
GOAL = Goal()
BENCH = (
    Evidence(0, 10, False),
    Evidence(60, 5, False),
    Evidence(80, 10, False),
    Evidence(95, 10, False),
    Evidence(115, 1.5, True),
    Evidence(90, 20, False),
)


def held(depth: float, hours: float) -> Evidence:
    return Evidence(depth, hours * 60, False, use=True)


def crashed(depth: float, hours: float) -> Evidence:
    return Evidence(depth, hours * 60, True, use=True)


def test_survival_and_failure_agree_with_the_integral_over_the_unknown_share() -> None:
    # The closed form against numerical integration over the gamma factor (scipy).
    grid = grid_for(KNOB, GOAL)
    pieces = [held(80, 30), crashed(90, 2)]
    found = log_use(grid, pieces)
    assert not isinstance(found, float)
    share = stats.gamma(1 / USE_SPREAD, scale=USE_SHARE * USE_SPREAD)
    for at in ((150, 4), (200, 6), (230, 9)):
        first, second = float(grid.hazard(80)[at]), float(grid.hazard(90)[at])
        dose = first * 30 + second * 2

        def inside(f: float, dose: float = dose, second: float = second) -> float:
            return float(share.pdf(f) * f * second * np.exp(-f * dose))

        exact = (1 - STRAY_FAILURES) * integrate.quad(inside, 0, np.inf)[0]
        exact += (
            STRAY_FAILURES / 2 * integrate.quad(lambda f, dose=dose: share.pdf(f) * np.exp(-f * dose), 0, np.inf)[0]
        )
        assert np.exp(found[at]) == pytest.approx(exact, rel=1e-6)


def test_how_the_hours_were_cut_does_not_matter() -> None:
    grid = grid_for(KNOB, GOAL)
    one = log_use(grid, [held(80, 30)])
    many = log_use(grid, [held(80, 1)] * 30)
    assert np.allclose(one, many)


def test_an_hour_of_use_says_less_than_an_hour_of_the_bench_and_a_crash_no_less() -> None:
    def bound(*more: Evidence) -> float:
        return posterior(KNOB, (*BENCH, *more), GOAL).goal_quantile(0.1)

    assert bound() < bound(held(90, 40)) < bound(Evidence(90, 40 * 60, False))
    assert bound(crashed(90, 2)) <= bound(Evidence(90, 120, True)) + 1.0


@settings(max_examples=60, deadline=None)
@given(
    depth=st.sampled_from([60.0, 75.0, 90.0, 95.0]),
    hours=st.floats(0.1, 400),
    more=st.floats(0.1, 400),
    other=st.floats(0.1, 100),
)
def test_longer_survival_never_lowers_a_claim_and_a_crash_never_raises_it(
    depth: float, hours: float, more: float, other: float
) -> None:
    rest = (*BENCH, held(70, other))
    shorter, longer = (posterior(KNOB, (*rest, held(depth, t)), GOAL) for t in (hours, hours + more))
    fallen = posterior(KNOB, (*rest, crashed(depth, hours)), GOAL)
    for at in (60.0, 80.0, 90.0, 100.0):
        assert longer.chance_meets(at) >= shorter.chance_meets(at) - 1e-9
        assert fallen.chance_meets(at) <= shorter.chance_meets(at) + 1e-9


def test_a_trial_lies_between_the_certified_and_the_failures_and_steps_back_after_a_crash() -> None:
    known = certify(KNOB, BENCH, GOAL)
    assert known is not None
    careful = depth_to_live_with(KNOB, BENCH, GOAL, None)
    likely, even = (depth_to_live_with(KNOB, BENCH, GOAL, chance) for chance in (0.7, 0.5))
    assert careful == known.depth < likely <= even < 115
    after = (*BENCH, held(likely, 5), crashed(likely, 1))
    assert depth_to_live_with(KNOB, after, GOAL, 0.7) < likely
    assert trial_is_over(KNOB, BENCH, GOAL, likely, careful) == ""


def test_a_trial_ends_when_hours_bring_nothing_or_nothing_deeper_is_left() -> None:
    soaked = (*BENCH, held(95, 4000))
    known = certify(KNOB, soaked, GOAL)
    assert known is not None and gain_of_use(KNOB, soaked, GOAL, 95) < 1
    assert "less than 1" in trial_is_over(KNOB, soaked, GOAL, 95, known.depth - 5)
    stuck = (*BENCH, held(85, 300), crashed(95, 1))
    assert "caught up" in trial_is_over(KNOB, stuck, GOAL, 90, 90)


def test_the_hours_to_the_next_step_are_those_that_certify_it() -> None:
    # Half an hour lived with already: the next step would else come sooner than is looked for (half an hour).
    lived = (*BENCH, held(80, 0.5))
    known = certify(KNOB, lived, GOAL)
    depth = depth_to_live_with(KNOB, lived, GOAL, 0.7)
    hours = hours_to_next_step(KNOB, lived, GOAL, depth, known)
    assert known is not None and hours is not None
    then = certify(KNOB, (*lived, held(depth, hours)), GOAL)
    before = certify(KNOB, (*lived, held(depth, hours * 0.9)), GOAL)
    assert then is not None and then.depth >= known.depth + KNOB.step
    assert before is None or before.depth < known.depth + KNOB.step
    # A failure just past the certified depth leaves no room for the next step, however long it holds.
    assert hours_to_next_step(KNOB, (*lived, crashed(known.depth + 5, 1)), GOAL, known.depth, known) is None


def test_units_lived_with_are_the_same_for_the_same_seed_and_get_deeper() -> None:
    days = live_with(population_named("reference"), 3, 0, "trial 0.7", (0, 10))
    assert days == live_with(population_named("reference"), 3, 0, "trial 0.7", (0, 10))
    assert days[1].give_away < days[0].give_away and days[1].hours == pytest.approx(40)


def test_the_rehearsal_gives_one_line_a_population_way_use_and_day() -> None:
    found = rehearse_use(2, 1, days=(0, 5), uses=("as the bench", "three times"), workers=1)
    assert len(found) == 3 * 2 * 2
    assert all(one.units == 2 and one.crashes == 0 for one in found if one.day == 0)
