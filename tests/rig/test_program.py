"""When each worker is busy."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surefoot.rig.loads.program import HEAVY, PROGRAMS, ROTATION, TRANSITIONS

times = st.floats(0, 10_000, allow_nan=False)
crews = st.integers(1, 64)


@pytest.mark.parametrize("name", PROGRAMS)
@given(seconds=times, workers=crews, data=st.data())
def test_every_moment_ends_later_and_within_the_cycle(name, seconds, workers, data):
    program = PROGRAMS[name]
    worker = data.draw(st.integers(0, workers - 1))
    moment = program.at(seconds, worker, workers)
    assert moment.until >= seconds - 1e-6
    assert moment.until - seconds <= 1.0


@given(seconds=times, workers=crews)
def test_what_the_phases_promise(seconds, workers):
    for program in (ROTATION, TRANSITIONS):
        moments = [program.at(seconds, worker, workers) for worker in range(workers)]
        phases = {moment.phase for moment in moments}
        assert len(phases) == 1
        busy = sum(moment.busy for moment in moments)
        match phases.pop():
            case "full":
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
    light_from = ROTATION.cycle_seconds - 3.0
    moments = [
        [ROTATION.at(light_from + 0.3 + tick * 0.001, worker, workers) for worker in range(workers)]
        for tick in range(2000)
    ]
    assert {moment.phase for row in moments for moment in row} == {"light"}
    shares = [sum(moment.busy for moment in row) for row in moments]
    assert max(shares) == 1
    assert 0.3 < sum(share > 0 for share in shares) / len(shares) < 0.9


def test_all_rests_before_a_burst_are_visited_and_all_kernels_in_full_load():
    rests = set()
    kernels = set()
    before = True
    since = 0.0
    for tick in range(int(ROTATION.cycle_seconds * 1000)):
        moment = ROTATION.at(tick / 1000, 0, 4)
        if moment.phase == "full":
            kernels.add(moment.turn % 4)
        if moment.phase == "burst":
            if moment.busy and not before:
                rests.add(round((tick / 1000 - since) / 0.05) * 0.05)
            if not moment.busy and before:
                since = tick / 1000
            before = moment.busy
    assert kernels == {0, 1, 2, 3}
    assert {round(rest, 2) for rest in rests} >= {0.05, 0.1, 0.2, 0.4}


def test_the_first_cycle_shows_every_phase_within_half_a_minute():
    seen = {ROTATION.at(tick / 10, 0, 8).phase for tick in range(300)}
    assert seen == {"full", "burst", "single", "light"}
    assert HEAVY.rated_phase == "full"
    assert not HEAVY.has_transitions
    assert TRANSITIONS.has_transitions
    assert TRANSITIONS.rated_phase == "burst"
