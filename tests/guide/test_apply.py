"""Recall with hands: open runs first, consent, the right machine, card and rules; and the way back afterwards."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

import pytest
from guide_bench import WIDE, held_before

from surefoot.errors import AnswerIsNo, BadInput
from surefoot.guide.apply import Applying, recall_and_apply
from surefoot.guide.at_work import at_work
from surefoot.guide.bench import Bench
from surefoot.guide.exception import ask_wide_stride
from surefoot.guide.measure import Measuring, measure
from surefoot.guide.recall import Present, recall
from surefoot.guide.settle import Settling
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal
from surefoot.rehearsal.machine import VirtualMachine
from surefoot.rig.guardian.reports import GuardianReport, write_report
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.search import Goal
from surefoot.units import Conditions, Setting, Unit

AGREED = Applying(agreed=True)
EASY = Goal(mttf_hours=5, max_stride=40)
AT_40 = Setting(values={"cpu-core": -40})


class Says(Unattended):
    """Somebody is there; answers by a word of the question."""

    attended = True

    def __init__(self, **answers: str) -> None:
        super().__init__()
        self.answers = answers
        self.asked: list[str] = []

    def choose(self, question: str, choices: Mapping[str, str], default: str) -> str:
        self.asked.append(question)
        return next((answer for word, answer in self.answers.items() if word in question), default)


class Piped(Says):
    """Its answers come through a pipe."""

    at_terminal = False


@pytest.fixture
def tuned(journal: Journal, unit: Unit) -> Journal:
    held_before(journal, unit, 0, *(depth for depth in (20, 40, 60) for _ in range(6)))
    return journal


def left_open(journal: Journal, unit: Unit, depth: float, boot_id: str, at: datetime | None = None) -> int:
    run_id = journal.open_run(
        RunPlan(
            unit_name=unit.name,
            setting=unit.setting_at({"cpu-core": depth}),
            load="everything",
            planned_minutes=30,
            boot_id=boot_id,
        ),
        at=at,
    )
    journal.heartbeat(run_id, 2.0)
    return run_id


def test_recall_counts_and_tells_an_open_run_first(tuned: Journal, unit: Unit, machine: VirtualMachine) -> None:
    now = machine.now()
    before = recall(tuned, unit, EASY, Present(now, boot_id=machine.boot_id()))
    assert before.known and not before.first
    depth = -before.setting["cpu-core"]
    run_id = left_open(tuned, unit, depth, "another boot")
    answer = recall(tuned, unit, EASY, Present(now, boot_id=machine.boot_id()))
    assert answer.open_runs == (run_id,) and f"run {run_id}" in answer.first[0] and "went down" in answer.first[0]
    assert -answer.setting.get("cpu-core", 0.0) < depth, "a crash there may not be called stable"
    assert tuned.open_runs(unit.name), "nothing was written by asking"
    unknown = recall(tuned, unit, EASY, Present(now))
    assert unknown.setting == answer.setting, "boots that cannot be compared: the worse case"
    same = recall(tuned, unit, EASY, Present(now, boot_id="another boot"))
    assert same.setting == before.setting and "running now, or the tool was stopped" in same.first[0]


def test_apply_judges_the_open_run_before_it_recalls(tuned: Journal, unit: Unit, machine: VirtualMachine) -> None:
    before = recall(tuned, unit, EASY, machine.now())
    left_open(tuned, unit, -before.setting["cpu-core"], "another boot")
    answer, applied = recall_and_apply(Bench(tuned, unit, machine, Unattended(), goal=EASY), AGREED)
    assert tuned.runs(unit.name)[-1].outcome is Outcome.RESET and not answer.first
    assert abs(machine.setting.value("cpu-core")) < abs(before.setting["cpu-core"])
    assert applied == machine.setting


def test_apply_stays_and_is_told_until_it_is_put_right(tuned: Journal, unit: Unit, machine: VirtualMachine) -> None:
    bench = Bench(tuned, unit, machine, Unattended(), goal=EASY)
    _, applied = recall_and_apply(bench, AGREED)
    assert applied is not None and machine.setting == applied and bench.left_applied == applied
    assert "may still be applied (recalled" in recall(tuned, unit, EASY, machine.now()).first[0]
    write_report(bench.guardian_log, GuardianReport(machine.now(), unit.name, True, "put back to stock"))
    assert "the guardian put the unit back to stock at" in recall(tuned, unit, EASY, machine.now()).first[0]
    measure(bench, Measuring(load="cpu", minutes=1, settling=Settling(at_most_minutes=0.1)))
    assert tuned.runs(unit.name)[-1].setting.is_stock and machine.setting.is_stock
    assert bench.left_applied is None and not recall(tuned, unit, EASY, machine.now()).first


def test_apply_asks_for_consent(tuned: Journal, unit: Unit, machine: VirtualMachine) -> None:
    with pytest.raises(AnswerIsNo, match="not agreed"):
        recall_and_apply(Bench(tuned, unit, machine, Unattended(), goal=EASY), Applying())
    assert machine.setting.is_stock


def test_apply_never_exceeds_the_rules(journal: Journal, unit: Unit, machine: VirtualMachine) -> None:
    held_before(journal, unit, 0, *(depth for depth in (20, 40) for _ in range(6)), firmware="F-1")
    newer = unit.model_copy(update={"firmware": "F-2"})
    journal.revise_unit(newer)
    assert recall(journal, newer, EASY, machine.now()).known, "known under the firmware before"
    with pytest.raises(AnswerIsNo, match="under another firmware or driver do not count"):
        recall_and_apply(Bench(journal, newer, machine, Unattended(), goal=EASY), AGREED)
    assert machine.setting.is_stock


def test_the_machine_is_asked_for_once_and_another_is_refused(
    tuned: Journal, unit: Unit, machine: VirtualMachine
) -> None:
    voice = Says(Is="yes")
    recall_and_apply(Bench(tuned, unit, machine, voice, goal=EASY), AGREED)
    recall_and_apply(Bench(tuned, unit, machine, voice, goal=EASY), AGREED)
    assert len([question for question in voice.asked if question.startswith("Is the machine")]) == 1

    class Another(VirtualMachine):
        def identity(self) -> str:
            return "somebody else's"

    other = Another(unit, machine.edges, seed=2)
    for nobody in (Unattended(), Says(), Piped(Is="yes")):
        with pytest.raises(AnswerIsNo, match="not known as unit"):
            recall_and_apply(Bench(tuned, unit, other, nobody, goal=EASY), AGREED)
    assert other.setting.is_stock
    recall_and_apply(Bench(tuned, unit, other, Unattended(), goal=EASY), Applying(agreed=True, this_machine=True))
    assert not other.setting.is_stock and len(tuned.known_machines(unit.name)) == 2


def test_a_machine_that_is_not_the_unit_is_left_alone(tuned: Journal, unit: Unit, machine: VirtualMachine) -> None:
    with pytest.raises(AnswerIsNo):
        recall_and_apply(Bench(tuned, unit, machine, Says(Is="no"), goal=EASY), AGREED)
    assert machine.setting.is_stock and tuned.known_machines(unit.name) == ()


def measuring(depth: float) -> Measuring:
    return Measuring(
        setting=Setting(values={"cpu-core": -depth}),
        load="cpu",
        minutes=1,
        agreed=True,
        settling=Settling(at_most_minutes=0.1),
    )


def test_the_stride_holds_for_a_measurement_too(journal: Journal, unit: Unit, machine: VirtualMachine) -> None:
    held_before(journal, unit, 0, 20)
    bench = Bench(journal, unit, machine, Unattended())
    runs = len(journal.runs(unit.name))
    with pytest.raises(BadInput, match="deepest that held"):
        measure(bench, measuring(60))
    assert len(journal.runs(unit.name)) == runs and machine.setting.is_stock and journal.exceptions(unit.name) == []
    (run,) = measure(bench, measuring(40))
    assert run.outcome is Outcome.HELD


def test_after_a_failure_nothing_deeper_than_what_held_is_measured(
    journal: Journal, unit: Unit, machine: VirtualMachine
) -> None:
    held_before(journal, unit, 0, 20, 20, 40, 40)
    run_id = left_open(journal, unit, 55, "another boot", machine.now())
    bench = Bench(journal, unit, machine, Unattended())
    with at_work(bench, off_stock=False, agreed=False):
        assert journal.run(run_id).outcome is Outcome.RESET
    assert bench.forbidden(AT_40) is None, "it held, as deep as that"
    rule = bench.forbidden(Setting(values={"cpu-core": -45}))
    assert rule is not None and f"run {run_id}" in rule
    with pytest.raises(BadInput, match="hold something shallower first"):
        measure(bench, measuring(45))
    held_before(journal, unit, 35, 35, at=machine.now() + timedelta(hours=1))
    assert bench.forbidden(Setting(values={"cpu-core": -45})) is None, "the failure is answered"


@pytest.mark.parametrize(("answer", "made"), [("yes", 1), ("no", 0)])
def test_an_exception_is_asked_for_and_journaled(
    journal: Journal, unit: Unit, machine: VirtualMachine, answer: str, made: int
) -> None:
    held_before(journal, unit, 0, 20)
    voice = Says(all_the_same=answer, Apply=answer)
    runs = len(journal.runs(unit.name))
    try:
        measure(Bench(journal, unit, machine, voice), measuring(60))
    except AnswerIsNo:
        assert answer == "no"
    assert len(journal.runs(unit.name)) == runs + made
    assert [entry.setting.value("cpu-core") for entry in journal.exceptions(unit.name)] == [-60.0] * made
    with pytest.raises(BadInput, match="limit"):
        measure(Bench(journal, unit, machine, Says(Apply="yes")), measuring(400))


def test_an_answer_that_was_piped_in_makes_no_exception(journal: Journal, unit: Unit, machine: VirtualMachine) -> None:
    """`yes | surefoot measure` was written before the question."""
    held_before(journal, unit, 0, 20)
    with pytest.raises(BadInput, match="further than"):
        measure(Bench(journal, unit, machine, Piped(Apply="yes")), measuring(60))
    assert not journal.exceptions(unit.name) and machine.setting.is_stock


def test_what_a_killed_session_left_applied_is_put_right_by_the_next(
    journal: Journal, unit: Unit, machine: VirtualMachine
) -> None:
    """Killed after the closing, with hands that leave the setting: no open run says so, the journal does."""
    held_before(journal, unit, 0, 40)
    bench = Bench(journal, unit, machine, Unattended(), goal=WIDE)
    bench.apply(AT_40, "run 3")
    assert bench.left_applied == AT_40 and journal.open_runs(unit.name) == []
    voice = Unattended()
    with at_work(Bench(journal, unit, machine, voice), off_stock=False, agreed=False):
        assert machine.setting.is_stock
    assert any("may still be applied" in text for _, text in voice.said)
    assert bench.left_applied is None


def test_a_stride_far_past_the_usual_is_asked_about(unit: Unit) -> None:
    wide, usual = Goal(max_stride=200), Goal(max_stride=50)
    for voice in (Unattended(), Piped(Search="yes")):
        with pytest.raises(BadInput, match="a slip"):
            ask_wide_stride(voice, unit, wide, None)
        ask_wide_stride(voice, unit, usual, None)
        ask_wide_stride(voice, unit, wide, ())
    with pytest.raises(AnswerIsNo):
        ask_wide_stride(Says(Search="no"), unit, wide, None)
    ask_wide_stride(Says(Search="yes"), unit, wide, None)


@pytest.mark.parametrize("answer", ["yes", "no"])
def test_other_conditions_are_told_and_asked_about_before_anything_is_applied(
    journal: Journal, unit: Unit, machine: VirtualMachine, answer: str
) -> None:
    for depth in (0.0, *(depth for depth in (20.0, 40.0) for _ in range(6))):
        plan = RunPlan(
            unit_name=unit.name,
            setting=unit.setting_at({"cpu-core": depth}),
            load="everything",
            planned_minutes=20,
            conditions=Conditions(firmware="F-1", cooling="tower"),
        )
        journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=20, judged_by="test"), at=machine.now())
    journal.revise_unit(changed := unit.model_copy(update={"cooling": "none, fan off"}))
    voice = Says(same=answer, Apply=answer, Is="yes")
    bench = Bench(journal, changed, machine, voice, goal=EASY)
    if answer == "no":
        with pytest.raises(AnswerIsNo, match="conditions"):
            recall_and_apply(bench, AGREED)
        assert machine.setting.is_stock
    else:
        recall_and_apply(bench, AGREED)
        assert not machine.setting.is_stock
    assert any("cooling was tower" in text for _, text in voice.said)
    nobody = Unattended()
    recall_and_apply(Bench(journal, changed, machine, nobody, goal=EASY), AGREED)
    assert any("cooling was tower" in text for _, text in nobody.said) and not machine.setting.is_stock
