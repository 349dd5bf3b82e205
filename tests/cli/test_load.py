"""`surefoot load`: the list, and a load tried by itself."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from typing import Any

import pytest

from surefoot.cli.load import _now
from surefoot.guide.loads_here import load_to_try, loads_here
from surefoot.guide.try_load import Look, core_rows, heat_here, try_load
from surefoot.guide.voice import Unattended
from surefoot.rig.loads.catalogue import about
from surefoot.rig.registry import loads
from surefoot.runs import LoadState, Outcome
from surefoot.units import LoadCard, Unit


def surefoot(*arguments: str, tmp_path, **more) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "SUREFOOT_HOME": str(tmp_path), **more}
    command = [sys.executable, "-c", "from surefoot.cli.main import run; run()", *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, env=environment, check=False)


def test_the_list_says_what_every_load_finds(tmp_path):
    done = surefoot("load", "list", tmp_path=tmp_path)
    assert done.returncode == 0
    assert all(len(line) <= 80 for line in done.stdout.splitlines())
    for name in loads():
        assert name in done.stdout
        assert about(name).finds
    told = json.loads(surefoot("load", "list", "--json", tmp_path=tmp_path).stdout)
    assert {one["name"] for one in told} == set(loads())


def test_a_load_is_run_and_a_fault_is_an_answer_of_no(tmp_path):
    done = surefoot("load", "run", "cpu", "--minutes", "0.02", "--json", tmp_path=tmp_path)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert (told["held"], told["outcome"]) == (True, "held")
    done = surefoot("load", "run", "cpu", "-m", "1", tmp_path=tmp_path, SUREFOOT_LOAD_FAULT="flip:0:1")
    assert done.returncode == 1
    assert "a self-check caught a wrong result" in done.stdout
    assert "processor" in done.stdout


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["nonsense"], 2, "there is no load"),
        (["cpu", "-m", "0"], 2, "more than 0 minutes"),
        (["memory", "--per-core"], 2, "one core at a time"),
        (["by-hand"], 2, "done by hand"),
        (["cpu-core-4095"], 2, "no processor 4095"),
    ],
)
def test_what_cannot_be_run_is_said(tmp_path, arguments, code, words):
    done = surefoot("load", "run", *arguments, tmp_path=tmp_path)
    assert done.returncode == code
    assert words in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.skipif(os.name != "posix", reason="POSIX signals")
def test_an_interrupt_ends_it_with_all_its_workers(tmp_path):
    import psutil

    process = subprocess.Popen(
        [sys.executable, "-c", "from surefoot.cli.main import run; run()", "load", "run", "cpu"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "SUREFOOT_HOME": str(tmp_path)},
        # A suite started in the background of a script hands its ignored SIGINT down.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509
    )
    limit = time.monotonic() + 30
    workers: list[psutil.Process] = []
    while not workers and time.monotonic() < limit:
        time.sleep(0.1)
        workers = psutil.Process(process.pid).children()
    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=30)
    assert process.returncode == 130
    assert b"Traceback" not in said
    _, alive = psutil.wait_procs(workers, timeout=10)
    assert not alive


class Session:
    def __init__(self, *states: LoadState) -> None:
        self.states = list(states)

    def poll(self) -> LoadState:
        return self.states.pop(0) if len(self.states) > 1 else self.states[0]

    def stop(self) -> LoadState:
        return self.states[-1]


class Load:
    name = "made up"
    by_hand = False

    def __init__(self, *states: LoadState) -> None:
        self.states = states

    def exercises(self) -> tuple[str, ...]:
        return ("cpu",)

    def start(self, minutes: float) -> Session:
        return Session(*self.states)


RUNNING = LoadState("running", progress=1.0, phase="full")


def tried(*states: LoadState, sample=None, ceilings=None):
    clock = iter(range(1000))
    return try_load(
        Load(*states),
        1.0,
        sample=lambda: dict(sample or {}),
        show=lambda look: None,
        seconds=lambda: float(next(clock)),
        sleep=lambda seconds: None,
        ceilings_celsius=ceilings,
    )


def test_a_ceiling_stops_it_and_is_no_failure_of_the_work():
    found = tried(*[RUNNING] * 20, sample={"cpu.temperature": 96.0}, ceilings={"cpu": 90.0})
    assert (found.held, found.outcome) == (False, Outcome.OVERHEAT)
    assert "96 °C, ceiling 90 °C" in found.message
    assert found.peaks == {"cpu.temperature": 96.0}


def test_a_load_that_verified_nothing_proves_nothing():
    found = tried(RUNNING, LoadState("done", detail={"verified_units": {"processor 0": 0}}))
    assert (found.held, found.outcome) == (False, Outcome.VOID)
    assert tried(RUNNING, LoadState("done", detail={"verified_units": {"processor 0": 4}})).held


def test_each_core_is_shown_with_its_own_sensors_where_it_has_them():
    cores: dict[str, dict[str, Any]] = {
        "processor 3": {"processor": 3, "doing": "matrix", "verified": 1200},
        "graphics device": {"doing": "product"},
    }
    sample = {"cpu.clock.core-3": 4100.0, "cpu.temperature": 70.0, "gpu.temperature": 60.0}
    cpu, gpu = core_rows(cores, sample)
    assert (cpu.mhz, cpu.celsius) == (4100.0, 70.0)
    assert (gpu.mhz, gpu.celsius) == (None, 60.0)


def test_the_live_table_fits_eighty_columns_and_a_low_window():
    from rich.console import Console

    cores = {f"memory worker on processor {n}": {"processor": n, "doing": "compression"} for n in range(64)}
    look = Look(61.0, 600.0, "all processors at full load, every kind of work", 5.0, core_rows(cores, {}), {})
    console = Console(width=80, height=24, record=True, file=open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
    console.print(_now(look, 10))
    lines = console.export_text().splitlines()
    assert len(lines) == 13
    assert all(len(line) <= 80 for line in lines)
    assert lines[0].startswith("1:01 of 10:00")
    assert lines[-1] == "and 54 more"


def test_heat_is_the_highest_of_the_runs_that_were_kept():
    assert heat_here({"cpu": [{"cpu.temperature": 80.0}, {"cpu.temperature": 91.0, "gpu.temperature": 40.0}]}) == {
        "cpu": {"cpu.temperature": 91.0, "gpu.temperature": 40.0}
    }


def test_a_units_own_loads_are_listed_by_what_finds_their_failures():
    own = LoadCard(name="render", command=("x",), error_lines=("BAD",), pass_minutes=3)
    unit = Unit(name="bench", loads=(own, LoadCard(name="game", instructions="Play the second level.")))
    found = {one.name: one for one in loads_here(unit, None)}
    assert (
        found["render"].finds
        == "what your command finds, by its exit code, lines that mean an error, passes over 3 min"
    )
    assert found["game"].finds == "Play the second level."
    assert load_to_try("cpu", None, True, Unattended()).name == "cpu-per-core"
