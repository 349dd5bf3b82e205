"""Sixty days of ordinary life with a virtual machine: nothing acknowledged is lost, the claim grows, it steps back."""

from __future__ import annotations

from datetime import datetime
from itertools import pairwise
from typing import Any

import pytest
from lived_in import DAY, LivedIn, SwitchedOff

from surefoot.errors import AnswerIsNo, JournalError
from surefoot.guide.bench import Bench
from surefoot.guide.goals import goal_for
from surefoot.guide.living import Lived, Living, live
from surefoot.guide.recall import recall
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal
from surefoot.rehearsal.machine import MachineDown
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.report.material import collect
from surefoot.report.picture import PAGE
from surefoot.report.sections import build
from surefoot.runs import USE, Outcome, Run, RunPlan, Trace
from surefoot.search import assess
from surefoot.search.use_choice import choose_for_use, in_use
from surefoot.search.use_growth import growth
from surefoot.units import Setting, Unit

EDGE = {"cpu-core": VirtualUnit(112, 5)}
COARSE: dict[str, Any] = {"sample_seconds": 300.0, "heartbeat_seconds": 900.0, "stretch_minutes": 720.0}


def start(journal: Journal, unit: Unit, machine: LivedIn, living: Living, voice: Unattended | None = None) -> Lived:
    return live(Bench(journal, unit, machine, voice or Unattended(), goal=goal_for(unit)), living)


def live_days(journal: Journal, unit: Unit, machine: LivedIn, days: int, chance: float | None) -> None:
    """Start the watching again after every restart, as a login does, until the days are over."""
    while machine.day < days:
        left = (days * DAY - machine.true_seconds) / DAY * 6 * 60
        try:
            start(journal, unit, machine, Living(chance=chance, agreed=True, minutes=max(left, 1), **COARSE))
        except (MachineDown, SwitchedOff):
            continue


def stretches(journal: Journal) -> list[Run]:
    return [run for run in journal.runs("shoebox-3") if run.plan.purpose == USE]


def depth(setting: Setting) -> float:
    return abs(setting.value("cpu-core"))


class FullDisk(Journal):
    """A journal whose disk is full for a while."""

    until: datetime | None = None
    machine: LivedIn
    refused = 0

    def _refuse(self) -> None:
        if self.until is not None and self.machine.now() < self.until:
            type(self).refused += 1
            raise JournalError("the disk is full; nothing was written.")

    def heartbeat(self, run_id: int, minutes: float, samples: Trace | None = None) -> None:
        self._refuse()
        super().heartbeat(run_id, minutes, samples)

    def open_run(self, plan: RunPlan, *, at: datetime | None = None) -> int:
        self._refuse()
        return super().open_run(plan, at=at)


def test_sixty_days_on_trial_with_all_that_comes_in_sixty_days(journal: Journal, unit: Unit) -> None:
    machine = LivedIn(
        unit, {"cpu-core": VirtualUnit(100, 5)}, 3, restarts=(4, 11, 12, 40), vanishes=(7, 20),
        clock_steps={9: 7200.0, 15: -5400.0}, modes={25: "quiet", 27: "balanced"},
    )  # fmt: skip
    before = assess(unit, journal.runs(unit.name), goal_for(unit)).known
    live_days(journal, unit, machine, 60, 0.5)
    runs = stretches(journal)
    known = assess(unit, journal.runs(unit.name), goal_for(unit)).known
    assert before is not None and known is not None
    assert not journal.open_runs(unit.name)
    # Every hour under load was watched but for the minutes since the last heartbeat before each interruption.
    told = in_use(runs)
    assert machine.load_hours - 10 * 0.5 <= told.load_hours <= machine.load_hours + 0.1
    assert told.load_hours > 200 and told.awake_hours <= machine.awake_hours + 0.1
    assert told.failures == machine.crashes == sum(run.outcome is Outcome.RESET for run in runs) >= 1
    assert depth(known.setting) > depth(before.setting)
    assert machine.edges["cpu-core"].mttf_hours(depth(known.setting)) >= 100, "the claim is true"
    assert "it is a claim per hour of such load" in known.says and "such load" not in before.says
    assert "ordinary use" in known.says and known.whole is not None and known.whole.use_share > 0.9
    answer = recall(journal, unit, goal_for(unit), machine.now())
    assert answer.use_share > 0.9 and any("under load" in words for words in answer.use)
    assert any("Certified over the hours of use" in words for words in answer.use)
    grown = growth(unit, journal.runs(unit.name), goal_for(unit))
    assert 3 <= len(grown) <= 12 and grown[0].load_hours == 0
    assert (grown[-1].load_hours, grown[-1].failures) == (told.load_hours, told.failures)
    assert grown[-1].certified == known.setting
    page = build(collect(journal, unit.name))
    (section,) = [one for one in page.sections if one.key == "in-use"]
    assert len(section.tables[0].rows) == len(grown)
    (chart,) = section.blocks[0].charts
    assert list(chart.table["certified (mV)"]) == [one.certified.value("cpu-core") for one in grown]
    marks = {layer["mark"]["type"]: layer for layer in chart.spec(PAGE)["layer"] if "transform" not in layer}
    assert marks["line"]["mark"]["interpolate"] == "step-after"
    drawn = chart.spec(PAGE)["datasets"]
    assert sum(row.get("failed", False) for rows in drawn.values() for row in rows) == told.failures
    # After each crash: shallower at once.
    for crashed, after in pairwise(runs):
        if crashed.outcome is Outcome.RESET:
            assert depth(after.setting) < depth(crashed.setting)
    words = " ".join(run.closing.judged_by for run in runs if run.closing)
    assert "gone" in words and "power mode" in words and "shutdown was asked for" in words


def test_the_certified_setting_goes_deeper_only_when_that_is_certified(journal: Journal, unit: Unit) -> None:
    machine = LivedIn(unit, EDGE, 5)
    live_days(journal, unit, machine, 40, None)
    runs = stretches(journal)
    depths = [depth(run.setting) for run in runs]
    assert depths[-1] > depths[0]
    for at, run in enumerate(runs[::6]):
        earlier = [one for one in journal.runs(unit.name) if one.id < run.id]
        known = assess(unit, earlier, goal_for(unit)).known
        assert known is not None and depth(run.setting) <= depth(known.setting), at


def test_a_setting_that_vanished_ends_the_stretch_and_loses_nothing(journal: Journal, unit: Unit) -> None:
    machine = LivedIn(unit, EDGE, 5, vanishes=(2,))
    live_days(journal, unit, machine, 4, None)
    runs = stretches(journal)
    gone = [run for run in runs if run.closing and "was gone" in run.closing.judged_by]
    assert len(gone) == 1 and gone[0].outcome is Outcome.HELD and gone[0].minutes > 60
    assert runs[runs.index(gone[0]) + 1].setting == gone[0].setting, "applied again"


def test_one_that_vanishes_again_and_again_is_left_alone(journal: Journal, unit: Unit) -> None:
    class Stubborn(LivedIn):
        def sleep(self, seconds: float) -> None:
            super().sleep(seconds)
            self.setting = Setting()

    machine = Stubborn(unit, EDGE, 5)
    with pytest.raises(AnswerIsNo, match="something else keeps setting it"):
        start(journal, unit, machine, Living(agreed=True, **COARSE))
    assert all(run.minutes == 0 for run in stretches(journal))


def test_a_clock_that_is_set_neither_adds_nor_takes_hours(journal: Journal, unit: Unit) -> None:
    machine = LivedIn(unit, EDGE, 5, clock_steps={1: 40 * 3600.0, 2: -90 * 3600.0})
    live_days(journal, unit, machine, 4, None)
    assert in_use(stretches(journal)).load_hours == pytest.approx(machine.load_hours, abs=0.6)


def test_a_full_disk_costs_nothing_once_there_is_room(tmp_path: object, unit: Unit, journal: Journal) -> None:
    machine = LivedIn(unit, EDGE, 5)
    with FullDisk.open(journal.path) as full:
        full.machine, full.until = machine, datetime.fromisoformat("2026-11-03T21:30:00+00:00")
        voice = Unattended()
        full.until = None
        first = Living(agreed=True, minutes=3 * 60, **COARSE)
        start(full, unit, machine, first, voice)
        full.until = machine.now().replace(day=machine.now().day + 1, hour=6)
        held = in_use(stretches(full)).load_hours
        with pytest.raises(JournalError):
            start(full, unit, machine, Living(agreed=True, **COARSE), voice)
        assert machine.setting.is_stock, "without a journal nothing is lived with"
        full.until = None
        hours = machine.load_hours

        class FillsUp(LivedIn):
            pass

        machine.sleep(machine.true_seconds % 60 and 60)
        # It fills up in the middle of a stretch, and is freed two days later.
        original = machine.night

        def night() -> None:
            original()
            full.until = full.until or machine.now().replace(hour=20)

        machine.night = night  # type: ignore[method-assign]
        start(full, unit, machine, Living(agreed=True, minutes=20 * 60, **COARSE), voice)
        assert FullDisk.refused > 2
        assert in_use(stretches(full)).load_hours - held == pytest.approx(machine.load_hours - hours, abs=0.6)
    assert sum("was not written" in text for _, text in voice.said) == 1


def test_a_driver_reset_while_watching_is_a_failure_and_steps_back(journal: Journal, unit: Unit) -> None:
    class Resets(LivedIn):
        def faults_since(self, moment: datetime) -> list[tuple[Outcome, str]]:
            first = self.load_hours > 2 and not self.crashes
            self.crashes += first
            return [(Outcome.DRIVER_RESET, "the driver was reset")] if first else []

    machine = Resets(unit, {"cpu-core": VirtualUnit(400, 5)}, 5)
    voice = Unattended()
    start(journal, unit, machine, Living(agreed=True, minutes=16 * 60, **COARSE), voice)
    runs = stretches(journal)
    failed = [run for run in runs if run.outcome is Outcome.DRIVER_RESET]
    assert len(failed) == 1 and "driver was reset" in failed[0].closing.judged_by  # type: ignore[union-attr]
    assert depth(runs[runs.index(failed[0]) + 1].setting) < depth(failed[0].setting)
    assert any("Stepping back" in text for _, text in voice.said)


def test_after_a_login_nothing_is_applied_while_a_crash_is_not_judged(journal: Journal, unit: Unit) -> None:
    machine = LivedIn(unit, {"cpu-core": VirtualUnit(60, 2)}, 5, keeps_record=False)
    with pytest.raises(MachineDown):
        start(journal, unit, machine, Living(agreed=True, **COARSE))
    with pytest.raises(AnswerIsNo, match="nobody has said how"):
        start(journal, unit, machine, Living(agreed=True, after_login=True, **COARSE))
    assert machine.setting.is_stock and len(journal.open_runs(unit.name)) == 1
    machine.keeps_record = True
    with pytest.raises((MachineDown, AnswerIsNo)):
        start(journal, unit, machine, Living(agreed=True, after_login=True, **COARSE))
    assert stretches(journal)[0].outcome is Outcome.RESET


def test_after_a_login_it_waits_until_the_machine_is_up_and_idle(journal: Journal, unit: Unit) -> None:
    class JustUp(LivedIn):
        def up_seconds(self) -> float:
            return self.seconds() - 8 * 3600.0

    machine = JustUp(unit, EDGE, 5)
    seen: list[float] = []
    hands = machine.hands(unit, None)
    applied = hands.apply

    def apply(card: Unit, setting: Setting) -> Setting | None:
        if not setting.is_stock:
            seen.append(machine.up_seconds())
        return applied(card, setting)

    hands.apply = apply  # type: ignore[method-assign, assignment]
    bench = Bench(journal, unit, machine, Unattended(), given_hands=hands, goal=goal_for(unit))
    live(bench, Living(agreed=True, after_login=True, minutes=10, **COARSE))
    assert seen and seen[0] >= 10 * 60


def test_a_trial_is_agreed_to_and_left_at_stock_and_a_certified_setting_stays(journal: Journal, unit: Unit) -> None:
    machine = LivedIn(unit, {"cpu-core": VirtualUnit(400, 5)}, 5)
    with pytest.raises(AnswerIsNo, match="declined"):
        start(journal, unit, machine, Living(chance=0.7, **COARSE))
    assert not stretches(journal) and journal.consent(unit.name) is None
    end = start(journal, unit, machine, Living(chance=0.7, agreed=True, minutes=60, **COARSE))
    assert end.choice.chance == 0.7 and machine.setting.is_stock and end.setting.is_stock
    end = start(journal, unit, machine, Living(agreed=True, minutes=60, **COARSE))
    assert machine.setting == end.setting == end.choice.certified and not end.setting.is_stock
    end = start(journal, unit, machine, Living(agreed=True, minutes=60, to_stock=True, **COARSE))
    assert machine.setting.is_stock


def test_hours_without_load_are_told_and_claim_nothing(journal: Journal, unit: Unit) -> None:
    class Idle(LivedIn):
        def loaded_now(self) -> bool:
            return False

    machine = Idle(unit, EDGE, 5)
    before = choose_for_use(unit, journal.runs(unit.name), goal_for(unit), None)
    start(journal, unit, machine, Living(agreed=True, minutes=30 * 60, **COARSE))
    told = in_use(stretches(journal))
    after = choose_for_use(unit, journal.runs(unit.name), goal_for(unit), None)
    assert told.awake_hours == pytest.approx(30, abs=1) and told.load_hours == 0
    assert after == before


def test_ctrl_c_closes_the_stretch_with_what_held(journal: Journal, unit: Unit) -> None:
    class Stopped(LivedIn):
        def sleep(self, seconds: float) -> None:
            super().sleep(seconds)
            if self.load_hours > 1.5:
                raise KeyboardInterrupt

    machine = Stopped(unit, EDGE, 5)
    end = start(journal, unit, machine, Living(agreed=True, **COARSE))
    (run,) = stretches(journal)
    assert run.outcome is Outcome.HELD and run.minutes == pytest.approx(90, abs=16)
    assert end.use.load_hours == pytest.approx(run.minutes / 60)


def test_ctrl_c_while_it_is_applied_closes_the_stretch_and_goes_back_to_stock(journal: Journal, unit: Unit) -> None:
    machine = LivedIn(unit, EDGE, 5)

    class Stopped(Bench):
        def apply(self, setting: Setting, why: str = "applied") -> Setting | None:
            read = super().apply(setting, why)
            if not setting.is_stock:
                raise KeyboardInterrupt
            return read

    live(Stopped(journal, unit, machine, Unattended(), goal=goal_for(unit)), Living(agreed=True, **COARSE))
    (run,) = stretches(journal)
    assert run.outcome is Outcome.VOID and machine.setting.is_stock and not journal.open_runs(unit.name)
