"""A whole session to its certificate from a log that a second process writes, in formats that nobody has seen."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from surefoot.guide.bench import Bench
from surefoot.guide.machine import RealMachine
from surefoot.guide.sensors_from import follow
from surefoot.guide.session import Options, Session, SessionEnd
from surefoot.guide.settle import Settling
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal
from surefoot.runs import LoadState, Outcome
from surefoot.search import Goal
from surefoot.units import Knob, Setting, Unit

LOGGER = Path(__file__).with_name("odd_logger.py")
UNIT = Unit(name="logged", knobs=(Knob("core", "cpu", "mV", "down", 5, 10),), ceilings_celsius={"cpu": 95.0})
CHANNELS = ("cpu.temperature", "cpu.clock", "cpu.power")
TIMES_FASTER = 60.0


class Working:
    """A load that works for as long as it is let."""

    name, by_hand = "working", False

    def exercises(self) -> tuple[str, ...]:
        return ("cpu",)

    def start(self, minutes: float) -> Working:
        return self

    def poll(self) -> LoadState:
        return LoadState("running", 1.0)

    def stop(self) -> LoadState:
        return LoadState("stopped", 1.0)


class Hands:
    """A unit whose setting is kept in memory."""

    kind, can_read_back = "memory", True
    value = Setting()

    def apply(self, unit: Unit, setting: Setting) -> Setting:
        self.value = setting
        return setting

    def read_back(self, unit: Unit) -> Setting:
        return self.value


class Faster(RealMachine):
    """This machine with a minute in each second, and no sensor of its own."""

    def __init__(self, root: Path, more) -> None:
        super().__init__(root, more)
        self._began, self._start = time.monotonic(), datetime.now(UTC)

    def seconds(self) -> float:
        return (time.monotonic() - self._began) * TIMES_FASTER

    def now(self) -> datetime:
        return self._start + timedelta(seconds=self.seconds())

    def sleep(self, seconds: float) -> None:
        time.sleep(seconds / TIMES_FASTER)

    def load(self, name: str, unit: Unit) -> Working:
        return Working()

    def faults_since(self, moment: datetime) -> list:
        return []


class Owner(Unattended):
    """Somebody who knows what the headings mean, and says so when asked."""

    attended = True

    def __init__(self, meant: dict[str, str]) -> None:
        super().__init__()
        self.meant = meant
        self.asked: list[str] = []

    def ask(self, question: str, default: str) -> str:
        if "which channel" not in question:
            return default
        self.asked.append(question)
        return next((channel for name, channel in self.meant.items() if repr(name) in question), "ignore")


@contextmanager
def logging(folder: Path, seed: int, *more: str) -> Iterator[tuple[Path, Path]]:
    log, truth = folder / "log.txt", folder / "truth.jsonl"
    process = subprocess.Popen([sys.executable, str(LOGGER), str(log), str(truth), str(seed), *more])
    try:
        until = time.monotonic() + 20
        while not truth.exists() or truth.read_text().count("\n") < 8:
            assert time.monotonic() < until and process.poll() is None
            time.sleep(0.05)
        yield log, truth
    finally:
        process.kill()
        process.wait()


def tuned(tmp_path: Path, seed: int, *more: str) -> tuple[Journal, SessionEnd, Owner, list[dict[str, float]]]:
    root = tmp_path / "no-sensors"
    root.mkdir()
    journal = Journal.open(tmp_path / "home")
    journal.add_unit(UNIT)
    with logging(tmp_path, seed, *more) as (log, truth):
        owner = Owner(json.loads(truth.read_text().splitlines()[0]))
        sensor = follow(journal, log, owner)
        bench = Bench(journal, UNIT, Faster(root, (sensor,)), owner, given_hands=Hands())
        options = Options(
            goal=Goal(mttf_hours=0.02, effort="quick"), agreed=True, sample_seconds=3.0,
            settling=Settling(at_most_minutes=0), load="working",
        )  # fmt: skip
        end = Session(bench, options).run()
        # What is true of a line is written, whole, before the line is.
        lines = [json.loads(line) for line in truth.read_text().split("\n")[1:-1]]
    return journal, end, owner, lines


def certified(tmp_path: Path, seed: int) -> None:
    journal, end, _, lines = tuned(tmp_path, seed)
    with journal:
        assert end.why == "certified" or end.why == "limit", end
        assert end.known is not None and end.known.setting.value("core") == -10
        assert end.known.certificates["core"].mttf_hours >= 0.02
        runs = journal.runs(UNIT.name)
        assert len(runs) >= 2 and all(run.outcome is Outcome.HELD for run in runs)
        written = {name: np.array([line[name] for line in lines]) for name in CHANNELS}
        for run in runs:
            trace = journal.trace(run.id)
            assert set(CHANNELS) <= set(trace.channels), trace.channels.keys()
            for name in CHANNELS:
                read = trace.channels[name]
                nearest = np.abs(written[name][:, None] - read[None, :]).min(axis=0)
                # As written: three decimals, in a unit of measure of the log's own.
                assert nearest.max() <= 0.02 * (50 if name == "cpu.clock" else 1), (name, read[:3])
            assert len(set(trace.channels["cpu.temperature"])) > 5, "live, and not one value over and over"
            assert run.closing is not None and 53.9 < run.closing.detail["peaks"]["cpu.temperature"] < 63.1


def test_a_session_runs_to_its_certificate_from_a_log_of_a_second_process(tmp_path):
    certified(tmp_path, 11)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(100, 124))
def test_whatever_the_format(tmp_path, seed):
    certified(tmp_path, seed)


def test_the_ceiling_is_judged_by_the_log_and_by_nothing_else(tmp_path):
    journal, end, _, _ = tuned(tmp_path, 12, "60")
    with journal:
        assert end.why == "voids" and end.known is None
        last = journal.runs(UNIT.name)[-1]
        assert last.closing is not None and last.outcome is Outcome.OVERHEAT
        assert "cpu at 115" in last.closing.judged_by


def test_the_columns_are_asked_about_once(tmp_path):
    with Journal.open(tmp_path / "home") as journal, logging(tmp_path, 5) as (log, truth):
        owner = Owner(json.loads(truth.read_text().splitlines()[0]))
        first = follow(journal, log, owner)
        asked = len(owner.asked)
        again = follow(journal, log, owner)
        assert len(owner.asked) == asked and again.channels() == first.channels()
        assert set(CHANNELS) <= set(again.channels())
