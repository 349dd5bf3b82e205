"""Nothing that a user types ends in a traceback: whatever the value, an error of ours or an answer."""

from __future__ import annotations

import contextlib
import functools
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from surefoot.cli.main import app
from surefoot.errors import SurefootError
from surefoot.journal import Journal
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.units import Knob, Setting, Unit

NAME = "workshop-3"
KNOBS = (Knob("cpu-core", "cpu", "mV", "down", 5, 250),)
numbers = st.one_of(
    st.sampled_from(["1e-320", "-1e-320", "5e-324", "1e308", "-1e308", "nan", "inf", "-inf", "0", "-0", "1e999", "٣"]),
    st.floats().map(repr),
    st.integers().map(str),
    st.text(max_size=8).map(lambda text: text.replace("\x00", "")),
)  # fmt: skip
words = st.text(max_size=10).map(lambda text: text.replace("\x00", ""))
few = settings(
    max_examples=int(os.environ.get("SUREFOOT_TYPED", "3")), suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@functools.cache
def ready() -> bytes:
    """A journal with a unit and two runs of two configurations, made once."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "journal.sqlite"
        with Journal.open(path) as journal:
            journal.add_unit(Unit(name=NAME, knobs=KNOBS))
            for value in (0.0, -20.0, 0.0, -20.0):
                plan = RunPlan(
                    unit_name=NAME,
                    setting=Setting(values={"cpu-core": value}),
                    load="cpu",
                    planned_minutes=5,
                    purpose="measure",
                )
                journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=5, judged_by="held"))
        return path.read_bytes()


@contextlib.contextmanager
def home() -> Iterator[None]:
    before = os.environ.get("SUREFOOT_HOME")
    with tempfile.TemporaryDirectory() as folder:
        os.environ["SUREFOOT_HOME"] = folder
        (Path(folder) / "journal.sqlite").write_bytes(ready())
        try:
            yield
        finally:
            os.environ.pop("SUREFOOT_HOME")
            if before is not None:
                os.environ["SUREFOOT_HOME"] = before


def surefoot(*arguments: str, keys: str | None = None) -> None:
    """Run a command; an exception that is not an error of ours, or an exit, comes out of here."""
    result = CliRunner().invoke(app, list(arguments), input=keys)
    if result.exception is not None and not isinstance(result.exception, SurefootError | SystemExit):
        raise result.exception


@few
@given(kind=st.sampled_from(["wall-power", "sound", "surface", "battery"]), value=numbers, background=numbers)
@example(kind="wall-power", value="1e-320", background="0")
def test_reading(kind: str, value: str, background: str) -> None:
    with home():
        for run in range(1, 5):
            surefoot("reading", NAME, kind, f"--run={run}", "--", value)
        surefoot("reading", NAME, kind, f"--background={background}", "--", value)
        surefoot("reading", NAME, kind, "--idle", "--", value)
        surefoot("compare", NAME)


@few
@given(name=words, value=numbers, other=numbers)
@example(name="points", value="1e-320", other="1e308")
@example(name="points", value="5e-324", other="-1e308")
def test_score(name: str, value: str, other: str) -> None:
    with home():
        for run, one in enumerate((value, other, value, other), start=1):
            surefoot("score", NAME, "--sure", f"--run={run}", "--", name, one)
        surefoot("compare", NAME)


@few
@given(value=numbers, minutes=numbers, outcome=words, ambient=numbers, when=words)
@example(value="-1e308", minutes="1e-320", outcome="held", ambient="21", when="")
@example(value="-5", minutes="5", outcome="held", ambient="5e-324", when="2026-03-01")
def test_log(value: str, minutes: str, outcome: str, ambient: str, when: str) -> None:
    with home():
        for sure in ((), ("--sure",)):
            options = (f"--set=cpu-core={value}", f"--minutes={minutes}", f"--ambient={ambient}", *sure)
            surefoot("log", NAME, *options, f"--outcome={outcome}", f"--when={when}")
            surefoot("log", NAME, f"--set=cpu-core={value}", f"--minutes={minutes}", "--outcome=held", *sure)
        surefoot("runs", NAME)
        surefoot("recall", NAME)
        surefoot("runs", "amend", "1", f"--set=cpu-core={value}", f"--minutes={minutes}", "--why=x", "--sure")


@few
@given(name=words, answers=st.lists(numbers, max_size=20))
def test_unit_add(name: str, answers: list[str]) -> None:
    with home(), pytest.MonkeyPatch.context() as patch:
        patch.setattr("surefoot.cli.unit._can_ask", lambda: True)
        lines = [text.replace("\n", " ").replace("\r", " ") for text in answers]
        surefoot("unit", "add", "--", name, keys="\n".join(lines) + "\n")
        surefoot("unit", "list")
