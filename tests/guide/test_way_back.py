"""Nothing that only speaks, and nothing that only writes, stands before the way back to stock."""

from __future__ import annotations

import errno
import signal
from collections.abc import Callable, Mapping
from typing import ClassVar

import pytest
from guide_bench import WIDE, held_before

from surefoot.errors import JournalError, MachineError
from surefoot.guide.at_work import at_work
from surefoot.guide.bench import Bench
from surefoot.guide.hold import hold
from surefoot.guide.interrupts import no_interrupts, stoppable
from surefoot.guide.measure import Measuring, measure
from surefoot.guide.run_in_hand import Holding
from surefoot.guide.settle import Settling
from surefoot.guide.stock import to_stock
from surefoot.guide.voice import LiveView, Tone, Unattended
from surefoot.journal import Journal
from surefoot.rehearsal.machine import VirtualHands, VirtualMachine
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.rig.hands import make_hands
from surefoot.rig.protocols import Hands
from surefoot.runs import Closing, Outcome, RunPlan, Trace
from surefoot.units import HandsCard, Setting, Unit

FAST = Holding(sample_seconds=5, heartbeat_seconds=30)
AT_40 = Setting(values={"cpu-core": -40})


@pytest.fixture(autouse=True)
def stock_held(journal: Journal, unit: Unit) -> None:
    held_before(journal, unit, 0)


def plan_of(unit: Unit, machine: VirtualMachine) -> RunPlan:
    return RunPlan(unit_name=unit.name, setting=AT_40, load="cpu", planned_minutes=5, boot_id=machine.boot_id())


class Shut(Unattended):
    """The window is shut after so many looks: from then on nothing can be written to it."""

    def __init__(self, error: BaseException, after: int = 3) -> None:
        super().__init__()
        self.error = error
        self.left = after

    def live(self, view: LiveView | None) -> None:
        self.left -= 1
        if self.left < 0:
            raise self.error

    def say(self, text: str, tone: Tone = "plain") -> None:
        if self.left < 0:
            raise self.error
        super().say(text, tone)


@pytest.mark.parametrize(
    "error",
    [
        OSError(errno.EIO, "Input/output error"),
        BrokenPipeError(),
        ValueError("I/O operation on closed file"),
        SystemExit(1),  # what rich does on a broken pipe
        KeyboardInterrupt(),
    ],
    ids=lambda error: type(error).__name__,
)
def test_a_window_that_is_shut(journal: Journal, unit: Unit, machine: VirtualMachine, error: BaseException) -> None:
    bench = Bench(journal, unit, machine, Shut(error), goal=WIDE)
    with pytest.raises(type(error)), at_work(bench, off_stock=False, agreed=False):
        hold(bench, plan_of(unit, machine), FAST)
    assert machine.setting.is_stock and bench.left_applied is None
    assert journal.runs(unit.name)[-1].outcome is Outcome.VOID and journal.open_runs(unit.name) == []


class FullDisk(Journal):
    """From a moment on nothing more can be written."""

    full = False

    def heartbeat(self, run_id: int, minutes: float, samples: Trace | None = None) -> None:
        self.full = True
        raise JournalError("the disk is full.")

    def close_run(self, run_id: int, closing: Closing, *, at: object = None) -> None:
        if self.full:
            raise JournalError("the disk is full.")
        super().close_run(run_id, closing)

    def stand(self, unit_name: str, setting: Setting, **words: object) -> None:
        if self.full:
            raise JournalError("the disk is full.")
        super().stand(unit_name, setting, **words)  # type: ignore[arg-type]


def test_a_full_disk(journal: Journal, unit: Unit, machine: VirtualMachine) -> None:
    with FullDisk.open(journal.path) as full:
        bench = Bench(full, unit, machine, Unattended(), goal=WIDE)
        with pytest.raises(JournalError, match="full"), at_work(bench, off_stock=False, agreed=False):
            hold(bench, plan_of(unit, machine), FAST)
        assert machine.setting.is_stock
        (still_open,) = journal.open_runs(unit.name)
    with at_work(Bench(journal, unit, machine, Unattended()), off_stock=False, agreed=False):
        pass
    assert journal.run(still_open.id).outcome is Outcome.VOID


class Telling(VirtualHands):
    """Notes what the journal said of the run whenever the hands were called."""

    def __init__(self, machine: VirtualMachine, journal: Journal) -> None:
        super().__init__(machine)
        self.journal = journal
        self.seen: list[tuple[bool, bool]] = []

    def apply(self, unit: Unit, setting: Setting) -> Setting | None:
        standing = self.journal.standing(unit.name)
        off_stock = standing is not None and not standing.setting.is_stock
        self.seen.append((bool(self.journal.open_runs(unit.name)), off_stock))
        return super().apply(unit, setting)


@pytest.mark.parametrize("kind", ["command", "ask"])
def test_whenever_a_setting_may_be_applied_the_journal_says_so(
    journal: Journal, unit: Unit, machine: VirtualMachine, kind: str
) -> None:
    """Commands go back before the run is closed; a user, who may take an hour to answer, after it: a record stands."""
    hands = Telling(machine, journal)
    hands.kind = kind
    bench = Bench(journal, unit, machine, Unattended(), hands, WIDE)
    with at_work(bench, off_stock=False, agreed=False):
        hold(bench, plan_of(unit, machine), FAST)
        if kind == "ask":
            assert machine.setting == AT_40 and bench.left_applied == AT_40, "left where it is for the next step"
    assert hands.seen == [(True, True), (kind == "command", True)]
    assert machine.setting.is_stock and bench.left_applied is None


class Stuck(VirtualHands):
    """Stock cannot be had any more."""

    def apply(self, unit: Unit, setting: Setting) -> Setting | None:
        if setting.is_stock:
            raise MachineError("the apply command ended with exit code 4.")
        return super().apply(unit, setting)


def test_a_way_back_that_fails_is_said_and_stays_on_record(
    journal: Journal, unit: Unit, machine: VirtualMachine
) -> None:
    voice = Unattended()
    bench = Bench(journal, unit, machine, voice, Stuck(machine), WIDE)
    with at_work(bench, off_stock=False, agreed=False):
        run = hold(bench, plan_of(unit, machine), FAST)
    assert run.outcome is Outcome.HELD, "that the way back failed says nothing of the run"
    assert bench.left_applied == AT_40
    assert any(tone == "bad" and "may not be at stock" in text for tone, text in voice.said)


def test_ctrl_c_says_where_the_unit_is(journal: Journal, unit: Unit, machine: VirtualMachine) -> None:
    voice = Unattended()
    bench = Bench(journal, unit, machine, voice, goal=WIDE)
    with pytest.raises(KeyboardInterrupt), at_work(bench, off_stock=False, agreed=False):
        bench.apply(AT_40)
        raise KeyboardInterrupt
    assert voice.said[-1] == ("warn", "Stopped. The unit is at stock.") and machine.setting.is_stock
    bench = Bench(journal, unit, machine, voice, Stuck(machine), WIDE)
    with pytest.raises(KeyboardInterrupt), at_work(bench, off_stock=False, agreed=False):
        bench.apply(AT_40)
        raise KeyboardInterrupt
    assert "See that the unit is at stock" in voice.said[-1][1]


class Lingering(VirtualHands):
    """Stock was applied, and something of the setting is left."""

    def apply(self, unit: Unit, setting: Setting) -> Setting | None:
        return Setting(values={"cpu-core": -10}) if setting.is_stock else super().apply(unit, setting)


def test_stock_is_only_on_record_once_it_reads_so(journal: Journal, unit: Unit, machine: VirtualMachine) -> None:
    bench = Bench(journal, unit, machine, Unattended(), Lingering(machine), WIDE)
    bench.apply(AT_40)
    assert not to_stock(bench) and bench.left_applied == AT_40


@pytest.mark.skipif(not hasattr(signal, "SIGTERM"), reason="no such signal")
def test_an_interrupt_on_the_way_back_waits_and_is_not_lost() -> None:
    steps = []
    with pytest.raises(KeyboardInterrupt), stoppable(), no_interrupts():
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.raise_signal(number)
            steps.append(number)
    assert len(steps) == 2
    with pytest.raises(KeyboardInterrupt), stoppable():
        signal.raise_signal(signal.SIGTERM)
    assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL


def test_a_signal_that_was_to_be_ignored_stays_ignored() -> None:
    before = signal.signal(signal.SIGTERM, signal.SIG_IGN)
    try:
        with stoppable():
            signal.raise_signal(signal.SIGTERM)
    finally:
        signal.signal(signal.SIGTERM, before)


def test_stock_is_not_measured_while_a_setting_may_be_applied(
    journal: Journal, unit: Unit, machine: VirtualMachine
) -> None:
    """With hands that are the user, nobody needs to be asked to do nothing; but here there is something to undo."""

    class There(Unattended):
        attended = True
        asked: ClassVar[list[str]] = []

        def ask(self, question: str, default: str) -> str:
            self.asked.append(question)
            return default

    card = unit.model_copy(update={"hands": HandsCard(kind="ask")})

    class ByHand(VirtualMachine):
        def hands(  # type: ignore[override]
            self, unit: Unit, prompt: Callable[[str, str], str] | None, found: Mapping[str, float] | None = None
        ) -> Hands:
            return make_hands(unit, prompt=prompt)

    bench = Bench(journal, card, ByHand(card, {"cpu-core": VirtualUnit(110, 5)}, seed=1), There())
    measuring = Measuring(load="cpu", minutes=1, settling=Settling(at_most_minutes=0.1))
    measure(bench, measuring)
    assert There.asked == []
    journal.stand(unit.name, AT_40, why="run 7")
    measure(bench, measuring)
    assert [question for question in There.asked if "Put every knob to stock" in question]
    assert bench.left_applied is None
