"""No step ever breaks a safety rule in any knob, whatever the history: thousands of random histories of random units.

The rules are written out here a second time, from the design, so that the code cannot vouch for itself.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from knobs_bench import run_of

from how_many import examples
from surefoot.runs import Outcome, Run
from surefoot.search import Goal, known_stable, plan, refusal
from surefoot.search.joint_goal import goal_in_unit
from surefoot.search.plan import Step
from surefoot.units import Knob, Setting, Unit

EPS = 1e-6
OUTCOMES = [Outcome.HELD] * 9 + [
    Outcome.RESET,
    Outcome.HANG,
    Outcome.MISCOMPUTE,
    Outcome.DRIVER_RESET,
    Outcome.SLOW,
    Outcome.OVERHEAT,
    Outcome.VOID,
]


@st.composite
def units(draw):
    knobs = [Knob("core", "cpu", "mV", "down", draw(st.sampled_from([5, 10])), draw(st.sampled_from([60, 120, 250])))]
    if draw(st.booleans()):
        knobs.append(Knob("cache", "cpu", "mV", "down", 5, draw(st.sampled_from([50, 250])), linked_to="core"))
    if draw(st.booleans()):
        knobs.append(Knob("gpu", "gpu", "MHz", "up", 15, 300))
    if draw(st.booleans()):
        knobs.append(Knob("memory", "gpu", "MHz", "up", 50, draw(st.sampled_from([400, 1000]))))
    return Unit(name="bench-unit", knobs=tuple(knobs))


@st.composite
def histories(draw):
    """A unit with runs at any whole-step settings: worse than what any session would make."""
    unit = draw(units())
    runs = []
    start_at_stock = draw(st.booleans())
    for number in range(1, draw(st.integers(0, 14)) + 1):
        depths = {
            knob.name: draw(st.integers(0, int(knob.limit / knob.step))) * knob.step * draw(st.sampled_from([0, 1, 1]))
            for knob in unit.leaders()
        }
        if number == 1 and start_at_stock:
            depths = {}
        outcome = draw(st.sampled_from(OUTCOMES)) if any(depths.values()) else Outcome.HELD
        runs.append(
            run_of(
                number,
                dict(unit.setting_at(depths).values),
                draw(st.sampled_from([0.0, 0.5, 1.0, 5.0, 30.0, 600.0])),
                outcome,
                timed=draw(st.booleans()),
                purpose=draw(st.sampled_from(["search", "joint", "soak", "game", "log"])),
                knob=draw(st.sampled_from([None, *[knob.name for knob in unit.leaders()]])),
            )
        )
    return unit, runs


def says(run):
    """Whether a run is evidence of stability: True held, False failed, None nothing."""
    if run.outcome in (Outcome.VOID, Outcome.OVERHEAT):
        return None
    if run.outcome is Outcome.SLOW:
        return None
    return run.outcome is Outcome.HELD


def leaders_of(unit, run):
    """Depth of each leader; of a linked pair that differs for want of range, the leader's."""
    return {knob.name: knob.depth_of(run.setting.value(knob.name)) for knob in unit.leaders()}


def check_rules(unit, runs, step, goal):
    """The rules of the design, for settings."""
    depths = {knob.name: knob.depth_of(step.setting.value(knob.name)) for knob in unit.knobs}
    held = [run for run in runs if says(run) is True and run.minutes >= 1 - EPS]
    if any(says(run) is False and run.setting.is_stock for run in runs):
        assert step.stop
        assert step.why_stop == "faulty"
    if step.stop:
        assert step.minutes == 0
        assert step.setting.is_stock
        return
    assert step.minutes > 0
    assert 0 <= step.failure_chance <= 1
    assert step.reason
    if not any(run.setting.is_stock for run in held):
        assert step.setting.is_stock, "the first run is at stock"
    for knob in unit.leaders():
        depth = depths[knob.name]
        assert depth <= knob.limit + EPS, "past the limit"
        assert abs(depth / knob.step - round(depth / knob.step)) < EPS, "not a whole step"
        deepest = max((leaders_of(unit, run)[knob.name] for run in held), default=0.0)
        assert depth <= deepest + goal_in_unit(knob, goal).max_stride + EPS, "further than a stride past what held"
        for other in unit.followers(knob.name):
            assert depths[other.name] == pytest.approx(min(depth, other.deepest)), "linked knobs move together"
    # After a failure: never deeper than a setting that held, until something shallower has held since.
    for at, failed in enumerate(runs):
        if says(failed) is not False and failed.outcome is not Outcome.SLOW:
            continue
        if failed.outcome is Outcome.SLOW and not any(
            knob.is_clock and leaders_of(unit, failed)[knob.name] > 0 for knob in unit.leaders()
        ):
            continue
        limit = leaders_of(unit, failed)
        answered = False
        for since in runs[at + 1 :]:
            if since not in held:
                continue
            now = leaders_of(unit, since)
            if all(now[name] <= limit[name] + EPS for name in limit) and any(
                now[name] < limit[name] - EPS for name in limit
            ):
                answered = True
        if not answered:
            assert (
                any(all(depths[name] <= depth + EPS for name, depth in leaders_of(unit, run).items()) for run in held)
                or step.setting.is_stock
            ), "deeper than anything that held, with a failure unanswered"


any_case = given(histories(), st.sampled_from(["posterior", "posterior", "ladder", "bisection"]))
patient = [HealthCheck.too_slow, HealthCheck.data_too_large]


@settings(max_examples=examples(250), deadline=None, suppress_health_check=patient)
@any_case
def test_no_step_breaks_a_rule(case, strategy):
    check_case(case, strategy)


@pytest.mark.long
@settings(max_examples=examples(4000), deadline=None, suppress_health_check=patient)
@any_case
def test_no_step_breaks_a_rule_in_thousands_of_histories(case, strategy):
    check_case(case, strategy)


def check_case(case, strategy):
    unit, runs = case
    goal = Goal()
    step = plan(unit, runs, goal, strategy=strategy)
    check_rules(unit, runs, step, goal)
    assert step.stop or refusal(unit, runs, step.setting, goal) is None, "the guard refuses what the search proposes"
    known = known_stable(unit, runs, goal, strategy=strategy)
    if not step.stop and step.purpose == "joint":
        assert step.knob == ""
        # No deeper in any knob than what that knob is certified for by itself.
        alone = known_stable(unit, runs, goal, strategy=strategy)
        assert alone is not None
        for name in alone.certificates:
            own = alone.setting.value(name) * unit.knob(name).sign + alone.back.get(name, 0.0)
            assert step.setting.value(name) * unit.knob(name).sign <= own + EPS
    if known is not None:
        for knob in unit.leaders():
            depth = knob.depth_of(known.setting.value(knob.name))
            deepest = max((leaders_of(unit, r)[knob.name] for r in runs if says(r) and r.minutes >= 1), default=0.0)
            assert depth <= deepest + EPS, "recommended deeper than it ever held"


@settings(max_examples=examples(400), deadline=None, suppress_health_check=patient)
@given(histories(), st.lists(st.integers(0, 60), min_size=3, max_size=3))
def test_what_the_guard_lets_through_breaks_no_rule(case, steps):
    """Any setting that `refusal` has nothing against obeys the rules written out above, as a step would."""
    unit, runs = case
    depths = {knob.name: float(step * knob.step) for knob, step in zip(unit.leaders(), steps, strict=False)}
    setting = unit.setting_at(depths)
    assert refusal(unit, runs, Setting(), Goal()) is None, "stock is never refused"
    if refusal(unit, runs, setting, Goal()) is None and not setting.is_stock:
        step = Step(False, "", "", "search", setting, 1.0, 0.5, "asked by hand")
        check_rules(unit, runs, step, Goal())


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"core": 10}, "above stock"),
        ({"core": -255}, "past the limit"),
        ({"nothing": -5}, "no knob"),
        ({"core": -75}, "20 mV past -53 mV"),
        ({"core": -20, "cache": -75}, "20 mV past -53 mV"),
        ({"core": -60}, None),
        ({"core": -53}, None),
    ],
)
def test_why_a_setting_is_refused(values, says):
    core = Knob("core", "cpu", "mV", "down", 1, 250)
    cache = Knob("cache", "cpu", "mV", "down", 1, 250, linked_to="core")
    unit = Unit(name="bench-unit", knobs=(core, cache))
    runs = [run_of(1, {}, 2), run_of(2, {"core": -53, "cache": -53}, 5)]
    found = refusal(unit, runs, Setting(values=values), Goal())
    assert found is None if says is None else says in (found or "")
    fresh = refusal(unit, [], Setting(values={"core": -5}), Goal())
    assert fresh is not None and "stock" in fresh
    failed = [*runs, run_of(3, {"core": -60, "cache": -60}, 1, Outcome.RESET)]
    again = refusal(unit, failed, Setting(values={"core": -60}), Goal())
    assert again is not None and "run 3" in again
    assert refusal(unit, failed, Setting(values={"core": -53}), Goal()) is None
    answered = [*failed, run_of(4, {"core": -53, "cache": -53}, 4)]
    assert refusal(unit, answered, Setting(values={"core": -60}), Goal()) is None


@settings(max_examples=examples(40), deadline=None, suppress_health_check=patient)
@given(histories())
def test_the_same_runs_give_the_same_step_in_any_order_and_with_any_ids(case):
    unit, runs = case
    goal = Goal()
    first = plan(unit, runs, goal)
    assert plan(unit, list(reversed(runs)), goal) == first
    assert plan(unit, tuple(runs), goal) == first


@settings(max_examples=15, deadline=None)
@given(units(), st.integers(0, 10_000), st.sampled_from([0.0, 0.15, 0.5]))
def test_a_whole_session_obeys_the_rules_and_ends(unit, seed, luck):
    """A session from nothing to its stop, each run ending by chance: it ends, and every step on the way is allowed."""
    import numpy as np

    rng = np.random.default_rng(seed)
    goal = replace(Goal(), max_failures=4)
    edges = {knob.name: knob.limit * rng.uniform(0.1, 1.2) for knob in unit.leaders()}
    runs: list[Run] = []
    for number in range(1, 150):
        step = plan(unit, runs, goal)
        check_rules(unit, runs, step, goal)
        if step.stop:
            break
        depths = {knob.name: knob.depth_of(step.setting.value(knob.name)) for knob in unit.leaders()}
        failed = any(depths[name] > edge for name, edge in edges.items()) or (
            any(depths.values()) and rng.random() < luck * 0.2
        )
        outcome = Outcome.RESET if failed else Outcome.HELD
        minutes = step.minutes * (rng.uniform(0.05, 1.0) if failed else 1.0)
        runs.append(run_of(number, step.setting.values, minutes, outcome, purpose=step.purpose, knob=step.knob or None))
    assert step.stop
    assert step.why_stop in ("certified", "limit", "failures", "worth")
