"""Traces of a run: samples of heartbeats and imported traces, in one."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from surefoot.errors import BadInput
from surefoot.journal import Journal
from surefoot.journal import traces as trace_module
from surefoot.runs import Closing, Outcome, RunPlan, Trace
from surefoot.units import Setting

NAME = "shoebox-3"
START = datetime(2031, 5, 6, 7, 8, tzinfo=UTC)


@pytest.fixture
def run_id(journal: Journal) -> int:
    return journal.open_run(RunPlan(unit_name=NAME, setting=Setting(), load="cpu", planned_minutes=10))


def trace(seconds: list[float], started_at: datetime | None = None, **channels: list[float]) -> Trace:
    named = {name.replace("_", "."): np.array(values) for name, values in channels.items()}
    return Trace(np.array(seconds), named, started_at)


def assert_same(found: Trace, wanted: Trace) -> None:
    assert np.array_equal(found.seconds, wanted.seconds)
    assert set(found.channels) == set(wanted.channels)
    for name, values in wanted.channels.items():
        assert np.array_equal(found.channels[name], values, equal_nan=True), name
    assert found.started_at == wanted.started_at


def test_a_run_without_samples_has_an_empty_trace(journal: Journal, run_id: int) -> None:
    journal.heartbeat(run_id, 1)
    assert not journal.has_trace(run_id) and len(journal.trace(run_id)) == 0
    assert journal.trace_frame(run_id).empty
    with pytest.raises(BadInput):
        journal.trace(99)
    with pytest.raises(BadInput):
        journal.has_trace(99)
    with pytest.raises(BadInput, match="no samples"):
        journal.add_trace(run_id, Trace(np.empty(0)))


def test_heartbeats_make_one_trace_while_channels_come_and_go(journal: Journal, run_id: int) -> None:
    journal.heartbeat(run_id, 1, trace([0, 1], START, cpu_temperature=[50, 51.5]))
    journal.heartbeat(run_id, 2)
    journal.heartbeat(run_id, 3, trace([2], cpu_temperature=[52], cpu_clock=[3400.125]))
    journal.heartbeat(run_id, 4, trace([3, 4, 5], cpu_clock=[3300, 3200, np.nan]))
    nan = np.nan
    assert_same(
        journal.trace(run_id),
        trace(
            [0, 1, 2, 3, 4, 5],
            START,
            cpu_temperature=[50, 51.5, 52, nan, nan, nan],
            cpu_clock=[nan, nan, 3400.125, 3300, 3200, nan],
        ),
    )
    frame = journal.trace_frame(run_id)
    assert frame.index.name == "seconds" and list(frame.columns) == ["cpu.clock", "cpu.temperature"]
    assert frame.equals(journal.trace(run_id).to_frame())
    journal.close_run(run_id, Closing(outcome=Outcome.HELD, minutes=4, judged_by="held"))
    assert len(journal.trace(run_id)) == 6


def test_an_import_is_joined_by_the_wall_clock(journal: Journal, run_id: int) -> None:
    journal.heartbeat(run_id, 1, trace([0, 1, 2], START, cpu_temperature=[50, 51, 52]))
    later = START + timedelta(seconds=1)
    journal.add_trace(
        run_id, trace([0, 1, 1.5], later, gpu_temperature=[60, 61, 61.5], cpu_temperature=[70, np.nan, 72])
    )
    nan = np.nan
    assert_same(
        journal.trace(run_id),
        trace(
            [0, 1, 2, 2.5],
            START,
            cpu_temperature=[50, 70, 52, 72],
            gpu_temperature=[nan, 60, 61, 61.5],
        ),
    )
    assert journal.trace_frame(run_id).equals(journal.trace(run_id).to_frame())


def test_imports_without_a_clock_begin_together_and_doubled_times_stay(journal: Journal, run_id: int) -> None:
    journal.add_trace(run_id, trace([0, 1, 1], cpu_power=[10, 20, 21]))
    journal.add_trace(run_id, trace([1, 1, 2], gpu_power=[5, 6, 7]))
    nan = np.nan
    assert_same(journal.trace(run_id), trace([0, 1, 1, 2], cpu_power=[10, 20, 21, nan], gpu_power=[nan, 5, 6, 7]))


def test_a_long_import_is_stored_in_blocks_and_read_as_one(
    journal: Journal, run_id: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(trace_module, "BLOCK_SAMPLES", 100)
    rng = np.random.default_rng(5)
    seconds = np.arange(1234.0) / 8
    power = np.round(rng.normal(50, 30, seconds.size), 3)
    power[500:700] = np.nan
    voltage = np.round(rng.uniform(0.6, 1.3, seconds.size), 4)
    wanted = Trace(seconds, {"cpu.power": power, "cpu.voltage": voltage}, START)
    journal.add_trace(run_id, wanted)
    assert_same(journal.trace(run_id), wanted)


def test_a_clock_set_back_between_heartbeats_does_not_break_the_trace(journal: Journal, run_id: int) -> None:
    journal.heartbeat(run_id, 1, trace([10, 11], cpu_power=[1, 2]))
    journal.heartbeat(run_id, 2, trace([5, 12], cpu_power=[3, 4]))
    assert_same(journal.trace(run_id), trace([5, 10, 11, 12], cpu_power=[3, 1, 2, 4]))


def test_a_reopened_journal_goes_on_with_a_run(journal: Journal, run_id: int) -> None:
    journal.heartbeat(run_id, 1, trace([0, 1], cpu_clock=[400.5, 4700.123]))
    with Journal.open() as second:
        second.heartbeat(run_id, 2, trace([2, 3], cpu_clock=[400, 401]))
    journal.heartbeat(run_id, 3, trace([4], cpu_clock=[4800.001]))
    assert_same(journal.trace(run_id), trace([0, 1, 2, 3, 4], cpu_clock=[400.5, 4700.123, 400, 401, 4800.001]))


def test_a_damaged_block_is_told(journal: Journal, run_id: int) -> None:
    from surefoot.errors import JournalError

    journal.add_trace(run_id, trace([0, 1], cpu_power=[1, 2]))
    with journal._store.transaction():
        journal._store.connection.execute("DROP TRIGGER trace_blocks_no_update")
        journal._store.connection.execute("UPDATE trace_blocks SET data = x'0102'")
    with pytest.raises(JournalError, match="damaged"):
        journal.trace(run_id)


def test_runs_with_a_trace_are_told_at_once(journal: Journal, run_id: int) -> None:
    assert journal.runs_with_trace(NAME) == frozenset()
    journal.add_trace(run_id, trace([0], cpu_power=[1]))
    assert journal.runs_with_trace(NAME) == {run_id}
