"""The life of a run: opened, applied, kept alive, closed once."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from surefoot.errors import BadInput, JournalError
from surefoot.journal import Journal
from surefoot.runs import Closing, Outcome, RunPlan, Trace
from surefoot.units import Conditions, Setting

NAME = "shoebox-3"
HELD = Closing(outcome=Outcome.HELD, minutes=10, judged_by="held for the planned time")


def plan(core: float = -50, **more: object) -> RunPlan:
    return RunPlan.model_validate(
        {"unit_name": NAME, "setting": Setting(values={"cpu-core": core}), "load": "cpu", "planned_minutes": 10, **more}
    )


def test_a_run_comes_back_as_it_was_written(journal: Journal) -> None:
    wanted = plan(
        purpose="joint",
        knob="cpu-core",
        conditions=Conditions(ambient_celsius=21.5, power_mode="evening", operating_system="test 1"),
        boot_id="boot-a",
        note="first",
    )
    run_id = journal.open_run(wanted)
    opened = journal.run(run_id)
    assert (opened.plan, opened.is_open, opened.applied, opened.minutes) == (wanted, True, None, 0.0)
    journal.applied(run_id, Setting(values={"cpu-core": -45}))
    journal.heartbeat(run_id, 1.0)
    journal.heartbeat(run_id, 2.5)
    held = journal.run(run_id)
    assert (held.heartbeats, held.last_minutes, held.minutes) == (2, 2.5, 2.5)
    assert held.setting == Setting(values={"cpu-core": -45})
    closing = Closing(
        outcome=Outcome.MISCOMPUTE,
        minutes=2.6,
        judged_by="self-check",
        timed=False,
        setting=Setting(values={"cpu-core": -44}),
        detail={"processor": 3, "kernel": "product"},
        note="told by the load",
    )
    journal.close_run(run_id, closing)
    closed = journal.run(run_id)
    assert closed.closing == closing
    assert closed.setting == Setting(values={"cpu-core": -44})
    assert closed.closed_at is not None and closed.closed_at >= closed.opened_at
    assert journal.open_runs() == [] and journal.runs(NAME) == [closed]


def test_a_run_is_closed_once_and_takes_nothing_afterwards(journal: Journal) -> None:
    run_id = journal.open_run(plan())
    journal.close_run(run_id, HELD)
    before = journal.run(run_id)
    for late in (
        lambda: journal.close_run(run_id, HELD),
        lambda: journal.heartbeat(run_id, 11),
        lambda: journal.applied(run_id, Setting()),
    ):
        with pytest.raises(JournalError, match="was closed as held"):
            late()
    assert journal.run(run_id) == before


def test_heartbeats_never_run_backwards(journal: Journal) -> None:
    run_id = journal.open_run(plan())
    journal.heartbeat(run_id, 2)
    journal.heartbeat(run_id, 2)
    with pytest.raises(JournalError, match="cannot follow"):
        journal.heartbeat(run_id, 1.9, Trace(np.array([1.0]), {"cpu.temperature": np.array([50.0])}))
    for wrong in (-1.0, float("nan"), float("inf")):
        with pytest.raises(BadInput):
            journal.heartbeat(run_id, wrong)
    assert journal.run(run_id).heartbeats == 2
    assert not journal.has_trace(run_id), "a refused heartbeat leaves no samples behind"


def test_a_second_open_run_of_a_unit_is_refused(journal: Journal) -> None:
    first = journal.open_run(plan())
    with pytest.raises(JournalError, match=f"run {first} .* still open"):
        journal.open_run(plan())
    journal.close_run(first, HELD)
    assert journal.open_run(plan()) > first


@pytest.mark.parametrize(
    ("values", "why"),
    [
        ({"cpu-core": -255}, "past the limit"),
        ({"cpu-core": 5}, "above stock"),
        ({"gpu-core": -15}, "far side of stock"),
        ({"fan": 5}, "no knob"),
    ],
)
def test_an_impossible_setting_is_never_opened(journal: Journal, values: dict[str, float], why: str) -> None:
    with pytest.raises(BadInput, match=why):
        journal.open_run(plan(setting=Setting(values=values)))
    assert journal.runs(NAME) == []


def test_what_was_read_back_is_taken_whatever_it_is(journal: Journal) -> None:
    run_id = journal.open_run(plan())
    journal.applied(run_id, Setting(values={"cpu-core": -300, "unheard-of": 1}))
    assert journal.run(run_id).applied == Setting(values={"cpu-core": -300, "unheard-of": 1})


def test_unknown_names_are_bad_input_and_say_what_there_is(journal: Journal) -> None:
    with pytest.raises(BadInput, match=NAME):
        journal.runs("nobody")
    with pytest.raises(BadInput, match="no run 7"):
        journal.run(7)
    with pytest.raises(BadInput):
        journal.open_run(plan(unit_name="nobody"))
    with pytest.raises(BadInput):
        journal.heartbeat(7, 1)


def test_runs_stand_oldest_first_and_a_wrong_clock_does_not_shuffle_them(journal: Journal) -> None:
    now = datetime(2031, 5, 1, tzinfo=UTC)
    first = journal.log_run(plan(source="rig"), HELD, at=now)
    # The clock lost its battery in a crash: the next run says 2001, but it came later.
    second = journal.log_run(plan(source="rig"), HELD, at=datetime(2001, 1, 1, tzinfo=UTC))
    by_hand = journal.log_run(plan(source="hand"), HELD, at=now - timedelta(days=30))
    assert [run.id for run in journal.runs(NAME)] == [by_hand, first, second]


def test_a_logged_run_is_whole_at_once_and_keeps_its_time(journal: Journal) -> None:
    at = datetime(2030, 1, 2, 3, 4, 5, 6, tzinfo=UTC)
    run = journal.run(journal.log_run(plan(-400, source="hand"), HELD, at=at))
    assert (run.opened_at, run.closing, run.plan.source) == (at, HELD, "hand")
    with pytest.raises(BadInput, match="time zone"):
        journal.log_run(plan(), HELD, at=datetime(2030, 1, 2))
    with pytest.raises(BadInput, match="above stock"):
        journal.log_run(plan(10), HELD)
    assert len(journal.runs(NAME)) == 1


def test_a_refused_step_leaves_nothing(journal: Journal) -> None:
    bad = Closing(outcome=Outcome.HELD, minutes=1, judged_by="x", detail={"not json": object()})
    with pytest.raises(BadInput, match="JSON"):
        journal.log_run(plan(), bad)
    assert journal.runs(NAME) == [] and journal.faults() == []
