"""`surefoot trace` as a user meets it."""

from __future__ import annotations

import json
import math
import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from surefoot.journal import Journal
from surefoot.runs import Closing, Outcome, RunPlan, Trace
from surefoot.units import Conditions, Knob, Setting, Unit

ROOM, LIMIT, RESISTANCE = 22.0, 53.0, 0.9
Command = Callable[..., subprocess.CompletedProcess[str]]


def made_trace(clock: float, seed: int) -> Trace:
    """A processor at its power limit: 53 W, 0.9 K/W, 10 s and 180 s; the clock gives way as it warms."""
    random = np.random.default_rng(seed)
    t = np.arange(1200.0)
    warm = 1 - 0.4 * np.exp(-t / 10) - 0.6 * np.exp(-t / 180)
    return Trace(
        t,
        {
            "cpu.temperature": np.round(ROOM + LIMIT * RESISTANCE * warm + 0.4 * random.normal(size=t.size)),
            "cpu.power": LIMIT + 0.15 * random.normal(size=t.size),
            "cpu.clock": clock * (1.04 - 0.04 * warm) + 12 * random.normal(size=t.size),
        },
    )


@pytest.fixture
def command(tmp_path: Path) -> Command:
    """A journal with run 1 at stock, run 2 at -80 mV and run 3 without a trace; and how to call the command on it."""
    home = tmp_path / "home"
    unit = Unit(
        name="shoebox-3",
        knobs=(Knob("cpu-core", "cpu", "mV", "down", 5, 250),),
        ceilings_celsius={"cpu": 95},
        power_limits_watts={"cpu": LIMIT},
    )
    environment = {**os.environ, "SUREFOOT_HOME": str(home), "PYTHONIOENCODING": "utf-8"}
    with Journal.open(home / "journal.sqlite") as journal:
        journal.add_unit(unit)
        for offset, clock in ((0, 3600.0), (-80, 3825.0), (-80, None)):
            setting = Setting(values={"cpu-core": offset})
            plan = RunPlan(
                unit_name=unit.name,
                setting=setting,
                load="cpu",
                planned_minutes=20,
                purpose="baseline",
                conditions=Conditions(ambient_celsius=ROOM),
            )
            run = journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=20, judged_by="the test"))
            if clock is not None:
                journal.add_trace(run, made_trace(clock, run))

    def call(*words: str, **changes: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-c", "from surefoot.cli.main import run; run()", "trace", *words],
            capture_output=True,
            text=True,
            encoding="utf-8",
            env={**environment, **changes},
            timeout=120,
            check=False,
        )

    return call


@pytest.fixture
def here(
    command: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Command:
    """The same without a new process: the entry point with the arguments in place."""
    from surefoot.cli.main import run

    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path / "home"))

    def call(*words: str) -> subprocess.CompletedProcess[str]:
        monkeypatch.setattr(sys, "argv", ["surefoot", "trace", *words])
        capsys.readouterr()
        with pytest.raises(SystemExit) as ended:
            run()
        seen = capsys.readouterr()
        code = ended.value.code
        return subprocess.CompletedProcess(words, code if isinstance(code, int) else 0, seen.out, seen.err)

    return call


def test_show_draws_within_eighty_columns_and_without_colour(command: Command) -> None:
    done = command("show", "1")
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert all(len(line) <= 80 for line in lines)
    assert "\x1b" not in done.stdout
    assert "run 1 of shoebox-3: stock, cpu" in lines[0]
    for words in ("cpu.temperature (°C)", "cpu.clock (MHz)", "cpu.power (W)", "20.0 min", "P power"):
        assert words in done.stdout
    plain = command("show", "1", "--plain", "--channel", "cpu.power", "--rows", "3")
    assert plain.stdout.isascii()
    assert "cpu.clock" not in plain.stdout


def test_show_falls_back_to_ascii_where_the_output_has_no_braille(command: Command) -> None:
    done = command("show", "1", PYTHONIOENCODING="ascii")
    assert done.returncode == 0, done.stderr
    assert done.stdout.isascii()


def test_show_json_holds_the_samples(here: Command) -> None:
    shown = json.loads(here("show", "1", "--json", "--channel", "cpu.power").stdout)
    assert list(shown["channels"]) == ["cpu.power"]
    assert len(shown["channels"]["cpu.power"]) == len(shown["seconds"]) == 1200


def test_explain_says_limit_end_and_resistance(here: Command) -> None:
    done = here("explain", "1")
    assert done.returncode == 0, done.stderr
    assert all(len(line) <= 80 for line in done.stdout.splitlines())
    for words in ("held by power", "settled", "thermal resistance", "Not told"):
        assert words in done.stdout
    told = float(re.findall(r"([\d.]+) K/W", done.stdout)[0])
    assert told == pytest.approx(0.90, abs=0.03)
    said = json.loads(here("explain", "1", "--json").stdout)
    cpu = said["domains"]["cpu"]
    assert cpu["limiter"]["main"] == "power"
    assert cpu["limiter"]["shares"]["power"] > 0.9
    assert math.isclose(cpu["resistance"]["kelvin_per_watt"], RESISTANCE, rel_tol=0.03)
    assert cpu["steady"]["reached"] is True


def test_a_forecast_is_kept_and_judged(here: Command) -> None:
    made = json.loads(here("forecast", "1", "--offset-mv", "-80", "--json").stdout)
    assert made["offset_mv"] == -80
    clock = made["forecast"]["clock_mhz"]
    assert clock["low"] > 3600
    # The order of the forecast is what V squared f gives by hand: at one power a gain of 4 to 10 %.
    assert 1.04 < clock["value"] / clock["before"] < 1.10
    judged = json.loads(here("judge", "1", "2", "--json").stdout)
    assert judged["made"] == "before"
    assert judged["notes"] == []
    clock_verdict = judged["verdict"]["quantities"][2]
    assert clock_verdict["quantity"] == "clock"
    assert clock_verdict["measured"] == pytest.approx(3825, rel=0.01)
    assert clock_verdict["inside"] is True
    shown = here("judge", "1", "2").stdout
    assert "recorded before the change" in shown
    assert "inside" in shown


def test_judging_without_a_record_says_so(here: Command) -> None:
    done = here("judge", "1", "2")
    assert done.returncode == 0, done.stderr
    assert "none was recorded" in done.stdout


def test_a_forecast_on_the_terminal_states_the_voltage(here: Command) -> None:
    done = here("forecast", "1", "--ambient", "30", "--cooling-factor", "0.9")
    assert done.returncode == 0, done.stderr
    assert "1.05 ± 0.08 V assumed" in done.stdout
    assert all(len(line) <= 80 for line in done.stdout.splitlines())


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (("show", "99"), "no run 99"),
        (("explain", "3"), "has no sensor trace"),
        (("show", "1", "--channel", "gpu.clock"), "no channel 'gpu.clock'"),
        (("show", "1", "--channel", "nonsense"), "not a channel"),
        (("forecast", "1"), "nothing is asked"),
        (("forecast", "1", "--offset-mv", "20"), "above stock"),
        (("forecast", "1", "--offset-mv", "-80", "--domain", "disk"), "'disk'"),
        (("forecast", "1", "--offset-mv", "-80", "--domain", "gpu"), "power and temperature of the gpu"),
        (("forecast", "1", "--power-limit", "-5"), "power limit"),
        (("forecast", "1", "--ambient", "nan"), "room"),
        (("judge", "1", "3"), "has no sensor trace"),
    ],
)
def test_bad_input_is_one_clear_message(here: Command, words: tuple[str, ...], what: str) -> None:
    done = here(*words)
    assert done.returncode == 2
    assert what in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_compare_puts_two_traces_side_by_side(here: Command) -> None:
    done = here("compare", "1", "2", "--plain")
    assert done.returncode == 0, done.stderr
    assert all(len(line.rstrip()) <= 80 for line in done.stdout.splitlines())
    for words in ("A: run 1", "B: run 2", "cpu.clock, mean, MHz", "+22", "a: run A   b: run B   #: both"):
        assert words in done.stdout
    found = json.loads(here("compare", "1", "2", "--json").stdout)
    rows = {row["name"]: row for row in found["differences"]}
    clock = rows["cpu.clock, mean"]
    assert clock["difference"] == pytest.approx(clock["other"] - clock["one"])
    assert clock["low"] <= clock["difference"] <= clock["high"]
    assert clock["clear"]
    same = json.loads(here("compare", "1", "1", "--json").stdout)
    assert all(row["difference"] == 0 for row in same["differences"])
    assert not any(row["clear"] for row in same["differences"])


def test_compare_says_what_is_missing(here: Command) -> None:
    assert "has no sensor trace" in here("compare", "1", "3").stderr
    wrong = here("compare", "1", "2", "--channel", "gpu.power")
    assert wrong.returncode == 2
    assert "in common" in wrong.stderr
