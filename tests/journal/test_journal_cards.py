"""Units, the history of their cards, consents, and what is named and measured beside the runs."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from surefoot.errors import BadInput, JournalError
from surefoot.journal import Journal
from surefoot.runs import Closing, Outcome, Reading, RunPlan, Score
from surefoot.units import Knob, Setting, Unit

NAME = "shoebox-3"
HELD = Closing(outcome=Outcome.HELD, minutes=10, judged_by="held")


def plan(unit: str = NAME, **values: float) -> RunPlan:
    setting = Setting(values={key.replace("_", "-"): value for key, value in values.items()})
    return RunPlan(unit_name=unit, setting=setting, load="cpu", planned_minutes=10, source="hand")


def test_a_card_keeps_its_history(journal: Journal) -> None:
    first = journal.unit(NAME)
    second = first.model_copy(update={"firmware": "1.18"})
    old_run = journal.log_run(plan(cpu_core=-10), HELD)
    journal.revise_unit(second)
    journal.revise_unit(second)
    new_run = journal.log_run(plan(cpu_core=-10), HELD)
    assert [(entry.event, entry.unit) for entry in journal.card_history(NAME)] == [("add", first), ("revise", second)]
    assert journal.unit(NAME) == second
    assert (journal.card_of_run(old_run), journal.card_of_run(new_run)) == (first, second)


def test_a_retired_unit_is_hidden_keeps_its_runs_and_comes_back(journal: Journal) -> None:
    run_id = journal.log_run(plan(cpu_core=-10), HELD)
    journal.retire_unit(NAME)
    assert journal.units() == [] and [unit.name for unit in journal.units(retired=True)] == [NAME]
    assert [run.id for run in journal.runs(NAME)] == [run_id]
    for refused in (
        lambda: journal.retire_unit(NAME),
        lambda: journal.open_run(plan()),
        lambda: journal.log_run(plan(), HELD),
    ):
        with pytest.raises(BadInput, match="retired"):
            refused()
    journal.restore_unit(NAME)
    assert [unit.name for unit in journal.units()] == [NAME]
    with pytest.raises(BadInput, match="not retired"):
        journal.restore_unit(NAME)
    assert [entry.event for entry in journal.card_history(NAME)] == ["add", "retire", "restore"]


def test_a_unit_with_an_open_run_is_not_retired(journal: Journal) -> None:
    journal.open_run(plan())
    with pytest.raises(JournalError, match="open"):
        journal.retire_unit(NAME)


def test_a_name_is_taken_once_whatever_its_capitals(journal: Journal) -> None:
    with pytest.raises(BadInput, match="already"):
        journal.add_unit(Unit(name="Shoebox-3"))
    journal.add_unit(Unit(name="Ärzte-PC 2"))
    assert [unit.name for unit in journal.units()] == [NAME, "Ärzte-PC 2"]


def test_a_card_that_would_lose_evidence_is_told(journal: Journal) -> None:
    unit = journal.unit(NAME)
    journal.log_run(plan(gpu_core=15), HELD)
    without = unit.model_copy(update={"knobs": unit.knobs[:2]})
    with pytest.raises(BadInput, match=r"gpu-core is gone but 1 run.*--force"):
        journal.refuse_losing_knobs(without)
    turned = unit.model_copy(update={"knobs": (*unit.knobs[:2], Knob("gpu-core", "gpu", "W", "up", 5, 50))})
    with pytest.raises(BadInput, match="unit or side"):
        journal.refuse_losing_knobs(turned)
    journal.refuse_losing_knobs(unit.model_copy(update={"knobs": unit.knobs[2:]}))
    assert journal.knobs_used(NAME) == {"gpu-core": 1}


def test_consent_is_kept(journal: Journal) -> None:
    assert journal.consent(NAME) is None
    at = datetime(2030, 2, 3, tzinfo=UTC)
    journal.give_consent(NAME, "the cautions", at=at)
    given = journal.consent(NAME)
    assert given is not None and (given.text, given.at, given.unit_name) == ("the cautions", at, NAME)


def test_scores_and_readings_come_back(journal: Journal) -> None:
    run_id = journal.log_run(plan(), HELD)
    score = Score(name="render", value=241.5, unit="s", higher_is_better=False, note="warm")
    reading = Reading(kind="sound", value=41.2, place="1 m", background=28.0, at=datetime(2030, 1, 1, tzinfo=UTC))
    first = journal.add_score(NAME, score, run_id=run_id)
    second = journal.add_score(NAME, score, configuration="tuned")
    journal.add_reading(NAME, reading, configuration="tuned")
    assert [(e.id, e.run_id, e.configuration, e.score) for e in journal.scores(NAME)] == [
        (first, run_id, None, score),
        (second, None, "tuned", score),
    ]
    assert [(e.run_id, e.configuration, e.reading) for e in journal.readings(NAME)] == [(None, "tuned", reading)]
    journal.add_unit(Unit(name="other"))
    with pytest.raises(BadInput, match="belongs to unit"):
        journal.add_score("other", score, run_id=run_id)
    assert journal.scores("other") == []


def test_the_last_name_and_the_last_mapping_count(journal: Journal) -> None:
    journal.name_configuration(NAME, "k1", "as it came", 0)
    journal.name_configuration(NAME, "k1", "stock", 1)
    assert journal.configuration_names(NAME) == {"k1": ("stock", 1)}
    assert journal.remembered_columns("f1") is None
    journal.remember_columns("f1", {"CPU [°C]": "cpu.temperature"})
    journal.remember_columns("f1", {"CPU [°C]": "cpu.temperature.core-0"})
    assert journal.remembered_columns("f1") == {"CPU [°C]": "cpu.temperature.core-0"}


def test_forecasts_come_back(journal: Journal) -> None:
    forecast = {"watts": [41.0, 43.5], "at": {"cpu-core": -95}}
    journal.add_forecast(NAME, forecast)
    assert [(e.forecast, e.run_id) for e in journal.forecasts(NAME)] == [(forecast, None)]
    with pytest.raises(BadInput, match="JSON"):
        journal.add_forecast(NAME, {"watts": float("nan")})
