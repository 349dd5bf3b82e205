"""Which runs are evidence of which knob."""

from __future__ import annotations

import pytest
from knobs_bench import CACHE, CORE, GPU, MEMORY, noted, run_of, unit_of

from surefoot.errors import BadInput
from surefoot.runs import Outcome, Run
from surefoot.search import Evidence, run_evidence
from surefoot.search.run_evidence import bears_on, is_graphics, read_runs
from surefoot.units import Conditions, LoadCard

UNIT = unit_of(CORE, CACHE, GPU, MEMORY)


def evidence(runs, knob=CORE, unit=UNIT, conditions=None):
    return run_evidence(unit, runs, knob, conditions=conditions)


def test_runs_become_evidence_in_order_of_time_with_the_setting_read_back():
    runs = [
        run_of(2, {"cpu-core": -40, "cpu-cache": -40}, 3.5, Outcome.MISCOMPUTE),
        run_of(1, {}, 2),
        run_of(3, {"cpu-core": -60, "cpu-cache": -60}, 8, read_back={"cpu-core": -55, "cpu-cache": -55}),
        run_of(4, {"cpu-core": -80, "cpu-cache": -80}, 1, Outcome.RESET, timed=False),
    ]
    assert evidence(runs) == (
        Evidence(0, 2, False),
        Evidence(40, 3.5, True, soft=True),
        Evidence(55, 8, False),
        Evidence(80, 1, True, timed=False),
    )


def test_what_says_nothing_is_left_out_and_counted():
    open_run = run_of(9, {"cpu-core": -40, "cpu-cache": -40}, 5)
    open_run = Run(id=9, opened_at=open_run.opened_at, plan=open_run.plan, last_minutes=4)
    runs = [
        open_run,
        run_of(1, {"cpu-core": -40}, 5, Outcome.VOID),
        run_of(2, {"cpu-core": -40}, 5, Outcome.OVERHEAT),
        run_of(3, {"cpu-core": +40}, 5),
        run_of(4, {"voltage-of-another-card": -40}, 5),
        run_of(5, {"cpu-core": -40, "cpu-cache": -40}, 5, load=""),
        run_of(6, {"cpu-core": -40, "cpu-cache": -40}, 0),
    ]
    assert evidence(runs) == ()
    read = read_runs(UNIT, runs)
    assert sum(read.left_out.values()) == 6
    assert "2 runs were left out: at a setting that the unit's card does not allow." in read.sentences()
    assert any("1 run was left out: made without a load" in sentence for sentence in read.sentences())


@pytest.mark.parametrize("purpose", ["baseline", "measure", "soak", "game", "log", "joint", "search"])
def test_every_purpose_is_evidence(purpose):
    runs = [run_of(1, {"cpu-core": -40, "cpu-cache": -40}, 90, purpose=purpose)]
    assert evidence(runs) == (Evidence(40, 90, False),)


def test_of_linked_knobs_the_shallower_one_rules():
    assert evidence([run_of(1, {"cpu-core": -80, "cpu-cache": -30}, 5)]) == (Evidence(30, 5, False),)
    assert evidence([run_of(1, {"cpu-core": -40, "cpu-cache": -90}, 5)]) == (Evidence(40, 5, False),)
    # Past the cache's own limit of 120 it stays behind on purpose.
    assert evidence([run_of(1, {"cpu-core": -140, "cpu-cache": -120}, 5)]) == (Evidence(140, 5, False),)


def test_a_linked_knob_is_answered_by_its_leader():
    runs = [run_of(1, {"cpu-core": -40, "cpu-cache": -40}, 5)]
    assert evidence(runs, CACHE) == evidence(runs, CORE) == evidence(runs, "cpu-cache")
    with pytest.raises(BadInput, match="no knob"):
        evidence(runs, "cpu-fan")


def test_a_stock_run_counts_for_every_knob_and_so_does_a_failure_at_stock():
    for load in ("virtual", "cpu-mix"):
        runs = [run_of(1, {}, 2, load=load)]
        assert all(evidence(runs, knob) == (Evidence(0, 2, False),) for knob in (CORE, GPU, MEMORY))
    runs = [run_of(1, {}, 2, Outcome.HANG)]
    assert all(evidence(runs, knob) == (Evidence(0, 2, True),) for knob in (CORE, GPU, MEMORY))


def test_a_failure_is_no_evidence_of_a_knob_that_was_at_stock():
    runs = [run_of(1, {}, 2), run_of(2, {"gpu-core": 90}, 3, Outcome.DRIVER_RESET)]
    assert evidence(runs, CORE) == (Evidence(0, 2, False),)
    assert evidence(runs, GPU) == (Evidence(0, 2, False), Evidence(90, 3, True))


def test_slow_is_a_failure_of_clocks_only():
    runs = [
        run_of(1, {"gpu-memory": 500}, 15, Outcome.SLOW),
        run_of(2, {"cpu-core": -50, "cpu-cache": -50}, 15, Outcome.SLOW),
    ]
    assert evidence(runs, MEMORY) == (Evidence(500, 15, True, soft=True),)
    assert evidence(runs, CORE) == ()


def test_another_firmware_does_not_count_and_another_driver_not_for_graphics():
    old = Conditions(firmware="1.2", driver="600")
    runs = [
        run_of(1, {}, 2, conditions=old),
        run_of(2, {"cpu-core": -40, "cpu-cache": -40}, 5, conditions=old),
        run_of(3, {"gpu-core": 30}, 5, conditions=old),
        run_of(4, {"gpu-core": 60}, 5, Outcome.DRIVER_RESET, conditions=old),
        run_of(5, {"cpu-core": -50, "cpu-cache": -50, "gpu-core": 45}, 5, conditions=old),
    ]
    assert len(evidence(runs, conditions=Conditions(firmware="1.2", driver="600"))) == 4
    assert evidence(runs, conditions=Conditions(firmware="1.3")) == ()
    assert len(evidence(runs, conditions=Conditions(ambient_celsius=30, cooling="lid off", operating_system="x"))) == 4
    newer = Conditions(firmware="1.2", driver="610")
    assert evidence(runs, GPU, conditions=newer) == ()
    # The processor does not mind the graphics driver.
    assert [piece.depth for piece in evidence(runs, CORE, conditions=newer)] == [0, 40, 0, 50]
    unknown = [run_of(1, {"gpu-core": 30}, 5)]
    assert evidence(unknown, GPU, conditions=newer) == (Evidence(30, 5, False),)


def test_a_load_that_does_not_exercise_a_knob_proves_nothing_of_it():
    runs = [run_of(1, {"cpu-core": -60, "cpu-cache": -60, "gpu-core": 150}, 600, load="cpu-mix")]
    assert evidence(runs, CORE) == (Evidence(60, 600, False),)
    assert evidence(runs, GPU) == ()
    failed = [run_of(1, {"cpu-core": -60, "cpu-cache": -60, "gpu-core": 150}, 6, Outcome.RESET, load="cpu-mix")]
    assert evidence(failed, CORE) == (Evidence(60, 6, True),)
    assert evidence(failed, GPU) == ()
    # But when nothing else was off stock, it was that knob all the same.
    only = [run_of(1, {"gpu-core": 150}, 6, Outcome.RESET, load="cpu-mix")]
    assert evidence(only, GPU) == (Evidence(150, 6, True),)


def test_what_a_load_exercises_is_told_by_the_card_the_search_or_its_name():
    unit = unit_of(
        CORE, CACHE, GPU, MEMORY, loads=(LoadCard(name="shader-loop", exercises=("gpu-core",)), LoadCard(name="any"))
    )
    run = run_of(1, {"gpu-core": 30, "gpu-memory": 100}, 5, load="shader-loop")
    assert bears_on(unit, GPU, run, {})
    assert not bears_on(unit, MEMORY, run, {})
    assert not bears_on(unit, CORE, run, {})
    assert bears_on(unit, MEMORY, run, {"gpu-memory": frozenset({"shader-loop"})})
    for load, cpu, gpu in (
        ("any", True, True),
        ("cpu", True, False),
        ("gpu-heavy", False, True),
        ("cpu+gpu", True, True),
    ):
        run = run_of(1, {}, 5, load=load)
        assert (bears_on(unit, CORE, run, {}), bears_on(unit, GPU, run, {})) == (cpu, gpu)


def test_what_was_noted_at_the_closing_goes_before_the_name():
    run = run_of(1, {"cpu-core": -40, "gpu-core": 30, "gpu-memory": 100}, 5, load="cpu")
    assert bears_on(UNIT, CORE, noted(run, "cpu", "transition"), {})
    assert not bears_on(UNIT, GPU, noted(run, "cpu", "transition"), {})
    # A load for the graphics memory alone says nothing of the graphics core, though both are of the card.
    both = noted(run_of(1, {"gpu-core": 30, "gpu-memory": 100}, 5, load="gpu"), "gpu", "gpu-memory", "transition")
    memory = noted(run_of(1, {"gpu-core": 30, "gpu-memory": 100}, 5, load="gpu-memory"), "gpu-memory")
    assert [bears_on(UNIT, knob, both, {}) for knob in (CORE, GPU, MEMORY)] == [False, True, True]
    assert [bears_on(UNIT, knob, memory, {}) for knob in (CORE, GPU, MEMORY)] == [False, False, True]


def test_graphics_domains():
    assert is_graphics("gpu")
    assert is_graphics("gpu-memory")
    assert is_graphics("VRAM")
    assert not is_graphics("cpu")
    assert not is_graphics("memory")


def test_a_failure_above_stock_is_one_below_it_with_the_sign_slipped():
    unit = unit_of(CORE)
    assert evidence([run_of(1, {"cpu-core": 60}, 2, Outcome.RESET)], unit=unit) == (Evidence(60, 2, True),)
    assert evidence([run_of(1, {"cpu-core": 60}, 2)], unit=unit) == ()
