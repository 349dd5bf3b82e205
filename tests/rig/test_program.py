"""When each worker is busy."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surefoot.load_names import chosen_processors
from surefoot.rig.loads.gpu.programs import GPU_PROGRAMS
from surefoot.rig.loads.program import (
    BURSTS,
    EVERY,
    HEAVY,
    PER_CORE,
    PROGRAMS,
    ROTATION,
    TRANSITIONS,
    program_of,
)

times = st.floats(0, 10_000, allow_nan=False)
crews = st.integers(1, 64)


ALL = {**PROGRAMS, **GPU_PROGRAMS, "cpu-core-1": program_of("cpu-core-1")}


@pytest.mark.parametrize("name", ALL)
@given(seconds=times, workers=crews, data=st.data())
def test_every_moment_ends_later_and_within_the_cycle(name, seconds, workers, data):
    program = ALL[name]
    worker = data.draw(st.integers(0, workers - 1))
    moment = program.at(seconds, worker, workers)
    assert moment.until >= seconds - 1e-6
    assert moment.until - seconds <= 1.0
    assert moment.kernel in program.kernels
    assert moment.until <= program.next_change(seconds) + 1e-6


@given(seconds=times, workers=crews)
def test_what_the_phases_promise(seconds, workers):
    for program in (ROTATION, TRANSITIONS):
        moments = [program.at(seconds, worker, workers) for worker in range(workers)]
        phases = {moment.phase for moment in moments}
        assert len(phases) == 1
        busy = sum(moment.busy for moment in moments)
        match phases.pop():
            case "full" | "dense":
                assert busy == workers
            case "burst":
                assert busy in (0, workers)
            case "single":
                assert busy == 1


@pytest.mark.parametrize("workers", [1, 2, 7, 32])
def test_every_processor_has_its_turn_alone(workers):
    alone = set()
    for tick in range(40_000):
        moments = [TRANSITIONS.at(tick * 0.05, worker, workers) for worker in range(workers)]
        if moments[0].phase == "single":
            alone |= {worker for worker, moment in enumerate(moments) if moment.busy}
        if len(alone) == workers:
            return
    pytest.fail(f"only {len(alone)} of {workers} had a turn in 2000 s")


def test_near_idle_is_near_idle_and_wakes_the_processors_one_after_another():
    workers = 8
    light_from = ROTATION.cycle_seconds - 2.0
    moments = [
        [ROTATION.at(light_from + 0.1 + tick * 0.001, worker, workers) for worker in range(workers)]
        for tick in range(1800)
    ]
    assert {moment.phase for row in moments for moment in row} == {"light"}
    shares = [sum(moment.busy for moment in row) for row in moments]
    assert max(shares) == 1
    assert 0.3 < sum(share > 0 for share in shares) / len(shares) < 0.9


def test_every_period_of_the_transitions_is_visited():
    rests: set[float] = set()
    works: set[float] = set()
    began = sum(phase.seconds for phase in ROTATION.phases[:2])
    at = began
    while at < began + 2.0:
        moment = ROTATION.at(at + 1e-6, 0, 4)
        assert moment.phase == "burst"
        (works if moment.busy else rests).add(round(moment.until - at, 3))
        at = moment.until
    assert rests == {rest for rest, _, _ in BURSTS}
    assert works == {work for _, work, _ in BURSTS}
    assert min(rests) <= 0.01
    assert max(rests) >= 0.4


def test_each_minute_visits_every_phase_and_in_full_load_every_kind_of_work():
    moments = [ROTATION.at(tick / 20, 0, 8) for tick in range(60 * 20)]
    assert {moment.phase for moment in moments} == {"dense", "full", "burst", "single", "light"}
    assert {moment.kernel for moment in moments if moment.phase == "full"} == set(EVERY)
    assert {moment.kernel for moment in moments if moment.phase == "dense"} == {"matrix"}


def test_the_shares_of_the_phases():
    for program in ALL.values():
        assert sum(program.shares.values()) == pytest.approx(1)
    shares = GPU_PROGRAMS["gpu"].shares
    assert set(shares) == {"dense", "mixed", "integer", "memory", "burst", "light"}
    assert shares["dense"] + shares["mixed"] >= 0.5


def test_one_processor_at_a_time_with_every_kind_of_work():
    for workers in (1, 3, 16):
        seen: list[set[str]] = [set() for _ in range(workers)]
        for tick in range(int(workers * len(EVERY) * 2 + 60)):
            moments = [PER_CORE.at(tick * 0.5 + 0.1, worker, workers) for worker in range(workers)]
            busy = [worker for worker, moment in enumerate(moments) if moment.busy]
            assert len(busy) == 1
            seen[busy[0]].add(moments[busy[0]].kernel)
        assert all(kernels == set(EVERY) for kernels in seen)


def test_what_is_rated_where():
    assert ROTATION.rated_phase("matrix") == "dense"
    assert ROTATION.rated_phase("chase") == "full"
    assert not HEAVY.has_transitions
    assert TRANSITIONS.has_transitions
    assert TRANSITIONS.rated_phase("matrix") == "burst"


def test_processors_that_a_name_names():
    assert chosen_processors("cpu-core-3") == (3,)
    assert chosen_processors("cpu-core-2+3") == (2, 3)
    assert chosen_processors("cpu") == chosen_processors("cpu-core-x") == chosen_processors("cpu-core-") == ()
