"""What is known-stable, and what the claim rests on."""

from __future__ import annotations

from dataclasses import asdict
from datetime import timedelta

import pytest
from knobs_bench import BEGAN, CACHE, CORE, GPU, MEMORY, noted, run_of, unit_of

from surefoot.runs import Outcome
from surefoot.search import Goal, certify, known_stable, run_evidence
from surefoot.search.known import is_transition
from surefoot.units import Conditions, LoadCard

GOAL = Goal()


def climbed(number=1, to=100, step=20):
    """Runs up to a depth of the core, each holding five minutes, then a failure past it and a long pass."""
    runs = [run_of(number, {}, 2)]
    for at, depth in enumerate(range(step, to + 1, step), start=number + 1):
        runs.append(run_of(at, {"cpu-core": -depth}, 5, knob="cpu-core"))
    runs.append(run_of(len(runs) + number, {"cpu-core": -(to + 20)}, 0.5, Outcome.RESET, knob="cpu-core"))
    runs.append(run_of(len(runs) + number, {"cpu-core": -to}, 60, knob="cpu-core"))
    return runs


def test_nothing_is_known_of_a_unit_without_runs_or_with_a_short_run_at_stock():
    unit = unit_of(CORE, GPU)
    assert known_stable(unit, [], GOAL) is None
    assert known_stable(unit, [run_of(1, {}, 60)], GOAL) is None


def test_stock_is_known_stable_once_its_own_hours_bear_the_claim():
    # Source: zero-failure bound, NIST/SEMATECH e-Handbook: 230.26 h claim 100 h at 90 %.
    unit = unit_of(CORE)
    assert known_stable(unit, [run_of(1, {}, 230.2 * 60)], GOAL) is None
    known = known_stable(unit, [run_of(1, {}, 230.3 * 60)], GOAL)
    assert known is not None
    assert known.setting.is_stock
    assert known.certificates == {}
    assert "Stock, nothing tuned" in known.says
    assert known.mttf_hours == pytest.approx(100.0, abs=0.1)


def test_with_one_knob_the_certificate_is_its_own():
    unit = unit_of(CORE)
    runs = climbed()
    known = known_stable(unit, runs, GOAL)
    own = certify(CORE, run_evidence(unit, runs, CORE), GOAL)
    assert known is not None
    assert own is not None
    assert list(known.certificates) == ["cpu-core"]
    assert asdict(known.certificates["cpu-core"]) == pytest.approx(asdict(own))
    assert known.joint is None
    assert not known.needs_joint_run
    assert known.setting.values == {"cpu-core": -own.depth}
    assert known.mttf_hours == pytest.approx(own.mttf_hours)


def test_linked_knobs_stand_in_the_setting():
    unit = unit_of(CORE, CACHE)
    runs = [
        run_of(run.id, {name: value for name in ("cpu-core", "cpu-cache") for value in run.setting.values.values()},
               run.minutes, run.outcome, knob="cpu-core")
        for run in climbed()
    ]  # fmt: skip
    known = known_stable(unit, runs, GOAL)
    assert known is not None
    assert known.setting.value("cpu-cache") == known.setting.value("cpu-core") < 0
    assert known.tuned == ("cpu-core",)


def test_knobs_never_held_together_have_no_joint_certificate_and_it_is_said():
    unit = unit_of(CORE, GPU)
    runs = climbed() + [
        run_of(20 + n, {"gpu-core": depth}, minutes, outcome, knob="gpu-core")
        for n, (depth, minutes, outcome) in enumerate(
            [(60, 5, Outcome.HELD), (120, 30, Outcome.HELD), (180, 1, Outcome.DRIVER_RESET), (120, 60, Outcome.HELD)]
        )
    ]
    apart = known_stable(unit, runs, GOAL)
    assert apart is not None
    assert set(apart.tuned) == {"cpu-core", "gpu-core"}
    assert apart.joint is None
    assert apart.needs_joint_run
    assert "never held together" in apart.says
    assert apart.mttf_hours >= GOAL.mttf_hours * 0.99

    together = known_stable(unit, [*runs, run_of(40, apart.setting.values, 60, purpose="joint")], GOAL)
    assert together is not None
    assert together.joint is not None
    assert together.joint.hours == pytest.approx(1.0)
    assert together.joint.failures == 0
    assert not together.needs_joint_run
    assert "the 1 h held together there or deeper" in together.says


def test_it_says_which_loads_and_when_and_under_which_conditions():
    unit = unit_of(CORE)
    runs = climbed()
    last = run_of(
        50, runs[-1].setting.values, 30, load="cpu-phases", conditions=Conditions(ambient_celsius=22, cooling="dock")
    )
    later = run_of(51, {"cpu-core": -20}, 30, load="cpu-full")
    known = known_stable(unit, [*runs, last, later], GOAL)
    assert known is not None
    assert known.loads == ("virtual", "cpu-phases")
    assert known.transition_tried
    assert known.last_at == BEGAN + timedelta(hours=50, minutes=30)
    assert known.conditions.cooling == "dock"
    # The deep passes and the failure; not the climb, nor what was held shallower.
    assert known.setting.value("cpu-core") < -20
    assert {7, 8, 50} <= set(known.run_ids)
    assert not {1, 2, 51} & set(known.run_ids)
    plain = known_stable(unit, runs, GOAL)
    assert plain is not None
    assert not plain.transition_tried


def test_a_transition_load_is_told_by_its_name_its_card_or_what_was_noted():
    unit = unit_of(CORE, loads=(LoadCard(name="mine", exercises=("cpu", "transition")),))
    assert is_transition(unit, run_of(1, {}, 5, load="cpu-transitions"))
    assert is_transition(unit, run_of(1, {}, 5, load="idle-to-full phases"))
    assert is_transition(unit, run_of(1, {}, 5, load="mine"))
    assert not is_transition(unit, run_of(1, {}, 5, load="cpu"))
    assert is_transition(unit, noted(run_of(1, {}, 5, load="cpu"), "cpu", "transition"))


def test_runs_that_do_not_count_are_told():
    unit = unit_of(CORE, MEMORY)
    known = known_stable(unit, [*climbed(), run_of(60, {"cpu-core": -40}, 5, Outcome.VOID)], GOAL)
    assert known is not None
    assert known.left_out == ("1 run was left out: interrupted, no evidence.",)


def test_a_long_game_with_a_crash_steps_the_setting_back():
    unit = unit_of(CORE, GPU)
    setting = {"cpu-core": -60.0, "gpu-core": 60.0}
    runs = [
        *climbed(),
        run_of(20, {"gpu-core": 60}, 60, knob="gpu-core"),
        run_of(21, {"gpu-core": 120}, 0.2, Outcome.DRIVER_RESET, knob="gpu-core"),
        run_of(22, {"gpu-core": 60}, 60, knob="gpu-core"),
        run_of(23, setting, 120, purpose="joint"),
    ]
    before = known_stable(unit, runs, GOAL)
    assert before is not None
    runs += [run_of(30 + n, before.setting.values, 20, Outcome.RESET, purpose="game") for n in range(4)]
    after = known_stable(unit, runs, GOAL)
    # Not the setting that crashed, nor one as deep in every knob.
    assert after is None or any(
        abs(after.setting.value(name)) < abs(before.setting.value(name)) for name in ("cpu-core", "gpu-core")
    )
