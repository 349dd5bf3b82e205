"""The one assessment: step, claim and certificate from one reading, and sentences that its own runs bear out."""

from __future__ import annotations

from dataclasses import replace
from importlib import import_module

import pytest
from knobs_bench import CORE, GPU, run_of, unit_of

from surefoot.runs import Outcome, Run
from surefoot.search import Goal, KnownStable, Step, assess, known_stable, plan
from surefoot.search.bounds import mttf_lower_bound
from surefoot.search.reckoning import Reckoning
from surefoot.search.rests import BY_HAND, RESULTS
from surefoot.search.words import BEYOND, at_least, failed_from, hours_words, percent
from surefoot.units import Unit

GOAL = Goal()
UNIT = unit_of(CORE)


def searched(edge: float, unit: Unit = UNIT, goal: Goal = GOAL) -> tuple[list[Run], Step]:
    """A search of one knob up to its stop, each run failing half way past a sharp edge."""
    runs: list[Run] = []
    for number in range(1, 60):
        step = plan(unit, runs, goal)
        if step.stop:
            return runs, step
        fails = -step.setting.value("cpu-core") > edge
        minutes = step.minutes / 2 if fails else step.minutes
        outcome = Outcome.RESET if fails else Outcome.HELD
        runs.append(run_of(number, step.setting.values, minutes, outcome, knob="cpu-core"))
    raise AssertionError("the search did not end")


def known_of(runs: list[Run], unit: Unit = UNIT) -> KnownStable:
    found = assess(unit, runs, GOAL).known
    assert found is not None
    return found


@pytest.mark.parametrize("typed", [-300.0, -200.0, -150.0])
def test_a_mistyped_hold_is_named_and_not_believed(typed: float) -> None:
    runs = [run_of(n, {"cpu-core": -60}, 2, Outcome.RESET, purpose="log") for n in (1, 2, 3)]
    runs.append(run_of(4, {"cpu-core": typed}, 5, purpose="log"))
    found = assess(UNIT, runs, GOAL)
    assert found.known is None
    assert len(found.contradictions) == 1 and found.contradictions[0].startswith("Run 4 ")
    assert found.step.setting.is_stock
    with_climb = [run_of(n, {"cpu-core": -depth}, 4) for n, depth in enumerate((0, 20, 40, 50, 50), start=10)]
    known = known_of([*runs, *with_climb])
    assert -known.setting.value("cpu-core") < 60


def test_the_doors_give_the_answers_of_the_one_assessment() -> None:
    runs, stop = searched(100.0)
    found = assess(UNIT, runs, GOAL)
    known = known_stable(UNIT, runs, GOAL)
    assert known is not None and found.known is not None
    assert found.step == plan(UNIT, runs, GOAL) == stop
    assert (found.known.setting, found.known.says) == (known.setting, known.says)
    assert found.claim == found.step.claim == found.known.says


def test_the_claim_says_what_it_rests_on() -> None:
    runs, _ = searched(100.0)
    known = known_of(runs)
    depth = -known.setting.value("cpu-core")
    held = [run.minutes / 60 for run in runs if run.outcome is Outcome.HELD and -run.setting.value("cpu-core") >= depth]
    whole = known.whole
    assert whole is not None
    # Only minutes of runs that held; alone they bear out what chi-square says of them (NIST, CHECKS).
    assert whole.hours == pytest.approx(sum(held))
    assert whole.alone_mttf_hours == pytest.approx(mttf_lower_bound(sum(held), 0, 0.9))
    assert known.certificates["cpu-core"].hours == pytest.approx(sum(held))
    for part in ("on average", "at 90% confidence", f"bear out {at_least(whole.alone_mttf_hours)} h", "the model adds"):
        assert part in known.says
    assert f"likely good to {CORE.describe(known.likely['cpu-core'])}" in known.says
    assert known.likely["cpu-core"] > depth
    failures = [run for run in runs if run.outcome is Outcome.RESET]
    assert any("failed from" in text and "run" in text for text in known.basis)
    assert known.likely["cpu-core"] < min(-run.setting.value("cpu-core") for run in failures)


def test_hours_are_told_by_load_and_by_what_checked_them() -> None:
    runs, _ = searched(100.0)
    depth = known_of(runs).setting.value("cpu-core")
    told = run_of(90, {"cpu-core": depth}, 120, load="evening games", purpose="log")
    told = told.model_copy(update={"plan": told.plan.model_copy(update={"source": "hand"})})
    by_load = {one.load: one for one in known_of([*runs, told]).rests["cpu-core"].by_load}
    assert by_load["evening games"].checked_by == BY_HAND
    assert by_load["evening games"].hours == pytest.approx(2.0)
    assert by_load["virtual"].checked_by == RESULTS


def test_a_stop_is_a_stop_until_something_changed(monkeypatch: pytest.MonkeyPatch) -> None:
    runs, stop = searched(100.0)
    depth = known_of(runs).setting.value("cpu-core")
    measured = [
        run_of(70 + n, {"cpu-core": at}, 15, purpose="measure") for n, at in enumerate((0, depth, depth, depth))
    ]
    after = assess(UNIT, [*runs, *measured], GOAL)
    assert after.step.stop and after.step.reason == stop.reason
    # Also where those runs by themselves would let the search go on, as on some units they do.
    room = import_module("surefoot.search.plan")  # the package has a function of that name
    answer = room._next

    def goes_on(bench: Reckoning) -> Step:
        return answer(bench) if len(bench.counted) == len(runs) else replace(answer(bench), stop=False)

    monkeypatch.setattr(room, "_next", goes_on)
    assert not assess(UNIT, [*runs, run_of(70, {}, 15)], GOAL).step.stop
    after = assess(UNIT, [*runs, *measured], GOAL)
    assert after.step.stop and after.step.reason == stop.reason


def test_what_changes_a_stop() -> None:
    runs, stop = searched(100.0)
    depth = known_of(runs).setting.value("cpu-core")
    measured = [run_of(70 + n, {"cpu-core": at}, 15, purpose="measure") for n, at in enumerate((0, depth, depth))]
    # A failure, a hold deeper than what was known, or another goal is a change.
    failed = run_of(80, {"cpu-core": depth}, 3, Outcome.RESET, purpose="measure")
    assert assess(UNIT, [*runs, *measured, failed], GOAL).step.reason != stop.reason
    assert not assess(UNIT, [*runs, *measured], Goal(mttf_hours=5000, worth_per_hour=0)).step.stop


def test_hours_at_the_models_reach_are_no_figure() -> None:
    runs = [run_of(1, {}, 60), *[run_of(n, {"cpu-core": -20.0 * n}, 4) for n in range(1, 9)]]
    runs += [run_of(20 + n, {"cpu-core": -30}, 600) for n in range(3)]
    unit = unit_of(CORE)
    known = known_of([*runs, run_of(40, {"cpu-core": -180}, 1, Outcome.RESET)], unit)
    for name, rests in known.rests.items():
        assert (known.at_least[name] == BEYOND) is rests.beyond
        assert hours_words(rests) == known.at_least[name]


def test_bounds_are_rounded_down_and_never_to_nothing() -> None:
    assert [at_least(hours) for hours in (0.619, 138.55, 1.09, 0.57, 1234.0, 99.99)] == [
        "0.619", "138", "1.09", "0.57", "1,230", "99.9",
    ]  # fmt: skip
    assert at_least(0.0) == "under 0.001"
    assert [percent(chance) for chance in (0.0, 0.004, 0.12, 0.999)] == ["under 1 %", "under 1 %", "12 %", "over 99 %"]


def test_where_failures_begin_rests_on_a_number_of_runs() -> None:
    runs = [run_of(1, {}, 2), run_of(2, {"cpu-core": -60}, 1, Outcome.RESET)]
    evidence = assess(UNIT, runs, GOAL).evidence("cpu-core")
    assert failed_from(CORE, evidence) == "failed from -60 mV on (1 run)"
    assert failed_from(CORE, ()) == ""


def test_too_little_of_its_own_is_likely_and_not_certified() -> None:
    runs = [run_of(1, {}, 1), run_of(2, {"cpu-core": -20}, 1)]
    found = assess(UNIT, runs, GOAL)
    assert found.known is None
    assert "Likely, and no more than that" in found.claim and "5 min" in found.claim


def test_several_knobs_are_claimed_for_what_was_held_at_once() -> None:
    unit = unit_of(CORE, GPU)
    runs = [run_of(1, {}, 10)]
    runs += [run_of(1 + n, {"cpu-core": -20.0 * n}, 4, load="cpu-mix", knob="cpu-core") for n in range(1, 5)]
    runs.append(run_of(10, {"cpu-core": -100}, 1, Outcome.RESET, load="cpu-mix", knob="cpu-core"))
    runs += [run_of(10 + n, {"gpu-core": 45.0 * n}, 4, load="gpu-scene", knob="gpu-core") for n in range(1, 4)]
    runs.append(run_of(20, {"gpu-core": 180}, 1, Outcome.RESET, load="gpu-scene", knob="gpu-core"))
    apart = known_of(runs, unit)
    assert apart.whole is not None and apart.whole.hours == 0 and "never held together" in apart.says
    # An hour under a load of one part is an hour of that part alone.
    half = run_of(30, apart.setting.values, 60, load="cpu-mix", purpose="soak")
    with_half = known_of([*runs, half], unit)
    assert with_half.whole is not None and with_half.whole.hours == 0
    both = run_of(31, apart.setting.values, 60, load="cpu-gpu", purpose="joint")
    with_both = known_of([*runs, both], unit)
    assert with_both.whole is not None and with_both.whole.hours == pytest.approx(1.0)
    assert "held together" in with_both.says
