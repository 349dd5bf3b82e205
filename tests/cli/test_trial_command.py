"""`surefoot trial` as a user meets it: each option, wrong arguments, a kill in the middle of a run, the day after."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from score_terminal import Terminal

from confirming import confirm_in
from surefoot.guide import trial as guide
from surefoot.journal import Journal
from surefoot.journal.card_file import read_card
from surefoot.rehearsal.machine import VirtualMachine
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.rig.registry import make_load
from surefoot.units import Knob, Unit

UNIT = Unit(
    name="bench-a",
    knobs=(Knob("cpu-core", "cpu", "mV", "down", 5, 150),),
    firmware="F-1",
    ceilings_celsius={"cpu": 95},
    power_mode="usual",
)
THREE = ("--of", "stock", "--of", "cpu-core=-20", "--of", "cpu-core=-40")
SHORT = ("--minutes", "2", "--load", "cpu", "--i-agree", "--unattended")


@pytest.fixture
def machine() -> VirtualMachine:
    return VirtualMachine(UNIT, {"cpu-core": VirtualUnit(110, 5)}, seed=1)


@pytest.fixture
def surefoot(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path, machine: VirtualMachine
) -> Terminal:
    """A terminal beside a virtual machine that held at stock, 20 and 40 mV."""
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path / "home"))
    monkeypatch.setattr(guide, "machine_for", lambda unit: machine)
    virtual = machine.load

    def known(name: str, unit: Unit) -> object:
        make_load(name, unit)
        return virtual(name, unit)

    monkeypatch.setattr(machine, "load", known)
    with Journal.open() as journal:
        journal.add_unit(UNIT)
    terminal = Terminal(monkeypatch, capsys)
    for depth in (0, 20, 40):
        held = ("--set", f"cpu-core=-{depth}", "--minutes", "20", "--outcome", "held")
        assert terminal("log", "bench-a", *held) == 0, terminal.err
    return terminal


def runs_of(name: str = "bench-a") -> list[tuple[int, int, float]]:
    """Block, position and setting of the runs of trials, in the order made."""
    with Journal.open() as journal:
        return [
            (run.plan.place.block, run.plan.place.position, run.plan.setting.value("cpu-core"))
            for run in journal.runs(name)
            if run.plan.place is not None and run.closing is not None
        ]


def test_a_whole_trial_is_planned_run_and_compared(surefoot: Terminal, machine: VirtualMachine) -> None:
    found = surefoot.json("trial", "bench-a", *THREE, "--repeats", "2", "--seed", "7", "--ambient", "22.5", *SHORT)
    assert found["ended"] == "every block is in" and found["next"] is None and found["blocks_done"] == 2
    assert len(found["runs"]) == 6 and found["plan"]["seed"] == 7 and found["plan"]["minutes"] == 2
    assert found["plan"]["load"] == "cpu" and [arm["name"] for arm in found["plan"]["arms"]] == list(THREE[1::2])
    depths = [0.0, -20.0, -40.0]
    turns = [(turn["block"], turn["position"], depths[turn["configuration"]]) for turn in found["order"]]
    assert runs_of() == turns
    with Journal.open() as journal:
        done = [run for run in journal.runs("bench-a") if run.plan.place is not None]
    assert {run.plan.conditions.ambient_celsius for run in done} == {22.5} and machine.setting.is_stock
    assert surefoot("compare", "bench-a") == 0
    assert "Taken in 2 randomised blocks" in surefoot.words


def test_a_seed_gives_the_same_order_and_the_plan_alone_writes_nothing(surefoot: Terminal) -> None:
    plan = ("trial", "bench-a", *THREE, "--repeats", "4", "--plan-only")
    one, same, other = (surefoot.json(*plan, "--seed", seed)["planned"]["plan"] for seed in ("7", "7", "8"))
    assert one == same and other["seed"] == 8 and one["minutes"] == 15 and one["blocks"] == 4
    assert surefoot(*plan, "--seed", "7") == 0
    first = surefoot.out
    assert surefoot(*plan, "--seed", "8") == 0 and surefoot.out != first and "block 4:" in first
    assert runs_of() == []
    assert surefoot("trial", "bench-a", "--status") == 1 and "no trial" in surefoot.err
    # Without a seed one is drawn.
    drawn = {surefoot.json(*plan)["planned"]["plan"]["seed"] for _ in range(4)}
    assert len(drawn) > 1


def test_to_see_plans_the_blocks_and_repeats_bounds_them(surefoot: Terminal) -> None:
    plan = ("trial", "bench-a", *THREE, "--plan-only", "--to-see")
    found = surefoot.json(*plan, "2%")["planned"]
    assert found["plan"]["early"] and found["plan"]["to_see"] == 2
    assert found["power"]["chance"] >= 0.8 and found["power"]["blocks"] == found["plan"]["blocks"]
    assert surefoot.json(*plan, "0.04")["planned"]["plan"]["blocks"] < found["plan"]["blocks"]
    bound = surefoot.json(*plan, "1%", "--repeats", "4")["planned"]
    assert bound["plan"]["blocks"] == 4 and bound["power"]["chance"] < 0.8
    assert surefoot(*plan, "2%") == 0 and "with a chance of" in surefoot.words and "assumed" in surefoot.words
    assert surefoot(*plan, "0.05%") == 2 and "cannot be seen" in surefoot.err


def test_it_goes_on_the_day_after_and_says_what_comes(surefoot: Terminal, machine: VirtualMachine) -> None:
    assert surefoot("trial", "bench-a", *THREE, "--repeats", "2", "--seed", "3", "--runs", "2", *SHORT) == 0
    assert len(runs_of()) == 2
    assert surefoot("trial", "bench-a", "--status") == 0
    assert "block 1 of 2, run 3 of 3" in surefoot.words and "4 runs to go" in surefoot.words
    before = surefoot.json("trial", "bench-a", "--status")
    machine.sleep(24 * 3600)
    machine.restart()
    assert surefoot("trial", "bench-a", "--runs", "1", "--unattended", "--i-agree") == 0
    after = surefoot.json("trial", "bench-a", "--status")
    assert len(after["runs"]) == 3 and after["order"] == before["order"] and after["next"]["block"] == 2
    # A night is no part of how long a run takes.
    assert after["minutes_left"] < 3 * 10
    assert surefoot("trial", "bench-a", "--unattended", "--i-agree") == 0
    assert "no run is to come" in surefoot.words and len(runs_of()) == 6
    assert surefoot("trial", "bench-a", "--unattended", "--i-agree") == 1 and "Begin another" in surefoot.err


def test_another_is_begun_only_once_the_first_has_ended(surefoot: Terminal) -> None:
    assert surefoot("trial", "bench-a", *THREE, "--repeats", "2", "--runs", "1", *SHORT) == 0
    assert surefoot("trial", "bench-a", *THREE, "--repeats", "2", *SHORT) == 2
    assert "goes on" in surefoot.err and "--end" in surefoot.err
    ended = surefoot.json("trial", "bench-a", "--end")
    assert ended["ended"] == "ended by the user after 0 complete blocks" and ended["next"] is None
    assert surefoot("trial", "bench-a", "--end") == 1
    assert surefoot.json("trial", "bench-a", *THREE, "--repeats", "2", "--runs", "1", *SHORT)["trial"] == 2


def test_instruments_and_hands_are_refused_where_nobody_is(surefoot: Terminal) -> None:
    two = ("--of", "stock", "--of", "cpu-core=-20", "--repeats", "2")
    assert surefoot("trial", "bench-a", *two, "--reading", "sound:ear", *SHORT) == 3
    assert "instruments" in surefoot.err
    modes = ("--of", "stock,mode=quiet", "--of", "stock,mode=fast", "--repeats", "2")
    assert surefoot("trial", "bench-a", *modes, *SHORT) == 3 and "power mode" in surefoot.err
    # Neither was begun.
    assert surefoot("trial", "bench-a", "--status") == 1
    plan = surefoot.json("trial", "bench-a", *modes, "--reading", "surface:lid", "--metric", "render", "--plan-only")
    assert plan["planned"]["plan"]["readings"] == [{"kind": "surface", "place": "lid"}]
    assert plan["planned"]["plan"]["metric"] == "render"


WRONG = {
    "no such unit": (("trial", "bench-z", *THREE), 2, "bench-z"),
    "one configuration": (("trial", "bench-a", "--of", "stock"), 2, "two configurations"),
    "the same twice": (("trial", "bench-a", "--of", "stock", "--of", "stock"), 2, "twice"),
    "no configuration": (("trial", "bench-a", "--of", "stock", "--of", "elsewhere"), 2, "elsewhere"),
    "no number": (("trial", "bench-a", "--of", "stock", "--of", "cpu-core=deep"), 2, "deep"),
    "past the card's limit": (("trial", "bench-a", "--of", "stock", "--of", "cpu-core=-500", *SHORT), 2, "limit"),
    "a voltage above stock": (("trial", "bench-a", "--of", "stock", "--of", "cpu-core=20", *SHORT), 2, "cpu-core"),
    "no share": (("trial", "bench-a", *THREE, "--to-see", "much"), 2, "--to-see"),
    "one block": (("trial", "bench-a", *THREE, "--repeats", "1"), 2, "--repeats"),
    "no length": (("trial", "bench-a", *THREE, "--minutes", "0"), 2, "--minutes"),
    "no instrument": (("trial", "bench-a", *THREE, "--reading", "scent"), 2, "scent"),
    "no load": (("trial", "bench-a", *THREE, "--load", "nonesuch", "--i-agree", "--unattended"), 2, "nonesuch"),
    "no room": (("trial", "bench-a", *THREE, "--ambient", "900", *SHORT), 2, "ambient"),
    "no trial to go on with": (("trial", "bench-a"), 1, "no trial"),
    "no trial to end": (("trial", "bench-a", "--end"), 1, "no trial"),
}


@pytest.mark.parametrize("which", WRONG)
def test_wrong_arguments_are_told_and_begin_nothing(surefoot: Terminal, which: str) -> None:
    arguments, code, word = WRONG[which]
    assert surefoot(*arguments) == code
    assert word in " ".join(surefoot.err.split()) and "Traceback" not in surefoot.err
    with Journal.open() as journal:
        assert journal.trials("bench-a") == []


CARD = """
firmware = "F-1"
[[knobs]]
name = "cpu-core"
domain = "cpu"
unit = "mV"
toward = "down"
step = 5
limit = 150
[hands]
kind = "command"
apply = [{python}, "-c", "import sys; open(sys.argv[1], 'w').write(sys.argv[2])", {store}, "{{cpu-core}}"]
read_back = [{python}, "-c", "import sys; print(open(sys.argv[1]).read())", {store}]
[[loads]]
name = "naps"
command = [{python}, "-c", "import time; time.sleep(60)"]
exercises = ["cpu"]
ok_exit = [0]
"""


@pytest.mark.long
def test_a_kill_in_the_middle_of_a_run_loses_that_run_alone(tmp_path: Path) -> None:
    store = tmp_path / "offset"
    card = tmp_path / "card.toml"
    card.write_text(CARD.format(python=json.dumps(sys.executable), store=json.dumps(str(store))))
    environment = {**os.environ, "SUREFOOT_HOME": str(tmp_path / "home"), "NO_COLOR": "1"}

    def surefoot(*arguments: str) -> list[str]:
        return [sys.executable, "-c", "from surefoot.cli.main import run; run()", *arguments]

    def run(*arguments: str) -> str:
        done = subprocess.run(
            surefoot(*arguments), capture_output=True, text=True, check=False, env=environment, stdin=subprocess.DEVNULL
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    run("unit", "add", "bench", "--from", str(card))
    confirm_in(tmp_path / "home", read_card(card, "bench"))
    for depth in ("0", "20"):
        run("log", "bench", "--set", f"cpu-core=-{depth}", "--minutes", "20", "--outcome", "held")
    plan = ("--of", "stock", "--of", "cpu-core=-20", "--repeats", "2", "--seed", "1", "--minutes", "0.1")
    child = subprocess.Popen(
        surefoot("trial", "bench", *plan, "--load", "naps", "--i-agree", "--unattended"),
        env=environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    deadline = time.monotonic() + 60
    while len(told := json.loads(run("runs", "bench", "--json"))) < 4:
        assert time.monotonic() < deadline and child.poll() is None
        time.sleep(0.5)
    child.send_signal(signal.SIGKILL)
    child.wait()
    kept = told[2]
    run("trial", "bench", "--runs", "1", "--i-agree", "--unattended")
    state = json.loads(run("trial", "bench", "--status", "--json"))
    after = json.loads(run("runs", "bench", "--json"))
    assert [one["outcome"] for one in after[2:]] == ["held", "void", "held"]
    # The run that was cut off was made again at its own place, and the first one stands.
    assert state["runs"] == {"1.1": kept["id"], "1.2": after[-1]["id"]} and state["blocks_done"] == 1
    assert store.read_text() == "0"
