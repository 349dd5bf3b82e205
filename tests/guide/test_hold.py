"""One run: what it records, whatever happens to it."""

from __future__ import annotations

import pytest
from guide_bench import WIDE, held_before

from surefoot.errors import BadInput, MachineError
from surefoot.guide.bench import Bench
from surefoot.guide.hold import hold
from surefoot.guide.run_in_hand import Holding
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal
from surefoot.rehearsal.machine import MachineDown, VirtualHands, VirtualMachine
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.runs import Outcome, Run, RunPlan
from surefoot.units import Setting, Unit

FAST = Holding(sample_seconds=5, heartbeat_seconds=30)


def plan_of(unit: Unit, machine: VirtualMachine, depth: float, minutes: float = 10) -> RunPlan:
    return RunPlan(
        unit_name=unit.name,
        setting=unit.setting_at({"cpu-core": depth}),
        load="cpu",
        planned_minutes=minutes,
        knob="cpu-core",
        boot_id=machine.boot_id(),
    )


def made(journal: Journal, unit: Unit) -> list[Run]:
    """The runs that were made, without the one that `stock_held` logged."""
    return [run for run in journal.runs(unit.name) if run.plan.source != "hand"]


@pytest.fixture(autouse=True)
def stock_held(journal: Journal, unit: Unit) -> None:
    held_before(journal, unit, 0)


def make(journal: Journal, unit: Unit, machine: VirtualMachine, depth: float, hands: VirtualHands | None = None) -> Run:
    return hold(Bench(journal, unit, machine, Unattended(), hands, WIDE), plan_of(unit, machine, depth), FAST)


def test_a_run_that_holds(journal: Journal, unit: Unit, machine: VirtualMachine) -> None:
    run = make(journal, unit, machine, 40)
    assert run.outcome is Outcome.HELD
    assert run.minutes == pytest.approx(10, abs=0.2)
    assert run.setting == Setting(values={"cpu-core": -40})
    assert run.heartbeats >= 19
    assert machine.setting.is_stock, "command hands return to stock after each run"
    trace = journal.trace(run.id)
    assert trace.duration_minutes == pytest.approx(10, abs=0.2)
    assert run.closing is not None and run.closing.detail["peaks"]["cpu.temperature"] > 60


def test_a_wrong_result_is_a_miscompute_with_its_processor(journal: Journal, unit: Unit) -> None:
    machine = VirtualMachine(unit, {"cpu-core": VirtualUnit(110, 5, soft_share=1.0)}, seed=1)
    run = make(journal, unit, machine, 130)
    assert run.outcome is Outcome.MISCOMPUTE
    assert run.minutes < 10
    assert run.closing is not None and run.closing.detail["processor"] in range(8)


def test_a_crash_leaves_the_run_open_with_its_last_heartbeat(journal: Journal, unit: Unit) -> None:
    machine = VirtualMachine(unit, {"cpu-core": VirtualUnit(110, 5, soft_share=0.0)}, seed=3)
    with pytest.raises(MachineDown):
        make(journal, unit, machine, 120)
    (run,) = journal.open_runs(unit.name)
    assert run.is_open and run.applied == Setting(values={"cpu-core": -120})


class Interrupting(VirtualMachine):
    """Ctrl-C comes after a while."""

    def sleep(self, seconds: float) -> None:
        super().sleep(seconds)
        if self.seconds() > 100:
            raise KeyboardInterrupt


def test_ctrl_c_leaves_a_void_run_and_the_unit_at_stock(journal: Journal, unit: Unit) -> None:
    machine = Interrupting(unit, {"cpu-core": VirtualUnit(110, 5)}, seed=1)
    with pytest.raises(KeyboardInterrupt):
        make(journal, unit, machine, 60)
    (run,) = made(journal, unit)
    assert run.outcome is Outcome.VOID
    assert 1 < run.minutes < 3
    assert machine.setting.is_stock


class Readings(VirtualMachine):
    """Once the load has run for a while, the processor's temperature reads as given, one after the other; then 80."""

    def __init__(self, unit: Unit, readings: list[float]) -> None:
        super().__init__(unit, {"cpu-core": VirtualUnit(110, 5)}, seed=1)
        self.readings = readings

    def sample(self) -> dict[str, float]:
        found = super().sample()
        found["cpu.temperature"] = 80.0
        if self.seconds() > 60 and self._running is not None and self.readings:
            found["cpu.temperature"] = self.readings.pop(0)
        return found


def test_the_ceiling_stops_a_run_at_once(journal: Journal, unit: Unit) -> None:
    machine = Readings(unit, [96.0] * 40)
    run = make(journal, unit, machine, 60)
    assert run.outcome is Outcome.OVERHEAT
    assert len(machine.readings) == 38, "one sample, and the look again"
    assert machine.setting.is_stock


def test_at_the_ceiling_is_not_above_it(journal: Journal, unit: Unit) -> None:
    assert make(journal, unit, Readings(unit, [95.0] * 40), 60).outcome is Outcome.HELD


def test_a_glitch_is_looked_at_again_and_is_no_peak(journal: Journal, unit: Unit) -> None:
    run = make(journal, unit, Readings(unit, [127.0, 80.0]), 60)
    assert run.outcome is Outcome.HELD
    assert run.closing is not None and run.closing.detail["peaks"]["cpu.temperature"] == 80


def test_heat_that_hovers_about_the_ceiling_is_heat(journal: Journal, unit: Unit) -> None:
    run = make(journal, unit, Readings(unit, [96.0, 95.0, 95.0, 96.0, 95.0]), 60)
    assert run.outcome is Outcome.OVERHEAT
    # Far apart, each is a glitch: 15 samples of 5 s lie between.
    assert make(journal, unit, Readings(unit, [96.0, 95.0] + [90.0] * 15 + [96.0, 95.0]), 60).outcome is Outcome.HELD


class Forgetful(VirtualHands):
    """The setting vanishes while the load runs, or never arrives."""

    def __init__(self, machine: VirtualMachine, arrives: bool) -> None:
        super().__init__(machine)
        self.arrives = arrives

    def apply(self, unit: Unit, setting: Setting) -> Setting | None:
        read = super().apply(unit, setting)
        return read if self.arrives else Setting()

    def read_back(self, unit: Unit) -> Setting | None:
        return Setting()


@pytest.mark.parametrize(("arrives", "words"), [(True, "no longer there"), (False, "not there before")])
def test_a_setting_that_was_not_there_makes_the_run_void(
    journal: Journal, unit: Unit, machine: VirtualMachine, arrives: bool, words: str
) -> None:
    run = make(journal, unit, machine, 40, Forgetful(machine, arrives))
    assert run.outcome is Outcome.VOID
    assert run.closing is not None and words in run.closing.judged_by


class Rounding(VirtualHands):
    """Hardware that lands on steps of its own."""

    def apply(self, unit: Unit, setting: Setting) -> Setting | None:
        self._machine.setting = Setting(values={name: value + 2 for name, value in setting.values.items()})
        return self._machine.setting


def test_what_is_read_back_is_what_is_recorded(journal: Journal, unit: Unit, machine: VirtualMachine) -> None:
    run = make(journal, unit, machine, 40, Rounding(machine))
    assert run.outcome is Outcome.HELD
    assert run.plan.setting == Setting(values={"cpu-core": -40})
    assert run.setting == Setting(values={"cpu-core": -38})


class Sleeping(VirtualMachine):
    """The lid was closed for a quarter of an hour."""

    slept = False

    def sleep(self, seconds: float) -> None:
        if self.seconds() > 100 and not self.slept:
            self.slept = True
            seconds += 900
        super().sleep(seconds)


def test_a_run_that_the_machine_slept_through_is_void(journal: Journal, unit: Unit) -> None:
    run = make(journal, unit, Sleeping(unit, {"cpu-core": VirtualUnit(110, 5)}, seed=1), 40)
    assert run.outcome is Outcome.VOID
    assert run.closing is not None and "slept" in run.closing.judged_by


class Broken(VirtualHands):
    """The user's command fails."""

    def apply(self, unit: Unit, setting: Setting) -> Setting | None:
        if setting.is_stock:
            return super().apply(unit, setting)
        raise MachineError("the apply command ended with exit code 4.")


def test_hands_that_fail_leave_a_void_run(journal: Journal, unit: Unit, machine: VirtualMachine) -> None:
    with pytest.raises(MachineError):
        make(journal, unit, machine, 40, Broken(machine))
    (run,) = made(journal, unit)
    assert run.outcome is Outcome.VOID


@pytest.mark.parametrize("values", [{"cpu-core": 10.0}, {"cpu-core": -255.0}, {"ghost": 1.0}])
def test_what_must_never_be_applied_is_not_even_written(
    journal: Journal, unit: Unit, machine: VirtualMachine, values: dict[str, float]
) -> None:
    plan = plan_of(unit, machine, 40).model_copy(update={"setting": Setting(values=values)})
    with pytest.raises(BadInput):
        hold(Bench(journal, unit, machine, Unattended()), plan, FAST)
    assert made(journal, unit) == []


def test_a_logged_driver_reset_turns_a_pass_into_a_failure(journal: Journal, unit: Unit) -> None:
    class Logging(VirtualMachine):
        def faults_since(self, moment: object) -> list[tuple[Outcome, str]]:
            return [(Outcome.DRIVER_RESET, "engine reset")]

    run = make(journal, unit, Logging(unit, {"cpu-core": VirtualUnit(110, 5)}, seed=1), 40)
    assert run.outcome is Outcome.DRIVER_RESET
