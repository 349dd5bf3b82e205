"""The shared heatsink from several runs: a known matrix comes back, and 20 W less has an answer."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from surefoot.cli.main import app
from surefoot.errors import BadInput
from surefoot.guide.heat import shared_heat, watts_of
from surefoot.journal import Journal
from surefoot.runs import Closing, Outcome, RunPlan, Trace
from surefoot.units import Conditions, Setting, Unit

# Kelvin per watt of a made-up laptop: row warmed, column drawing.
MATRIX = np.array([[0.80, 0.25], [0.20, 0.50]])
ROOM = 21.0


def settled(cpu_watts: float, gpu_watts: float, seed: int) -> Trace:
    """A load held for 25 minutes on lumped capacities: one time constant each (analytic solution)."""
    rng = np.random.default_rng(seed)
    seconds = np.arange(0.0, 1500.0, 2.0)
    final = ROOM + MATRIX @ np.array([cpu_watts, gpu_watts])
    rise = 1 - np.exp(-seconds[:, None] / np.array([90.0, 120.0]))
    celsius = ROOM + 8 + (final - ROOM - 8) * rise + rng.normal(0, 0.3, (seconds.size, 2))
    return Trace(
        seconds,
        {
            "cpu.temperature": celsius[:, 0],
            "gpu.temperature": celsius[:, 1],
            "cpu.power": cpu_watts + rng.normal(0, 0.3, seconds.size),
            "gpu.power": gpu_watts + rng.normal(0, 0.3, seconds.size),
        },
    )


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    opened = Journal.open(tmp_path / "journal.sqlite")
    opened.add_unit(Unit(name="shoebox-3", cooling="as it came"))
    return opened


def log(journal: Journal, cpu_watts: float, gpu_watts: float, cooling: str = "as it came") -> int:
    plan = RunPlan(
        unit_name="shoebox-3",
        setting=Setting(),
        load="cpu-gpu",
        planned_minutes=25,
        purpose="measure",
        conditions=Conditions(ambient_celsius=ROOM, cooling=cooling),
    )
    closing = Closing(outcome=Outcome.HELD, minutes=25, judged_by="test")
    run_id = journal.log_run(plan, closing, at=datetime(2026, 11, 2, tzinfo=UTC))
    journal.add_trace(run_id, settled(cpu_watts, gpu_watts, run_id))
    return run_id


def test_the_matrix_comes_back(journal: Journal) -> None:
    runs = [log(journal, 71, 10), log(journal, 8, 90), log(journal, 45, 80)]
    log(journal, 71, 10, "new paste")
    found = shared_heat(journal, journal.unit("shoebox-3"), (), {"gpu": -20})
    assert list(found.run_ids) == runs, "a run under another cooling says nothing of this one"
    assert found.coupling.matrix == pytest.approx(MATRIX, abs=0.05)
    assert np.all(found.coupling.matrix >= 0)
    assert found.changes["cpu"].celsius == pytest.approx(-20 * 0.25, abs=1.0)
    assert found.changes["gpu"].celsius == pytest.approx(-20 * 0.50, abs=1.0)
    assert found.changes["gpu"].low <= -10.0 + 0.5 and found.changes["gpu"].high >= -10.0 - 0.5


def test_loads_that_do_not_tell_the_parts_apart_are_refused(journal: Journal) -> None:
    log(journal, 45, 80)
    with pytest.raises(BadInput, match="measure --load cpu"):
        shared_heat(journal, journal.unit("shoebox-3"), (), {})


def test_what_was_typed(journal: Journal) -> None:
    assert watts_of({"gpu": "-20 W", "CPU": "5"}) == {"gpu": -20.0, "cpu": 5.0}
    with pytest.raises(BadInput, match="watts"):
        watts_of({"gpu": "much"})
    log(journal, 45, 80)
    with pytest.raises(BadInput, match="no part"):
        shared_heat(journal, journal.unit("shoebox-3"), (), {"lid": 3})


def test_on_the_command_line(journal: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for watts in ((71, 10), (9, 104), (52, 96)):
        log(journal, *watts)
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path))
    result = CliRunner().invoke(app, ["trace", "heat", "shoebox-3", "--change", "gpu=-20"])
    assert result.exit_code == 0, result.output
    assert "GPU: -10" in result.stdout or "GPU: -9" in result.stdout
    assert max(len(line) for line in result.stdout.splitlines()) <= 80
    data = json.loads(CliRunner().invoke(app, ["trace", "heat", "shoebox-3", "--json"]).stdout)
    assert len(data["kelvin_per_watt"]) == 2
