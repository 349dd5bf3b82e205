"""Several knobs, as a session would play them: what comes first, what moves together, how it ends."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from knobs_bench import CACHE, CORE, GPU, MEMORY, at_depths, run_of, unit_of

from surefoot.errors import BadInput
from surefoot.load_names import CPU_GPU
from surefoot.rig import registry
from surefoot.runs import Outcome, Run
from surefoot.search import Goal, known_stable, plan, run_evidence
from surefoot.search.evidence import Evidence
from surefoot.search.joint import JointPosterior
from surefoot.search.joint_goal import goal_in_unit
from surefoot.search.joint_setting import joint_minutes, step_back
from surefoot.search.known import hours_together
from surefoot.search.payoff import payoff_order
from surefoot.search.plan import JOINT_MINUTES
from surefoot.search.planner import soft_share
from surefoot.search.prior import setting_confidence
from surefoot.search.run_evidence import read_runs
from surefoot.search.together import load_together
from surefoot.units import Conditions, Knob, LoadCard, Unit

GOAL = Goal()
VOLTS = Knob("gpu-volts", "gpu", "mV", "down", 5, 150)


def session(
    unit: Unit,
    edges: dict[str, float],
    *,
    load: Callable[[object], str] = lambda step: "virtual",
    together: Callable[[dict[str, float]], bool] = lambda depths: False,
    most: int = 150,
    **asked,
):
    """Runs and steps of a session on a unit whose knobs fail half way a run past sharp edges; and the stop."""
    runs: list[Run] = []
    steps = []
    for number in range(1, most):
        step = plan(unit, runs, GOAL, **asked)
        steps.append(step)
        if step.stop:
            return runs, steps
        depths = {knob.name: knob.depth_of(step.setting.value(knob.name)) for knob in unit.leaders()}
        past = [name for name, depth in depths.items() if depth > edges[name]]
        held = not past and not together(depths)
        slow = past == ["gpu-memory"]
        outcome = Outcome.HELD if held else Outcome.SLOW if slow else Outcome.RESET
        runs.append(
            run_of(
                number,
                step.setting.values,
                step.minutes if held or slow else step.minutes / 2,
                outcome,
                timed=not slow,
                load=load(step),
                purpose=step.purpose,
                knob=step.knob or None,
            )
        )
    raise AssertionError("it never stopped")


EDGES = {"cpu-core": 97.0, "gpu-core": 140.0, "gpu-memory": 420.0, "gpu-volts": 62.0}


@pytest.fixture(scope="module")
def whole():
    unit = unit_of(CORE, CACHE, GPU, MEMORY)
    return unit, *session(unit, EDGES)


def test_one_stock_run_serves_every_knob(whole):
    _, _, steps = whole
    assert steps[0].setting.is_stock
    assert steps[0].purpose == "search"
    assert not any(step.setting.is_stock for step in steps[1:-1])


def test_each_knob_is_searched_to_its_end_with_the_others_at_their_certified_depth(whole):
    unit, runs, steps = whole
    order = [step.knob for step in steps[1:-1] if step.purpose == "search"]
    # One after the other, none taken up again.
    assert [name for at, name in enumerate(order) if at == 0 or order[at - 1] != name] == sorted(
        set(order), key=order.index
    )
    assert set(order) == {"cpu-core", "gpu-core", "gpu-memory"}
    last = steps[-2]
    for name in order[:1]:
        # The first knob searched now stands at what it was certified for, short of its edge.
        depth = unit.knob(name).depth_of(last.setting.value(name))
        assert 0 < depth <= EDGES[name]
    assert len(runs) == len(steps) - 1


def test_linked_knobs_move_together(whole):
    _, _, steps = whole
    for step in steps:
        core, cache = step.setting.value("cpu-core"), step.setting.value("cpu-cache")
        assert cache == max(core, -CACHE.deepest)


def test_it_ends_certified_and_held_together_short_of_every_edge(whole):
    unit, runs, steps = whole
    stop = steps[-1]
    assert stop.stop
    assert stop.why_stop == "certified"
    known = known_stable(unit, runs, GOAL)
    assert known is not None
    assert known.joint is not None
    assert not known.needs_joint_run
    assert known.joint.mttf_hours >= GOAL.mttf_hours
    assert set(known.tuned) == {"cpu-core", "gpu-core", "gpu-memory"}
    for name in known.tuned:
        assert 0 < unit.knob(name).depth_of(known.setting.value(name)) <= EDGES[name]
        assert known.certificates[name].mttf_hours >= GOAL.mttf_hours
    assert known.setting.describe(unit) in stop.claim
    counted = read_runs(unit, runs).counted
    depths = {name: unit.knob(name).depth_of(known.setting.value(name)) for name in known.tuned}
    assert min(joint_minutes(counted, depths).values()) >= JOINT_MINUTES


def test_every_step_explains_itself(whole):
    _, _, steps = whole
    for step in steps[:-1]:
        assert step.reason.endswith(".")
        assert "\n" not in step.reason
        assert step.minutes > 0
        assert step.claim
        assert step.purpose == "joint" or step.proposal is not None


def test_a_unit_that_fails_at_stock_is_not_tuned():
    unit = unit_of(CORE, GPU)
    runs = [run_of(1, {}, 2), run_of(2, {"gpu-core": 30}, 5), run_of(3, {}, 1, Outcome.MISCOMPUTE)]
    step = plan(unit, runs, GOAL)
    assert step.stop
    assert step.why_stop == "faulty"
    assert known_stable(unit, runs, GOAL) is None


def test_a_voltage_comes_before_a_clock_of_the_same_part():
    for cards in ((GPU, VOLTS, CORE), (VOLTS, GPU, CORE), (GPU, CORE, VOLTS)):
        unit = unit_of(*cards)
        counted = read_runs(unit, [run_of(1, {}, 2)]).counted
        joint = JointPosterior(unit.leaders(), counted, GOAL)
        names = [turn.knob for turn in payoff_order(unit.leaders(), joint, counted, {}, GOAL)]
        assert names.index("gpu-volts") < names.index("gpu-core")


def test_the_knob_that_gains_most_an_hour_comes_first():
    easy = Knob("easy", "a", "mV", "down", 5, 60)
    far = Knob("far", "b", "mV", "down", 5, 400)
    unit = unit_of(far, easy)
    counted = read_runs(unit, [run_of(1, {}, 2)]).counted
    joint = JointPosterior(unit.leaders(), counted, GOAL)
    assert [turn.knob for turn in payoff_order(unit.leaders(), joint, counted, {}, GOAL)] == ["easy", "far"]


def test_the_turns_are_told_with_what_each_is_expected_to_bring():
    unit = unit_of(CORE, GPU)
    step = plan(unit, [run_of(1, {}, 2)], GOAL)
    assert step.turns[0].knob == step.knob
    assert {turn.knob for turn in step.turns} == {"cpu-core", "gpu-core"}
    for turn in step.turns:
        assert turn.gain > 0
        assert turn.hours > 0
        assert turn.share == pytest.approx(turn.gain / unit.knob(turn.knob).limit)


def test_a_search_goes_on_with_the_knob_it_was_on():
    unit = unit_of(CORE, GPU)
    runs = [run_of(1, {}, 2), run_of(2, {"gpu-core": 15}, 2, knob="gpu-core")]
    assert plan(unit, runs, GOAL).knob == "gpu-core"
    runs = [run_of(1, {}, 2), run_of(2, {"cpu-core": -10}, 2, knob="cpu-core")]
    assert plan(unit, runs, GOAL).knob == "cpu-core"


def test_only_the_knobs_named_are_searched():
    unit = unit_of(CORE, CACHE, GPU)
    runs, steps = session(unit, EDGES, knobs=["gpu-core"])
    assert {step.knob for step in steps[:-1]} == {"gpu-core"}
    assert all(step.setting.value("cpu-core") == 0 for step in steps)
    assert steps[-1].stop
    # Now the other: the first stays where it is certified.
    step = plan(unit, runs, GOAL, knobs=["cpu-core"])
    assert step.knob == "cpu-core"
    assert step.setting.value("gpu-core") > 0


@pytest.mark.parametrize(
    ("names", "says"), [(["cpu-cache"], "moves with"), (["fan"], "no knob"), ([], "no knob was named")]
)
def test_bad_knob_names_are_refused(names, says):
    with pytest.raises(BadInput, match=says):
        plan(unit_of(CORE, CACHE, GPU), [], GOAL, knobs=names)


def test_a_unit_without_knobs_is_refused():
    with pytest.raises(BadInput, match="no knobs"):
        plan(unit_of(), [], GOAL)


def test_new_firmware_begins_at_stock_again():
    unit = unit_of(CORE, GPU)
    runs = [
        run_of(1, {}, 2, conditions=Conditions(firmware="1")),
        run_of(2, {"cpu-core": -60}, 60, conditions=Conditions(firmware="1"), knob="cpu-core"),
    ]
    assert not plan(unit, runs, GOAL, conditions=Conditions(firmware="1")).setting.is_stock
    step = plan(unit, runs, GOAL, conditions=Conditions(firmware="2"))
    assert step.setting.is_stock
    assert step.left_out == ("2 runs were left out: made under another firmware, which may move the edge.",)
    assert known_stable(unit, runs, GOAL, conditions=Conditions(firmware="2")) is None


def test_after_a_failure_something_shallower_is_held_first_whichever_knob_is_next():
    unit = unit_of(CORE, GPU)
    runs = [
        run_of(1, {}, 2),
        run_of(2, {"gpu-core": 60}, 30, knob="gpu-core"),
        run_of(3, {"gpu-core": 120}, 1, Outcome.DRIVER_RESET, knob="gpu-core"),
    ]
    step = plan(unit, runs, GOAL, knobs=["cpu-core"])
    assert step.setting.value("cpu-core") == 0
    assert step.setting.value("gpu-core") <= 60
    assert "nothing shallower" in step.reason
    runs.append(run_of(4, step.setting.values, step.minutes, knob="cpu-core"))
    assert plan(unit, runs, GOAL, knobs=["cpu-core"]).setting.value("cpu-core") < 0


def test_a_joint_run_works_every_tuned_part_at_the_same_time():
    unit = unit_of(CORE, CACHE, GPU)

    def load(step):
        if step.load:
            return step.load
        return {"cpu-core": "cpu-mix", "gpu-core": "gpu-scene"}[step.knob]

    runs, steps = session(unit, EDGES, load=load)
    assert steps[-1].why_stop == "certified"
    assert {run.plan.load for run in runs if run.plan.purpose == "joint"} == {CPU_GPU}
    known = known_stable(unit, runs, GOAL)
    assert known is not None
    depths = {name: unit.knob(name).depth_of(known.setting.value(name)) for name in known.tuned}
    assert hours_together(read_runs(unit, runs).counted, depths) * 60 >= JOINT_MINUTES
    # The card's own load goes first, and what the knobs have in common before that.
    both = LoadCard(name="bake", exercises=("cpu", "gpu"))
    assert (
        load_together(unit_of(CORE, GPU, loads=(LoadCard(name="half", exercises=("cpu",)), both)), [CORE, GPU])
        == "bake"
    )
    assert load_together(unit_of(CORE, GPU), [replace(CORE, load="mix"), replace(GPU, load="mix")]) == "mix"


def test_the_name_of_the_load_for_every_part_is_the_rigs():
    assert CPU_GPU in registry.loads()


def test_one_after_the_other_where_no_load_works_every_part_and_it_is_said():
    other = replace(GPU, name="npu-clock", domain="npu")
    unit = unit_of(CORE, CACHE, other)

    def load(step):
        return step.load or {"cpu-core": "cpu-mix", "npu-clock": "npu-sums"}[step.knob]

    runs, steps = session(unit, {"cpu-core": EDGES["cpu-core"], "npu-clock": EDGES["gpu-core"]}, load=load)
    # The core was searched on top of the other knob, so the other's load is the one that is owed.
    assert {run.plan.load for run in runs if run.plan.purpose == "joint"} <= {"cpu-mix", "npu-sums"}
    assert any("one after the other" in step.reason for step in steps if step.purpose == "joint")
    assert "one after the other" in steps[-1].reason and "one after the other" in steps[-1].claim
    known = known_stable(unit, runs, GOAL)
    assert known is not None
    depths = {name: unit.knob(name).depth_of(known.setting.value(name)) for name in known.tuned}
    assert min(joint_minutes(read_runs(unit, runs).counted, depths).values()) >= JOINT_MINUTES
    # Hours of one part alone are no hours of the whole setting.
    assert known.joint is None and known.whole is not None and known.whole.hours == 0


def test_a_session_that_ignores_the_load_asked_for_still_ends_and_is_told_so():
    unit = unit_of(CORE, CACHE, GPU)

    def load(step):
        return {"cpu-core": "cpu-mix", "gpu-core": "gpu-scene"}.get(step.knob, "cpu-mix")

    # The core is searched on top of the graphics clock, under the processor's load only.
    runs, steps = session(unit, EDGES, load=load)
    stop = steps[-1]
    assert stop.why_stop == "certified"
    joint = [run for run in runs if run.plan.purpose == "joint"]
    assert joint
    assert sum(run.minutes for run in joint) <= 2 * JOINT_MINUTES + 1
    assert "did not exercise gpu-core" in stop.reason
    assert "did not exercise gpu-core" in stop.claim


def test_what_holds_alone_and_fails_together_is_stepped_back_until_it_holds():
    unit = unit_of(CORE, GPU)
    # A shared supply: each holds to its edge alone, not both.
    runs, steps = session(unit, EDGES, together=lambda depths: depths["cpu-core"] + depths["gpu-core"] > 150)
    stop = steps[-1]
    assert stop.why_stop in ("certified", "failures", "worth")
    known = known_stable(unit, runs, GOAL)
    assert known is not None
    depths = {knob.name: knob.depth_of(known.setting.value(knob.name)) for knob in unit.leaders()}
    assert depths["cpu-core"] + depths["gpu-core"] <= 150
    failed = [run.setting for run in runs if run.plan.purpose == "joint" and run.outcome is not Outcome.HELD]
    for setting in failed:
        assert not all(depths[knob.name] >= knob.depth_of(setting.value(knob.name)) for knob in unit.leaders())


def test_hazards_add_so_a_knob_is_stepped_back_where_it_costs_least():
    unit = unit_of(CORE, GPU)
    runs, _ = session(unit, EDGES)
    counted = read_runs(unit, runs).counted
    joint = JointPosterior(unit.leaders(), counted, GOAL)
    knobs = {knob.name: knob for knob in unit.leaders()}
    wanted = {"cpu-core": 80.0, "gpu-core": 105.0}
    found = step_back(knobs, wanted, counted, joint, GOAL)
    assert found.chance >= setting_confidence(GOAL, 2)
    for name, depth in found.depths.items():
        assert depth <= wanted[name]
        assert depth + found.back.get(name, 0.0) == wanted[name]
    # Not one step further back than needed: any knob a step deeper again would miss the goal.
    for name in found.back:
        deeper = {**found.depths, name: found.depths.get(name, 0.0) + knobs[name].step}
        assert joint.chance_meets(deeper) < setting_confidence(GOAL, 2) or len(found.back) > 1
    # By itself each might stand deeper: the chance together is less than that of either alone.
    assert joint.chance_meets(wanted) <= min(joint.chance_meets({name: depth}) for name, depth in wanted.items())


def test_two_knobs_at_one_in_100_h_are_one_in_50_h_together():
    # Competing risks: hazards add (Cox and Oakes 1984). Both knobs known almost exactly, by long failures and passes.
    a = Knob("a", "x", "mV", "down", 5, 40)
    b = Knob("b", "y", "mV", "down", 5, 40)
    unit = unit_of(a, b)
    counted = read_runs(unit, [run_of(1, {}, 2)]).counted
    joint = JointPosterior(unit.leaders(), counted, GOAL)
    for mttf in (20.0, 100.0, 400.0):
        together = joint.chance_meets({"a": 20.0, "b": 20.0}, mttf)
        apart = joint.chance_meets({"a": 20.0}, mttf) * joint.chance_meets({"b": 20.0}, mttf)
        assert together <= apart + 1e-9
        assert together >= joint.chance_meets({"a": 20.0}, 2 * mttf) * joint.chance_meets({"b": 20.0}, 2 * mttf) - 0.02


def test_slow_runs_are_priced_as_soft_failures():
    unit = unit_of(MEMORY)
    runs = [run_of(1, {}, 2)] + [
        run_of(n, {"gpu-memory": 400}, 15, Outcome.SLOW, timed=False, knob="gpu-memory") for n in (2, 3)
    ]
    found = run_evidence(unit, runs, MEMORY)
    assert [piece.soft for piece in found] == [False, True, True]
    hard = [Evidence(piece.depth, piece.minutes, piece.failed, piece.timed) for piece in found]
    assert soft_share(found, GOAL) > soft_share(hard, GOAL)


def test_the_goal_fits_the_unit_of_the_knob():
    assert goal_in_unit(CORE, GOAL) == GOAL
    clock = goal_in_unit(GPU, GOAL)
    assert clock.max_stride == pytest.approx(48)
    assert clock.within == pytest.approx(24)
    coarse = goal_in_unit(MEMORY, GOAL)
    assert coarse.within >= MEMORY.step
    assert coarse.max_stride >= MEMORY.step
    # What was given is taken at its word.
    given = goal_in_unit(GPU, Goal(within=40, max_stride=30))
    assert (given.within, given.max_stride) == (40, 30)


def test_the_limit_held_is_said_as_such():
    unit = unit_of(Knob("core", "cpu", "mV", "down", 5, 40))
    _, steps = session(unit, {"core": 1000.0})
    assert steps[-1].why_stop == "limit"


def test_at_depths_helper_moves_linked_knobs():
    assert at_depths(unit_of(CORE, CACHE), {"cpu-core": 50}) == {"cpu-cache": -50.0, "cpu-core": -50.0}
