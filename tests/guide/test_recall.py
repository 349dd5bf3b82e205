"""Recall: the last known-stable setting, and every reason to doubt it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from surefoot.guide.recall import Present, recall
from surefoot.journal import Journal
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.search import Goal
from surefoot.units import Conditions, Knob, Unit

CORE = Knob("cpu-core", "cpu", "mV", "down", 5, 250)
START = datetime(2026, 1, 10, 9, tzinfo=UTC)
GOAL = Goal()


def unit_with(**changes: object) -> Unit:
    card = {
        "name": "shoebox-3",
        "knobs": (CORE,),
        "firmware": "F-1",
        "cooling": "as it came",
        "driver": "G-1",
        "supply": "mains",
    }
    return Unit.model_validate({**card, **changes})


@pytest.fixture
def tuned(tmp_path: Path) -> Journal:
    """A unit with an edge near 110: held shallow, failed past it, held long below."""
    journal = Journal.open(tmp_path / "journal.sqlite")
    unit = unit_with()
    journal.add_unit(unit)
    history = [
        (0, 20, Outcome.HELD),
        (20, 20, Outcome.HELD),
        (40, 20, Outcome.HELD),
        (60, 20, Outcome.HELD),
        (80, 20, Outcome.HELD),
        (100, 20, Outcome.HELD),
        (120, 2, Outcome.RESET),
        (90, 60, Outcome.HELD),
        (110, 30, Outcome.RESET),
        (85, 120, Outcome.HELD),
    ]
    for place, (depth, minutes, outcome) in enumerate(history):
        plan = RunPlan(
            unit_name=unit.name,
            setting=unit.setting_at({"cpu-core": depth}),
            load="cpu-transitions",
            planned_minutes=60,
            knob="cpu-core",
            conditions=Conditions(
                ambient_celsius=21,
                firmware="F-1",
                driver="G-1",
                cooling="as it came",
                supply="mains",
                operating_system="Virtual 1.0",
            ),
        )
        closing = Closing(outcome=outcome, minutes=minutes, judged_by="test")
        journal.log_run(plan, closing, at=START + timedelta(hours=3 * place))
    return journal


def test_nothing_known_is_stock(tmp_path: Path) -> None:
    with Journal.open(tmp_path / "journal.sqlite") as journal:
        journal.add_unit(unit_with())
        answer = recall(journal, unit_with(), GOAL, START)
    assert not answer.known and answer.setting == {} and "stay at stock" in answer.words


def test_the_setting_comes_with_its_certificate(tuned: Journal) -> None:
    answer = recall(tuned, unit_with(), GOAL, START + timedelta(days=3))
    assert answer.known and -100 < answer.setting["cpu-core"] <= -40
    assert answer.certificate is not None and answer.certificate.mttf_hours >= GOAL.mttf_hours
    assert f"{answer.setting['cpu-core']:g} mV" in answer.words
    assert answer.warnings == (), "nothing has changed, a transition load was held, one knob needs no joint run"


@pytest.mark.parametrize(
    ("changes", "ambient", "days", "words"),
    [
        ({"firmware": "F-2"}, None, 3, "firmware was F-1 and is now F-2"),
        ({"driver": "G-2"}, None, 3, "driver was G-1 and is now G-2"),
        ({"cooling": "new paste"}, None, 3, "cooling was as it came"),
        ({"supply": "battery"}, None, 3, "supply was mains and is now battery"),
        ({}, 28, 3, "room was at 21 °C and is now at 28"),
        ({}, None, 400, "days ago"),
    ],
)
def test_what_has_changed_since_is_said(
    tuned: Journal, changes: dict[str, str], ambient: float | None, days: int, words: str
) -> None:
    answer = recall(tuned, unit_with(**changes), GOAL, Present(START + timedelta(days=days), ambient))
    assert answer.known
    assert [text for text in answer.warnings if words in text], answer.warnings


def test_another_operating_system_is_told(tuned: Journal) -> None:
    now = START + timedelta(days=3)
    answer = recall(tuned, unit_with(), GOAL, Present(now, operating_system="Virtual 2.0"))
    assert answer.warnings == ("the operating system was Virtual 1.0 and is now Virtual 2.0",)
    assert recall(tuned, unit_with(), GOAL, Present(now, operating_system="Virtual 1.0")).warnings == ()


def test_five_degrees_are_not_a_change(tuned: Journal) -> None:
    assert recall(tuned, unit_with(), GOAL, Present(START + timedelta(days=3), 26.0)).warnings == ()


def test_a_harder_goal_recalls_less(tuned: Journal) -> None:
    now = START + timedelta(days=3)
    easy = recall(tuned, unit_with(), Goal(mttf_hours=10), now)
    hard = recall(tuned, unit_with(), Goal(mttf_hours=1000), now)
    assert abs(hard.setting.get("cpu-core", 0)) < abs(easy.setting["cpu-core"])


def test_a_virtual_unit_is_not_said_to_have_changed_its_system(journal: Journal, unit: Unit) -> None:
    conditions = Conditions(firmware="F-1", operating_system="Virtual 1.0")
    for source, told in (("virtual", False), ("rig", True)):
        for depth in (0, 40, 50, 50, 50):
            plan = RunPlan(
                unit_name=unit.name,
                setting=unit.setting_at({"cpu-core": depth}),
                load="cpu",
                planned_minutes=400,
                knob="cpu-core",
                conditions=conditions,
                source=source,  # type: ignore[arg-type]
            )
            journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=400, judged_by="the test"))
        present = Present(datetime.now(UTC), operating_system="Elsewhere 9")
        answer = recall(journal, unit, Goal(mttf_hours=2), present)
        assert answer.known and any("operating system" in text for text in answer.warnings) == told
