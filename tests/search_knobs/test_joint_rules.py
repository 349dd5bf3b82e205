"""The rules for settings, one by one."""

from __future__ import annotations

from knobs_bench import CORE, GPU, run_of, unit_of

from surefoot.runs import Outcome
from surefoot.search import Goal
from surefoot.search.joint import JointPosterior
from surefoot.search.joint_setting import step_back
from surefoot.search.prior import model_confidence
from surefoot.search.rules import ceilings, cut_back, shallower, unanswered, vouched
from surefoot.search.run_evidence import read_runs

UNIT = unit_of(CORE, GPU)
KNOBS = {knob.name: knob for knob in UNIT.leaders()}
STRIDES = {"cpu-core": 20.0, "gpu-core": 60.0}
GOAL = Goal()


def answer(depths, runs, knobs, failed):
    return cut_back(depths, vouched(runs, knobs, STRIDES), knobs, failed)


def counted(*runs):
    return read_runs(UNIT, runs).counted


def test_a_ceiling_is_a_stride_past_the_deepest_that_held_in_any_run():
    runs = counted(
        run_of(1, {}, 2),
        run_of(2, {"cpu-core": -40, "gpu-core": 30}, 5),
        run_of(3, {"cpu-core": -60}, 0.5),
        run_of(4, {"cpu-core": -100}, 5, Outcome.RESET),
    )
    # The half minute at 60 mV is no hold, the failure at 100 mV neither.
    assert ceilings(runs, KNOBS, STRIDES) == {"cpu-core": 60.0, "gpu-core": 90.0}
    assert ceilings(counted(), KNOBS, STRIDES) == {"cpu-core": 20.0, "gpu-core": 60.0}
    far = counted(run_of(1, {"cpu-core": -195, "gpu-core": 290}, 5))
    # Never past the limit, and on whole steps.
    assert ceilings(far, KNOBS, STRIDES) == {"cpu-core": 200.0, "gpu-core": 300.0}


def test_shallower_means_no_deeper_in_any_knob_and_shallower_in_one():
    both, less, other, same = counted(
        run_of(1, {"cpu-core": -40, "gpu-core": 60}, 5),
        run_of(2, {"cpu-core": -40, "gpu-core": 45}, 5),
        run_of(3, {"cpu-core": -60}, 5),
        run_of(4, {"cpu-core": -40, "gpu-core": 60}, 5),
    )
    assert shallower(less, both)
    assert not shallower(both, less)
    assert not shallower(other, both)
    assert not shallower(same, both)


def test_a_failure_is_answered_by_something_shallower_that_held_since():
    before = [run_of(1, {}, 2), run_of(2, {"cpu-core": -40, "gpu-core": 60}, 5, Outcome.RESET)]
    found = unanswered(counted(*before))
    assert found is not None
    assert found.run.id == 2
    for values, minutes, answers in (
        ({"cpu-core": -40, "gpu-core": 45}, 5, True),
        ({}, 1, True),
        ({"cpu-core": -40, "gpu-core": 60}, 5, False),
        ({"cpu-core": -60}, 5, False),
        ({"cpu-core": -20}, 0.5, False),
    ):
        after = unanswered(counted(*before, run_of(3, values, minutes)))
        assert (after is None) is answers, values


def test_what_answers_a_failure_held_before_and_is_shallower():
    runs = counted(
        run_of(1, {}, 2),
        run_of(2, {"cpu-core": -40}, 5),
        run_of(3, {"gpu-core": 90}, 5),
        run_of(4, {"cpu-core": -60}, 1, Outcome.RESET),
    )
    failed = unanswered(runs)
    assert failed is not None
    # What held as a whole may be run as it is.
    assert answer({"cpu-core": 0.0, "gpu-core": 75.0}, runs, KNOBS, failed) == {"cpu-core": 0.0, "gpu-core": 75.0}
    # Never held together: the core's part that held is the deepest answer.
    assert answer({"cpu-core": 40.0, "gpu-core": 90.0}, runs, KNOBS, failed) == {"cpu-core": 40.0, "gpu-core": 0.0}
    # A setting that held once and then failed answers nothing: one step shallower does.
    again = counted(run_of(1, {}, 2), run_of(2, {"cpu-core": -40}, 5), run_of(3, {"cpu-core": -40}, 1, Outcome.RESET))
    assert answer({"cpu-core": 60.0}, again, KNOBS, again[-1]) == {"cpu-core": 35.0}
    # Nothing held at all: stock.
    none = counted(run_of(1, {"cpu-core": -40}, 1, Outcome.RESET))
    assert answer({"cpu-core": 40.0}, none, KNOBS, none[0]) == {"cpu-core": 0.0}


def test_a_setting_that_failed_together_is_not_recommended_however_likely_a_stray():
    sure = [
        run_of(1, {}, 2),
        run_of(2, {"cpu-core": -100}, 1, Outcome.RESET),
        run_of(3, {"cpu-core": -80}, 600),
        run_of(4, {"gpu-core": 200}, 1, Outcome.RESET),
        run_of(5, {"gpu-core": 150}, 600),
    ]
    wanted = {"cpu-core": 40.0, "gpu-core": 60.0}
    failed = run_of(6, {"cpu-core": -40, "gpu-core": 60}, 1, Outcome.RESET, purpose="joint")

    def found(*runs):
        counting = counted(*runs)
        joint = JointPosterior(UNIT.leaders(), counting, GOAL)
        return joint, step_back(KNOBS, wanted, counting, joint, GOAL)

    _, without = found(*sure)
    assert without.depths == wanted
    joint, with_failure = found(*sure, failed)
    # The arithmetic alone would still have it, the failure being a stray one by its lights.
    assert joint.chance_meets(wanted) >= model_confidence(GOAL)
    assert with_failure.depths != wanted
    assert sum(with_failure.back.values()) > 0
    # A hundred hours and more since at that setting take the failure's weight away.
    _, forgiven = found(*sure, failed, run_of(7, {"cpu-core": -40, "gpu-core": 60}, 101 * 60, purpose="game"))
    assert forgiven.depths == wanted
