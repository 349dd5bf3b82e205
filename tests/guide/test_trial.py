"""A trial on a virtual bench: order from the seed, resumed from the journal alone, stopped by its rule."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest
from guide_bench import WIDE, held_before

from surefoot.errors import AnswerIsNo, BadInput, MachineError
from surefoot.guide.bench import Bench
from surefoot.guide.settle import Settling
from surefoot.guide.trial import Trialling, end_by_user, go_on
from surefoot.guide.trial_planning import Planned, begin_trial, order_says, percent_from, plan_says, plan_trial
from surefoot.guide.trial_state import look, states
from surefoot.guide.trial_words import arms_from, instruments_from
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal
from surefoot.rehearsal.machine import MachineDown, VirtualMachine
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.report.gather import comparison_of, gather
from surefoot.runs import Outcome, Reading
from surefoot.scores.trial_plan import Instrument
from surefoot.units import Unit

FAST = Trialling(agreed=True, sample_seconds=10, heartbeat_seconds=60, settling=Settling(at_most_minutes=1))


@pytest.fixture(autouse=True)
def held(journal: Journal, unit: Unit) -> None:
    for depth in (0, 20, 40):
        held_before(journal, unit, depth)


def planned(journal: Journal, unit: Unit, *of: str, **more: object) -> Planned:
    arms = arms_from(journal, unit, of or ("stock", "cpu-core=-20", "cpu-core=-40"))
    return plan_trial(journal, unit, arms, load="cpu", minutes=5, seed=9, **more)  # type: ignore[arg-type]


def begun(journal: Journal, unit: Unit, *of: str, **more: object) -> int:
    return begin_trial(journal, unit, planned(journal, unit, *of, **more).plan)


def bench(journal: Journal, unit: Unit, machine: VirtualMachine, voice: Unattended | None = None) -> Bench:
    return Bench(journal, unit, machine, voice or Unattended(), goal=WIDE)


def places(journal: Journal, unit: Unit) -> list[tuple[int, int, float]]:
    return [
        (run.plan.place.block, run.plan.place.position, run.plan.setting.value("cpu-core"))
        for run in journal.runs(unit.name)
        if run.plan.place is not None
    ]


def test_every_configuration_runs_once_a_block_in_the_order_of_the_seed(
    journal: Journal, unit: Unit, machine: VirtualMachine
) -> None:
    number = begun(journal, unit, repeats=3)
    state = go_on(bench(journal, unit, machine), number, FAST)
    assert state.next is None and state.ended == "every block is in" and state.blocks_done == 3
    found = places(journal, unit)
    depths = [state.plan.arms[turn.configuration].setting.value("cpu-core") for turn in state.turns]
    assert found == [(t.block, t.position, depth) for t, depth in zip(state.turns, depths, strict=True)]
    assert [sorted(depth for block, _, depth in found if block == b) for b in (1, 2, 3)] == [[-40, -20, 0]] * 3
    assert machine.setting.is_stock
    compared = comparison_of(gather(journal, unit.name), metrics=["verified work"])
    cells = [cell for cell in compared.rows[0].cells if cell.gain]
    assert {cell.taken for cell in cells} == {"in blocks"} and {c.gain.blocks for c in cells if c.gain} == {3}
    assert any("3 randomised blocks" in words for words in compared.taken)


def test_it_goes_on_after_a_crash_of_the_tool_from_the_journal_alone(
    journal: Journal, unit: Unit, machine: VirtualMachine
) -> None:
    number = begun(journal, unit, repeats=2)
    go_on(bench(journal, unit, machine), number, Trialling(agreed=True, at_most_runs=2, sample_seconds=10))
    state = states(journal, unit.name)[-1]
    assert len(state.done) == 2 and state.next is not None
    assert "4 runs to go" in state.next_says() and "block 1 of 2, run 3 of 3" in state.next_says()
    # The process dies in the middle of the third run: it is left open, and judged void when it goes on.
    from surefoot.guide.trial import _one

    class Gone(BaseException):
        pass

    def die(_: float) -> None:
        raise Gone

    sleeping, machine.sleep = machine.sleep, die  # type: ignore[method-assign, assignment]
    with pytest.raises(Gone), journal.writer(unit.name):
        _one(bench(journal, unit, machine), state, state.next, FAST)
    machine.sleep = sleeping  # type: ignore[method-assign]
    ended = go_on(bench(journal, unit, machine), number, FAST)
    assert ended.ended is not None and len(ended.done) == 6
    assert [run.plan.place for run in ended.done.values()] == [
        run.plan.place for run in sorted(ended.done.values(), key=lambda run: run.id)
    ]


def test_a_configuration_that_fails_ends_in_words_and_not_in_figures(journal: Journal, unit: Unit) -> None:
    weak = VirtualMachine(unit, {"cpu-core": VirtualUnit(22, 2, soft_share=1.0)}, seed=2)
    number = begun(journal, unit, repeats=3)
    with pytest.raises(AnswerIsNo, match="cpu-core=-40 did not hold"):
        go_on(bench(journal, unit, weak), number, FAST)
    assert weak.setting.is_stock
    assert end_by_user(journal, unit.name).next is None
    begun(journal, unit, "stock", "cpu-core=-20", repeats=2)


def test_a_load_that_tells_a_score_of_its_own_is_decided_by_it(journal: Journal, unit: Unit) -> None:
    """Own loads with a score, and built-in ones that tell a rate for each kernel, have no rate of verified work."""
    from surefoot.runs import Closing, Outcome, Place, RunPlan, Score

    plan = planned(journal, unit, to_see=1.0, repeats=8).plan
    number = begin_trial(journal, unit, plan)
    state = states(journal, unit.name)[-1]
    for turn in state.turns[:9]:
        arm = plan.arms[turn.configuration]
        at = Place(trial=number, block=turn.block, position=turn.position)
        made = RunPlan(
            unit_name=unit.name, setting=arm.setting, load=plan.load, planned_minutes=plan.minutes, purpose="measure",
            place=at,
        )  # fmt: skip
        run = journal.log_run(made, Closing(outcome=Outcome.HELD, minutes=plan.minutes, judged_by="test"))
        for name, scale in (("gears", 1000.0), ("springs", 5.0)):
            value = scale * (1 + 0.09 * turn.configuration + 0.0004 * (turn.block + turn.position % 2))
            journal.add_score(unit.name, Score(name=name, value=value), run_id=run)
    state = states(journal, unit.name)[-1]
    found = look(state, journal.scores(unit.name))
    assert state.blocks_done == 3 and found is not None
    assert (found.metric, found.blocks, found.all_shown) == ("gears", 3, True)
    # What was named stays what decides, also where no run has it yet.
    named = replace(state, plan=plan.model_copy(update={"metric": "typed in"}))
    assert look(named, journal.scores(unit.name)) is None


def test_it_stops_early_once_everything_is_shown(journal: Journal, unit: Unit, machine: VirtualMachine) -> None:
    from surefoot.runs import Score

    plan = planned(journal, unit, to_see=1.0, repeats=8, metric="sums").plan
    assert plan.early and 3 <= plan.blocks <= 8
    plan = plan.model_copy(update={"blocks": 8})
    number = begin_trial(journal, unit, plan)
    runs = 0
    while True:
        state = states(journal, unit.name)[-1]
        if state.next is None:
            break
        block = state.next.block
        gain = {0: 0.0, 1: 40.0, 2: 90.0}[state.next.configuration]
        go_on(bench(journal, unit, machine), number, Trialling(agreed=True, at_most_runs=1, sample_seconds=30))
        if states(journal, unit.name)[-1].ended:
            break
        runs += 1
        # The score is typed in after the run; the next command looks at the block.
        run = journal.runs(unit.name)[-1]
        score = Score(name="sums", value=1000 + gain + block + 0.4 * (runs % 3))
        journal.add_score(unit.name, score, run_id=run.id)
    state = states(journal, unit.name)[-1]
    found = look(state, journal.scores(unit.name))
    assert state.ended is not None and state.ended.startswith("stopped early")
    assert found is not None and found.all_shown and found.level is not None and found.level < 0.05
    assert 9 <= runs < 24 and runs == 3 * found.blocks


def test_hands_and_instruments_need_somebody(journal: Journal, unit: Unit, machine: VirtualMachine) -> None:
    number = begun(journal, unit, "stock,mode=quiet", "stock,mode=fast", repeats=2)
    with pytest.raises(MachineError, match="power mode"):
        go_on(bench(journal, unit, machine), number, FAST)
    end_by_user(journal, unit.name)
    number = begun(journal, unit, "stock", "cpu-core=-20", repeats=2, readings=instruments_from(["sound:ear"]))
    with pytest.raises(MachineError, match="instruments"):
        go_on(bench(journal, unit, machine), number, FAST)

    class Reader(Unattended):
        attended = True

        def ask(self, question: str, default: str) -> str:
            return {"sound, ear": "41,5", "background": "30"}.get(question.split(",  ")[0].split(" with")[0], "") or (
                "41,5" if question.startswith("sound") else default
            )

        def choose(self, question: str, choices: Mapping[str, str], default: str) -> str:
            return default

    voice = Reader()
    go_on(bench(journal, unit, machine, voice), number, Trialling(agreed=True, at_most_runs=1, sample_seconds=10))
    readings: list[Reading] = [entry.reading for entry in journal.readings(unit.name)]
    assert [(one.kind, one.value, one.background, one.place) for one in readings] == [("sound", 41.5, 30.0, "ear")]
    reminders = [text for _, text in voice.said if text.startswith("Read now")]
    assert len(reminders) == 1


def test_plans_say_their_order_their_hours_and_their_chance(journal: Journal, unit: Unit) -> None:
    made = planned(journal, unit, to_see=2.0)
    assert made.plan.early and made.power is not None and made.power.chance >= 0.8
    said = plan_says(made)
    assert "2 %" in said and "assumed" in said and f"{made.plan.blocks} blocks" in said
    assert len(order_says(made.plan)) == made.plan.blocks
    with pytest.raises(BadInput, match="cannot be seen"):
        planned(journal, unit, to_see=0.1)
    assert percent_from("2%") == percent_from("0.02") == percent_from("2 %") == 2
    assert percent_from(None) is None
    for wrong in ("two", "0%", "nan", "-1%"):
        with pytest.raises(BadInput):
            percent_from(wrong)


def test_what_is_no_plan_is_refused(journal: Journal, unit: Unit) -> None:
    for of in (("stock",), ("stock", "stock"), ("stock", "elsewhere"), ("stock", "cpu-core=deep")):
        with pytest.raises(BadInput):
            planned(journal, unit, *of)
    known = arms_from(journal, unit, ["stock", "known-stable,mode=quiet"])[1]
    assert known.power_mode == "quiet" and not known.setting.is_stock
    with pytest.raises(BadInput):
        instruments_from(["scent"])
    assert instruments_from(["surface:lid"]) == (Instrument(kind="surface", place="lid"),)
    begun(journal, unit, repeats=2)
    with pytest.raises(BadInput, match="goes on"):
        begun(journal, unit, repeats=2)


def test_void_runs_are_made_again(journal: Journal, unit: Unit, machine: VirtualMachine) -> None:
    number = begun(journal, unit, "stock", "cpu-core=-20", repeats=2)
    lost = {"left": 1}
    hands_of = machine.hands

    def forgetful(card: Unit, prompt: object, *more: object) -> object:
        hands = hands_of(card, prompt)  # type: ignore[arg-type]
        apply = hands.apply

        def sometimes(one: Unit, setting: object) -> object:
            read = apply(one, setting)  # type: ignore[arg-type]
            if lost["left"] and getattr(setting, "values", None):
                lost["left"] -= 1
                return type(setting)()
            return read

        hands.apply = sometimes  # type: ignore[method-assign,assignment]
        return hands

    machine.hands = forgetful  # type: ignore[method-assign,assignment]
    state = go_on(bench(journal, unit, machine), number, FAST)
    outcomes = [run.outcome for run in journal.runs(unit.name) if run.plan.place is not None]
    assert outcomes.count(Outcome.VOID) == 1 and outcomes.count(Outcome.HELD) == 4 and state.blocks_done == 2


def test_a_crash_of_the_machine_is_judged_and_said(journal: Journal, unit: Unit) -> None:
    weak = VirtualMachine(unit, {"cpu-core": VirtualUnit(22, 2, soft_share=0.0)}, seed=3)
    number = begun(journal, unit, repeats=2)
    with pytest.raises(MachineDown):
        for _ in range(4):
            go_on(bench(journal, unit, weak), number, FAST)
    weak.restart()
    with pytest.raises(AnswerIsNo, match="did not hold"):
        go_on(bench(journal, unit, weak), number, FAST)
