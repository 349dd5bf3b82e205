"""`surefoot live` as a user meets it: a real process, hands that write a file, a setting that vanishes, a stop."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from use_bench import CORE, tuned

from confirming import confirm_in
from surefoot.journal import Journal
from surefoot.runs import USE, Outcome, Run
from surefoot.units import HandsCard, Unit


@pytest.fixture
def home(tmp_path: Path) -> Iterator[Path]:
    store = tmp_path / "offset"
    store.write_text("0")
    hands = HandsCard(
        kind="command",
        apply=("/bin/sh", "-c", f'echo "$1" > {store}', "set", "{cpu-core}"),
        read_back=("/bin/cat", str(store)),
    )
    with Journal.open(tmp_path / "journal.sqlite") as journal:
        card = Unit(name="box", knobs=(CORE,), hands=hands)
        journal.add_unit(card)
        confirm_in(tmp_path, card)
        tuned(journal, card)
    yield tmp_path


def command(*arguments: str) -> list[str]:
    return [sys.executable, "-m", "surefoot", "live", "box", *arguments]


def surefoot(home: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "SUREFOOT_HOME": str(home)}
    return subprocess.run(
        command(*arguments), env=environment, capture_output=True, text=True, timeout=120, check=False
    )


def offset(home: Path) -> float:
    return float((home / "offset").read_text() or 0)


def stretches(home: Path) -> list[Run]:
    with Journal.open(home / "journal.sqlite", read_only=True) as journal:
        return [run for run in journal.runs("box") if run.plan.purpose == USE]


def until(home: Path, condition: object, seconds: float = 60) -> None:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():  # type: ignore[operator]
            return
        time.sleep(0.2)
    raise AssertionError("it did not come to that")


def test_it_says_what_it_would_hold_and_changes_nothing(home: Path) -> None:
    told = surefoot(home, "--dry-run", "--json")
    assert told.returncode == 0, told.stderr
    found = json.loads(told.stdout)
    assert found["setting"]["values"]["cpu-core"] < 0 and found["setting"] == found["certified"]
    assert offset(home) == 0 and not stretches(home)
    assert surefoot(home, "--trial", "0.95", "--dry-run").returncode == 2
    assert surefoot(home, "--trial", "0.7", "--careful").returncode == 2
    assert surefoot(home, "--trial", "0.7", "--unattended").returncode == 1, "a trial is agreed to first"


def test_stopped_by_a_signal_it_closes_the_stretch_and_leaves_the_certified_setting(home: Path) -> None:
    environment = {**os.environ, "SUREFOOT_HOME": str(home)}
    watching = subprocess.Popen(
        command("--unattended", "--i-agree"), env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    until(home, lambda: offset(home) < 0 and any(run.applied is not None for run in stretches(home)))
    held = offset(home)
    watching.send_signal(signal.SIGTERM)
    said, wrong = watching.communicate(timeout=60)
    assert watching.returncode == 0, wrong
    (run,) = stretches(home)
    assert run.outcome is Outcome.HELD and run.closing is not None and "stopped by the user" in run.closing.judged_by
    assert offset(home) == held < 0 and f"{held:g} mV" in said
    told = surefoot(home, "--unattended", "--i-agree", "--to-stock", "--minutes", "0.1")
    assert told.returncode == 0 and offset(home) == 0, told.stderr


def test_killed_it_is_back_at_stock_and_the_next_start_goes_on(home: Path) -> None:
    environment = {**os.environ, "SUREFOOT_HOME": str(home)}
    watching = subprocess.Popen(command("--unattended", "--i-agree"), env=environment, stdout=subprocess.DEVNULL)
    until(home, lambda: offset(home) < 0)
    watching.kill()
    watching.wait()
    until(home, lambda: offset(home) == 0)
    assert surefoot(home, "--unattended", "--i-agree", "--to-stock", "--minutes", "0.1").returncode == 0
    first, second = stretches(home)
    assert first.outcome is Outcome.HELD and first.closing is not None and first.closing.detail["recovered"]
    assert second.outcome is Outcome.HELD and offset(home) == 0
