"""tune, next, recall, log and measure as a user meets them: a real journal, hands that are commands, real loads.

What is said and kept is looked at in this process; what signals, kills and a second session do, in processes of
their own.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from score_terminal import Terminal

from confirming import confirm_in
from surefoot.journal import Journal
from surefoot.journal.card_file import read_card

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
apply = [{python}, "-I", "-S", "-c", "import sys; open(sys.argv[1], 'w').write(sys.argv[2])", "offset", "{{cpu-core}}"]
read_back = [{python}, "-I", "-S", "-c", "print(open('offset').read())"]
[[loads]]
name = "idler"
command = [{python}, "-I", "-S", "-c", "import time; time.sleep(3600)"]
exercises = ["cpu"]
"""


@dataclass(frozen=True)
class Done:
    """A command that has ended."""

    stdout: str
    stderr: str


class Bench:
    """A home of its own with one unit whose hands write a number into a file of the folder that all is done in."""

    def __init__(self, home: Path, terminal: Terminal) -> None:
        self.home = home
        self.store = home / "offset"
        self.terminal = terminal

    def start(self, *arguments: str, **more: str) -> subprocess.Popen[str]:
        """A process of its own, to be stopped or killed."""
        return subprocess.Popen(
            [sys.executable, "-c", "from surefoot.cli.main import run; run()", *arguments],
            env={**os.environ, **more},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            # A suite under `nohup` hands its ignored SIGHUP down; what ignores it is right to go on.
            preexec_fn=_heed_signals,  # noqa: PLW1509
        )

    def run(self, *arguments: str, code: int = 0) -> Done:
        got = self.terminal(*arguments)
        assert got == code, self.terminal.out + self.terminal.err
        return Done(self.terminal.out, self.terminal.err)

    def held(self, *depths: int) -> None:
        for depth in depths:
            self.run("log", "bench", "--set", f"cpu-core=-{depth}", "--minutes", "20", "--outcome", "held")

    def runs(self) -> list[dict]:
        return list(json.loads(self.run("runs", "bench", "--json").stdout))


def _heed_signals() -> None:
    for number in (signal.SIGINT, signal.SIGHUP):
        signal.signal(number, signal.SIG_DFL)


def wait_until(so: Callable[[], bool], child: subprocess.Popen[str] | None = None) -> None:
    deadline = time.monotonic() + 60
    while not so():
        assert time.monotonic() < deadline and (child is None or child.poll() is None)
        time.sleep(0.05)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The home with its unit, made once; each test gets a copy."""
    home = tmp_path_factory.mktemp("bench")
    card = home / "card.toml"
    card.write_text(CARD.format(python=json.dumps(sys.executable)))
    with Journal.open(home / "journal.sqlite") as journal:
        journal.add_unit(read_card(card, "bench"))
    confirm_in(home, read_card(card, "bench"))
    return home


@pytest.fixture
def bench(
    made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Iterator[Bench]:
    home = tmp_path / "home"
    shutil.copytree(made, home)
    monkeypatch.chdir(home)
    for name, value in {"SUREFOOT_HOME": str(home), "NO_COLOR": "1", "COLUMNS": "80"}.items():
        monkeypatch.setenv(name, value)
    with open(os.devnull, encoding="ascii") as nothing:
        monkeypatch.setattr("sys.stdin", nothing)
        yield Bench(home, Terminal(monkeypatch, capsys))


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGHUP])
def test_every_stopping_signal_voids_the_run_and_returns_to_stock(bench: Bench, number: int) -> None:
    bench.held(0, 20)
    child = bench.start(
        "measure", "bench", "--set", "cpu-core=-40", "--minutes", "5", "--unattended", "--i-agree", "--load", "idler"
    )
    wait_until(lambda: bench.store.exists() and bench.store.read_text() == "-40", child)
    time.sleep(0.3)
    child.send_signal(number)
    try:
        output, _ = child.communicate(timeout=60)
    finally:
        child.kill()
    assert child.returncode == 130, output  # 128 + SIGINT, the shell convention
    assert "Traceback" not in output
    assert "The unit is at stock." in output
    assert bench.store.read_text() == "0"
    assert bench.runs()[-1]["outcome"] == "void"


def test_a_second_session_is_refused_with_who_holds_the_unit(bench: Bench) -> None:
    child = bench.start("measure", "bench", "--minutes", "5", "--unattended", "--load", "idler")
    try:
        wait_until(lambda: bool(bench.runs()), child)
        done = bench.run("tune", "bench", "--unattended", "--i-agree", code=3)
        assert str(child.pid) in done.stderr
    finally:
        child.terminate()
        child.communicate(timeout=60)


def test_nothing_known_is_exit_one_and_stock(bench: Bench) -> None:
    done = bench.run("recall", "bench", code=1)
    assert "stock" in done.stdout.lower()
    assert json.loads(bench.run("recall", "bench", "--json", code=1).stdout)["setting"] == {}
    assert json.loads(bench.run("next", "bench", "--json").stdout)["setting"] == {}


def test_logged_runs_are_evidence(bench: Bench) -> None:
    for depth, minutes in ((0, 20), (20, 20), (40, 20), (60, 60), (80, 60)):
        bench.run("log", "bench", "--set", f"cpu-core=-{depth}", "--minutes", str(minutes), "--outcome", "held")
    bench.run("log", "bench", "--set", "cpu-core=95", "--minutes", "1", "--outcome", "crash")
    bench.run("log", "bench", "--set", "cpu-core=70", "--minutes", "300", "--outcome", "held")
    answer = json.loads(bench.run("recall", "bench", "--json").stdout)
    assert -70 <= answer["setting"]["cpu-core"] <= -20
    bench.run("recall", "bench", "--apply", code=130)
    assert not bench.store.exists(), "nobody agreed"
    bench.run("recall", "bench", "--apply", "--unattended", "--i-agree")
    assert bench.store.read_text() == f"{answer['setting']['cpu-core']:g}"
    why = bench.run("next", "bench", "--why").stdout
    assert max(len(line) for line in why.splitlines()) <= 80


def test_a_hand_kept_table(bench: Bench, tmp_path: Path) -> None:
    table = tmp_path / "runs.csv"
    table.write_text("Date;Core offset mV;Minutes;Result\n2026-03-01;50;30;pass\n2026-03-02;80;15;crash\n")
    done = bench.run("log", "bench", "--from", str(table), "--yes", "--json")
    assert len(json.loads(done.stdout)["logged"]) == 2
    runs = bench.runs()
    assert [run["outcome"] for run in runs] == ["held", "reset"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("tune", "nobody", "--unattended"), "nobody"),
        (("tune", "bench", "--unattended", "--i-agree", "--knob", "ghost"), "ghost"),
        (("tune", "bench", "--unattended", "--i-agree", "--strategy", "luck"), "luck"),
        (("tune", "bench", "--unattended", "--i-agree", "--confidence", "2"), "confidence"),
        (("tune", "bench", "--unattended", "--i-agree", "--ambient", "400"), "ambient"),
        (("tune", "bench", "--unattended", "--i-agree", "--load", "nothing"), "nothing"),
        (("measure", "bench", "--set", "cpu-core=+20", "--unattended"), "above stock"),
        (("measure", "bench", "--set", "cpu-core=-500", "--unattended", "--i-agree"), "limit"),
        (("log", "bench", "--minutes", "5"), "--outcome"),
        (("log", "bench", "--outcome", "banana", "--minutes", "5"), "banana"),
        (("log", "bench", "--set", "cpu-core", "--outcome", "held", "--minutes", "5"), "NAME=VALUE"),
        (("log", "bench", "--from", "no-such-file.csv"), "no-such-file.csv"),
        (("recall", "bench", "--confidence", "0.1"), "confidence"),
        (("frobnicate",), "frobnicate"),
    ],
)
def test_bad_input_is_one_message_exit_two_and_changes_nothing(
    bench: Bench, arguments: tuple[str, ...], words: str
) -> None:
    done = bench.run(*arguments, code=2)
    assert words in done.stderr
    assert bench.runs() == []
    assert not bench.store.exists()


def test_a_kill_leaves_a_record_and_the_next_verb_with_hands_puts_it_right(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.held(0, 20)
    child = bench.start(
        *(
            "measure",
            "bench",
            "--set",
            "cpu-core=-40",
            "--minutes",
            "5",
            "--unattended",
            "--i-agree",
            "--load",
            "idler",
        ),
        SUREFOOT_REHEARSE_BOOT="first",
    )
    wait_until(lambda: bench.store.exists() and bench.store.read_text() == "-40", child)
    time.sleep(0.5)
    child.kill()
    child.communicate()
    wait_until((bench.home / "guardian.jsonl").exists)  # it is written once the unit is back
    assert bench.store.read_text() == "0"
    told = " ".join(bench.run("recall", "bench", code=1).stdout.split())
    assert "was never closed" in told and "the guardian put the unit back to stock" in told
    # A rehearsed reboot: the same journal under another boot.
    monkeypatch.setenv("SUREFOOT_REHEARSE_BOOT", "second")
    done = bench.run("measure", "bench", "--minutes", "0.1", "--unattended", "--load", "idler")
    assert "may still be applied: back to stock first" in " ".join(done.stdout.split())
    assert bench.store.read_text() == "0"
    runs = bench.runs()
    assert [run["outcome"] for run in runs[-2:]] == ["reset", "held"]
    assert "applied" not in bench.run("recall", "bench", code=1).stdout


def test_the_stride_holds_for_measure_and_nothing_is_written(bench: Bench) -> None:
    bench.held(0, 20)
    done = bench.run(
        "measure", "bench", "--set", "cpu-core=-120", "--minutes", "0.1", "--unattended", "--i-agree", code=2
    )
    assert "the deepest that held" in " ".join(done.stderr.split())
    assert not bench.store.exists() and len(bench.runs()) == 2


@pytest.mark.asks
def test_the_card_to_practise_with_changes_nothing_but_a_file(bench: Bench) -> None:
    card = Path(__file__).parents[2] / "examples" / "nothing-changes.toml"
    bench.run("unit", "add", "practice", "--from", str(card))
    bench.run("measure", "practice", "--minutes", "0.1", "--unattended", code=2)
    assert not (bench.home / "offset.txt").exists(), "not confirmed, not run"
    code = json.loads(bench.run("unit", "commands", "practice", "--json").stdout)["code"]
    bench.run("unit", "confirm", "practice", "--code", code)
    assert json.loads(bench.run("next", "practice", "--json").stdout)["minutes"] <= 5
    bench.run("measure", "practice", "--minutes", "0.1", "--unattended", "--load", "cpu-heavy")
    assert (bench.home / "offset.txt").read_text() == "0", "hands that are commands were told to be at stock"
    (run,) = json.loads(bench.run("runs", "practice", "--json").stdout)
    assert (run["outcome"], run["load"]) == ("held", "cpu-heavy"), "the built-in load, for real"
    assert "verified" in bench.run("runs", "practice", "--run", str(run["id"])).stdout
