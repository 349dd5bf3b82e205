"""Knobs of single cores: whose evidence a run is, and which core is the weakest."""

from __future__ import annotations

import pytest
from knobs_bench import CORE, GPU, run_of, unit_of

from surefoot.errors import BadInput
from surefoot.runs import Outcome, Run
from surefoot.search import Goal, plan, run_evidence
from surefoot.search import known_stable as known_now
from surefoot.search.cores import failures_by_core, weakest_core_words
from surefoot.search.run_evidence import read_runs
from surefoot.units import Knob, Unit

ZERO = Knob("core-0", "cpu", "mV", "down", 5, 100, cores=(0,))
PAIR = Knob("core-2-3", "cpu", "mV", "down", 5, 100, cores=(2, 3))
UNIT = unit_of(ZERO, PAIR)


def on(run: Run, **detail) -> Run:
    assert run.closing is not None
    return run.model_copy(update={"closing": run.closing.model_copy(update={"detail": detail})})


def depths(unit: Unit, runs, knob) -> list[tuple[float, bool]]:
    return [(one.depth, one.failed) for one in run_evidence(unit, runs, knob)]


def test_a_run_of_one_core_is_no_evidence_for_another():
    run = on(
        run_of(1, {"core-0": -40, "core-2-3": -40}, 30, load="cpu-core-0"), exercises=["cpu", "transition", "core-0"]
    )
    assert depths(UNIT, [run], "core-0") == [(40, False)]
    assert depths(UNIT, [run], "core-2-3") == []


def test_a_run_logged_by_hand_says_by_its_load_which_cores_worked():
    run = run_of(1, {"core-0": -40, "core-2-3": -40}, 30, load="cpu-core-2+3")
    assert depths(UNIT, [run], "core-0") == []
    assert depths(UNIT, [run], "core-2-3") == [(40, False)]


def test_a_run_of_all_cores_is_evidence_for_all():
    run = on(run_of(1, {"core-0": -40, "core-2-3": -40}, 30, load="cpu"), exercises=["cpu", "transition"])
    assert depths(UNIT, [run], "core-0") == depths(UNIT, [run], "core-2-3") == [(40, False)]


@pytest.mark.parametrize(("core", "blamed"), [(0, "core-0"), (2, "core-2-3"), (3, "core-2-3")])
def test_a_failure_seen_on_a_core_is_that_of_the_knob_that_governs_it(core, blamed):
    failed = run_of(1, {"core-0": -40, "core-2-3": -40}, 3, Outcome.MISCOMPUTE, load="cpu")
    run = on(failed, exercises=["cpu"], processor=core)
    other = "core-2-3" if blamed == "core-0" else "core-0"
    assert depths(UNIT, [run], blamed) == [(40, True)]
    assert (40, True) not in depths(UNIT, [run], other)


def test_a_failure_on_a_core_that_no_knob_off_stock_governs_is_left_out_and_said():
    run = on(run_of(1, {"core-0": -40}, 3, Outcome.MISCOMPUTE, load="cpu"), exercises=["cpu"], processor=7)
    assert depths(UNIT, [run], "core-0") == []
    step = plan(UNIT, [run], Goal())
    assert any("none of the knobs off stock can cause" in words for words in step.left_out)


def test_a_crash_that_names_no_core_may_be_any_knobs():
    run = on(run_of(1, {"core-0": -40, "core-2-3": -40}, 3, Outcome.RESET, load="cpu"), exercises=["cpu"])
    blamed = [name for name in ("core-0", "core-2-3") if (40, True) in depths(UNIT, [run], name)]
    assert len(blamed) == 1


def test_the_weakest_core_of_a_knob_that_moves_them_all_is_named():
    unit = unit_of(CORE, GPU)
    runs = [
        on(run_of(1, {"cpu-core": -90}, 3, Outcome.MISCOMPUTE, load="cpu"), processor=5),
        on(run_of(2, {"cpu-core": -80}, 3, Outcome.MISCOMPUTE, load="cpu"), processor=3),
        on(run_of(3, {"cpu-core": -85}, 3, Outcome.MISCOMPUTE, load="cpu"), processor=3),
        run_of(4, {"cpu-core": -70}, 30, load="cpu"),
    ]
    counted = read_runs(unit, runs).counted
    found = failures_by_core(counted, CORE)
    assert [(one.core, one.failures, one.shallowest) for one in found] == [(3, 2, 80), (5, 1, 90)]
    (words,) = weakest_core_words(unit, counted)
    assert words.startswith("Weakest core: processor 3 failed 2 times, first at -80 mV; the next, processor 5, at -90")
    assert weakest_core_words(unit, counted[3:]) == ()


def test_a_card_whose_cores_overlap_or_are_no_numbers_is_refused():
    with pytest.raises(BadInput):
        Knob("a", "cpu", "mV", "down", 5, 100, cores=(1, 1))
    with pytest.raises(BadInput):
        Knob("a", "cpu", "mV", "down", 5, 100, cores=("x",))  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="both govern processor 2"):
        unit_of(PAIR, Knob("core-2", "cpu", "mV", "down", 5, 100, cores=(2,)))
    # A cache offset that moves with its core's may name the same core.
    unit_of(ZERO, Knob("cache-0", "cpu", "mV", "down", 5, 100, linked_to="core-0", cores=(0,)))
    assert Knob("a", "cpu", "mV", "down", 5, 100, cores=[1, 2]).cores == (1, 2)  # type: ignore[arg-type]


def test_what_is_known_says_which_core_rules_it():
    unit = unit_of(CORE)
    held = [run_of(number, {"cpu-core": -60}, 240, load="cpu") for number in range(1, 30)]
    failed = on(run_of(40, {"cpu-core": -95}, 2, Outcome.MISCOMPUTE, load="cpu"), processor=5)
    known = known_now(unit, [*held, failed], Goal())
    assert known is not None
    assert any(words.startswith("Weakest core: processor 5") for words in known.basis)
