"""`surefoot check` as a user and as another tool meet it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from typer.testing import CliRunner

from surefoot.cli.main import app
from surefoot.journal import Journal
from surefoot.units import Unit

sys.path.insert(0, str(Path(__file__).parent.parent / "rig"))

from tree import laptop


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    place = tmp_path / "home"
    monkeypatch.setenv("SUREFOOT_HOME", str(place))
    monkeypatch.setenv("COLUMNS", "80")
    return place


@pytest.fixture
def on_a_laptop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import surefoot.rig.survey as room

    laptop(tmp_path / "root").put("dev/kmsg", "")
    # The first test below asks this machine's own graphics drivers, which takes seconds.
    monkeypatch.setattr(room, "graphics_devices", list)
    real = room.survey
    monkeypatch.setattr(room, "survey", lambda: real(tmp_path / "root", settle_seconds=0.05))


def test_this_machine_in_words_within_80_columns_and_a_few_seconds(home):
    began = time.monotonic()
    result = CliRunner().invoke(app, ["check"])
    assert result.exit_code == 0, result.output
    assert time.monotonic() - began < 20
    assert max(len(line) for line in result.output.splitlines()) <= 80
    for text in ("Sensors", "cpu.busy", "Loads", "cpu-transitions", "Journal", "What cannot be judged here"):
        assert text in result.output
    assert "Not there yet" in result.output
    # It only looks: nothing is made.
    assert not home.exists()


def test_a_laptop_in_words(on_a_laptop):
    result = CliRunner().invoke(app, ["check"])
    assert result.exit_code == 0, result.output
    assert max(len(line) for line in result.output.splitlines()) <= 80
    line = next(line for line in result.output.splitlines() if line.startswith("gpu.temperature.hotspot"))
    assert line.split() == ["gpu.temperature.hotspot", "78", "°C", "hwmon"]
    assert "Nothing is missing." in result.output


def test_as_json_for_tools(on_a_laptop):
    result = CliRunner().invoke(app, ["check", "--json"])
    assert result.exit_code == 0, result.output
    found = json.loads(result.output)
    sensors = {item["channel"]: item for item in found["sensors"]}
    assert sensors["cpu.fan"] == {"channel": "cpu.fan", "value": 3120.0, "unit": "rpm", "source": "hwmon"}
    assert {"cpu", "cpu-heavy", "cpu-transitions", "by-hand"} <= {load["name"] for load in found["loads"]}
    assert found["journal"]["exists"] is False
    assert found["journal"]["writable"] is True
    assert found["journal"]["units"] is None
    assert found["missing"] == []
    assert found["boot_identity"]


@pytest.mark.usefixtures("on_a_laptop")
def test_the_units_of_the_journal_are_named(home):
    with Journal.open() as journal:
        journal.add_unit(Unit(name="shoebox-3"))
    result = CliRunner().invoke(app, ["check", "--json"])
    assert json.loads(result.output)["journal"]["units"] == ["shoebox-3"]


@pytest.mark.usefixtures("on_a_laptop")
def test_a_journal_that_cannot_be_used_is_said_with_exit_code_3(home):
    home.mkdir()
    (home / "journal.sqlite").write_text("this is no journal, but it is long enough to be looked at " * 20)
    result = CliRunner().invoke(app, ["check"])
    assert result.exit_code == 3
    assert "Cannot be used:" in result.output
    assert "Traceback" not in result.output


@pytest.mark.usefixtures("on_a_laptop")
def test_a_place_that_cannot_be_used_is_said_with_exit_code_3(home, monkeypatch):
    home.write_text("a file is in the way")
    monkeypatch.setenv("SUREFOOT_HOME", str(home / "inner"))
    result = CliRunner().invoke(app, ["check", "--json"])
    assert result.exit_code == 3
    assert "not a folder" in json.loads(result.output)["journal"]["trouble"]


def test_through_a_pipe_there_is_no_colour(home):
    done = subprocess.run(
        [sys.executable, "-c", "from surefoot.cli.main import run; run()", "check"],
        capture_output=True,
        text=True,
        env={**os.environ, "SUREFOOT_HOME": str(home)},
        check=True,
        timeout=60,
    )
    assert "\x1b" not in done.stdout
    assert done.stderr == ""
