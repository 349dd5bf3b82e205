"""An open run found on start."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from surefoot.guide.bench import Bench
from surefoot.guide.recovery import recover
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal
from surefoot.rehearsal.machine import VirtualMachine
from surefoot.rig.boot import BOOT_TIME_PREFIX, boot_identity, same_boot
from surefoot.rig.guardian.reports import GuardianReport, write_report
from surefoot.runs import Ending, Outcome, RunPlan, Trace
from surefoot.units import Setting, Unit


class Answering(Unattended):
    """Somebody is there and says this."""

    attended = True

    def __init__(self, answer: str) -> None:
        super().__init__()
        self.answer = answer

    def choose(self, question: str, choices: Mapping[str, str], default: str) -> str:
        assert self.answer in choices
        return self.answer


def open_run(journal: Journal, unit: Unit, boot_id: str | None) -> int:
    run_id = journal.open_run(
        RunPlan(
            unit_name=unit.name,
            setting=Setting(values={"cpu-core": -90}),
            load="cpu",
            planned_minutes=30,
            boot_id=boot_id,
        )
    )
    for minute in (1.0, 2.0, 3.5):
        journal.heartbeat(run_id, minute, Trace.from_samples([(minute * 60, {"cpu.temperature": 80.0})]))
    return run_id


@pytest.mark.parametrize(("same", "outcome"), [(True, Outcome.VOID), (False, Outcome.RESET)])
def test_the_boot_identity_decides_when_nobody_is_there(
    journal: Journal, unit: Unit, machine: VirtualMachine, same: bool, outcome: Outcome
) -> None:
    run_id = open_run(journal, unit, machine.boot_id() if same else "another boot")
    (run,) = recover(Bench(journal, unit, machine, Unattended()))
    assert (run.id, run.outcome, run.minutes) == (run_id, outcome, 3.5), "time to failure is that of the last heartbeat"
    assert journal.open_runs(unit.name) == []


@pytest.mark.parametrize(
    ("same", "answer", "outcome"),
    [
        (False, "crash", Outcome.RESET),
        (False, "froze", Outcome.HANG),
        (False, "power", Outcome.VOID),
        (False, "purpose", Outcome.VOID),
        (True, "stopped", Outcome.VOID),
        (True, "driver", Outcome.DRIVER_RESET),
    ],
)
def test_the_user_is_asked(
    journal: Journal, unit: Unit, machine: VirtualMachine, same: bool, answer: str, outcome: Outcome
) -> None:
    open_run(journal, unit, machine.boot_id() if same else "another boot")
    (run,) = recover(Bench(journal, unit, machine, Answering(answer)))
    assert run.outcome is outcome


def test_a_boot_that_is_not_known_is_taken_as_the_worse_case(
    journal: Journal, unit: Unit, machine: VirtualMachine
) -> None:
    open_run(journal, unit, None)
    (run,) = recover(Bench(journal, unit, machine, Unattended()))
    assert run.outcome is Outcome.RESET


def test_boot_identities() -> None:
    assert same_boot(boot_identity(), boot_identity()) is True
    assert same_boot("a", "b") is False
    assert same_boot(f"{BOOT_TIME_PREFIX}1000", f"{BOOT_TIME_PREFIX}1003") is True, "the clock was set a little"
    assert same_boot(f"{BOOT_TIME_PREFIX}1000", f"{BOOT_TIME_PREFIX}1300") is False
    assert same_boot(f"{BOOT_TIME_PREFIX}1000", "a") is None
    assert same_boot(None, "a") is None


@pytest.mark.parametrize(
    ("kind", "outcome"),
    [
        ("crash", Outcome.RESET),
        ("froze", Outcome.HANG),
        ("planned", Outcome.VOID),
        ("power", Outcome.VOID),
        ("unknown", Outcome.RESET),
    ],
)
def test_the_systems_own_record_decides_when_nobody_is_there(
    journal: Journal, unit: Unit, machine: VirtualMachine, monkeypatch: pytest.MonkeyPatch, kind: Any, outcome: Outcome
) -> None:
    monkeypatch.setattr(machine, "ending", lambda boot_id, since: Ending(kind, f"told so: {kind}"))
    open_run(journal, unit, "another boot")
    (run,) = recover(Bench(journal, unit, machine, Unattended()))
    assert run.outcome is outcome
    assert run.closing is not None and (kind == "unknown") != (f"told so: {kind}" in run.closing.judged_by)


def test_that_the_guardian_stepped_in_is_told(journal: Journal, unit: Unit, machine: VirtualMachine) -> None:
    open_run(journal, unit, machine.boot_id())
    voice = Unattended()
    said: list[str] = []
    voice.say = lambda text, tone="": said.append(text)  # type: ignore[method-assign]
    bench = Bench(journal, unit, machine, voice)
    report = GuardianReport(datetime.now(UTC) + timedelta(days=1000), unit.name, True, "put back to stock")
    write_report(bench.guardian_log, report)
    recover(bench)
    assert any("guardian stepped in" in text and "put back to stock" in text for text in said)
