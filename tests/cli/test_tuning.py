"""tune, next, recall, log and measure as a user meets them: real processes, a real journal, the built-in load."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from confirming import confirm_in
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
apply = [{python}, "-c", "import sys; open(sys.argv[1], 'w').write(sys.argv[2])", {store}, "{{cpu-core}}"]
read_back = [{python}, "-c", "import sys; print(open(sys.argv[1]).read())", {store}]
"""


class Bench:
    """A home of its own with one unit whose hands write a number into a file."""

    def __init__(self, home: Path) -> None:
        self.home = home
        self.store = home / "offset"
        card = home / "card.toml"
        card.write_text(CARD.format(python=json.dumps(sys.executable), store=json.dumps(str(self.store))))
        self.run("unit", "add", "bench", "--from", str(card))
        confirm_in(home, read_card(card, "bench"))

    def command(self, *arguments: str) -> list[str]:
        return [sys.executable, "-c", "from surefoot.cli.main import run; run()", *arguments]

    @property
    def environment(self) -> dict[str, str]:
        return {**os.environ, "SUREFOOT_HOME": str(self.home), "NO_COLOR": "1", "COLUMNS": "80"}

    def run(self, *arguments: str, code: int = 0) -> subprocess.CompletedProcess[str]:
        done = subprocess.run(
            self.command(*arguments),
            capture_output=True,
            text=True,
            check=False,
            env=self.environment,
            stdin=subprocess.DEVNULL,
            timeout=120,
        )
        assert done.returncode == code, done.stdout + done.stderr
        assert "Traceback" not in done.stderr
        return done

    def held(self, *depths: int) -> None:
        for depth in depths:
            self.run("log", "bench", "--set", f"cpu-core=-{depth}", "--minutes", "20", "--outcome", "held")


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def test_measuring_with_the_built_in_load_records_real_checked_work(bench: Bench) -> None:
    bench.run("measure", "bench", "--minutes", "0.1", "--unattended", "--load", "cpu")
    (run,) = json.loads(bench.run("runs", "bench", "--json").stdout)
    assert run["outcome"] == "held"
    scores = bench.run("runs", "bench", "--run", str(run["id"])).stdout
    assert "verified" in scores
    assert bench.store.read_text() == "0", "command hands were told to be at stock"


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGHUP])
def test_every_stopping_signal_voids_the_run_and_returns_to_stock(bench: Bench, number: int) -> None:
    bench.held(0, 20)
    child = subprocess.Popen(
        bench.command("measure", "bench", "--set", "cpu-core=-40", "--minutes", "5", "--unattended", "--i-agree"),
        env=bench.environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        # A suite under `nohup` hands its ignored SIGHUP down; what ignores it is right to go on.
        preexec_fn=lambda: signal.signal(number, signal.SIG_DFL),  # noqa: PLW1509
    )
    deadline = time.monotonic() + 60
    while not (bench.store.exists() and bench.store.read_text() == "-40"):
        assert time.monotonic() < deadline and child.poll() is None, child.communicate()[0]
        time.sleep(0.1)
    time.sleep(2)
    child.send_signal(number)
    try:
        output, _ = child.communicate(timeout=60)
    finally:
        child.kill()
    assert child.returncode == 130, output  # 128 + SIGINT, the shell convention
    assert "Traceback" not in output
    assert "The unit is at stock." in output
    assert bench.store.read_text() == "0"
    run = json.loads(bench.run("runs", "bench", "--json").stdout)[-1]
    assert run["outcome"] == "void"


def test_a_second_session_is_refused_with_who_holds_the_unit(bench: Bench) -> None:
    child = subprocess.Popen(
        bench.command("measure", "bench", "--minutes", "5", "--unattended"),
        env=bench.environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        deadline = time.monotonic() + 60
        while not json.loads(bench.run("runs", "bench", "--json").stdout):
            assert time.monotonic() < deadline
            time.sleep(0.2)
        done = bench.run("tune", "bench", "--unattended", "--i-agree", code=3)
        assert str(child.pid) in done.stderr
    finally:
        child.terminate()
        child.wait(timeout=60)


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
    runs = json.loads(bench.run("runs", "bench", "--json").stdout)
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
    assert json.loads(bench.run("runs", "bench", "--json").stdout) == []
    assert not bench.store.exists()


def test_a_kill_leaves_a_record_and_the_next_verb_with_hands_puts_it_right(bench: Bench) -> None:
    bench.held(0, 20)
    child = subprocess.Popen(
        bench.command("measure", "bench", "--set", "cpu-core=-40", "--minutes", "5", "--unattended", "--i-agree"),
        env={**bench.environment, "SUREFOOT_REHEARSE_BOOT": "first"},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    deadline = time.monotonic() + 60
    while not (bench.store.exists() and bench.store.read_text() == "-40"):
        assert time.monotonic() < deadline and child.poll() is None
        time.sleep(0.1)
    time.sleep(1)
    child.kill()
    child.wait()
    report = bench.home / "guardian.jsonl"
    while not report.exists():
        assert time.monotonic() < deadline, "the guardian puts it back"
        time.sleep(0.1)
    assert bench.store.read_text() == "0"
    told = " ".join(bench.run("recall", "bench", code=1).stdout.split())
    assert "was never closed" in told and "the guardian put the unit back to stock" in told
    # A rehearsed reboot: the same journal under another boot.
    bench.home.joinpath("boot").write_text("second")
    done = subprocess.run(
        bench.command("measure", "bench", "--minutes", "0.1", "--unattended"),
        env={**bench.environment, "SUREFOOT_REHEARSE_BOOT": "second"},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    assert "may still be applied: back to stock first" in " ".join(done.stdout.split())
    assert bench.store.read_text() == "0"
    runs = json.loads(bench.run("runs", "bench", "--json").stdout)
    assert [run["outcome"] for run in runs[-2:]] == ["reset", "held"]
    assert "applied" not in bench.run("recall", "bench", code=1).stdout


def test_the_stride_holds_for_measure_and_nothing_is_written(bench: Bench) -> None:
    bench.held(0, 20)
    done = bench.run(
        "measure", "bench", "--set", "cpu-core=-120", "--minutes", "0.1", "--unattended", "--i-agree", code=2
    )
    assert "the deepest that held" in " ".join(done.stderr.split())
    assert not bench.store.exists() and len(json.loads(bench.run("runs", "bench", "--json").stdout)) == 2


def test_the_card_to_practise_with_changes_nothing_but_a_file(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    card = Path(__file__).parents[2] / "examples" / "nothing-changes.toml"
    monkeypatch.chdir(bench.home)
    bench.run("unit", "add", "practice", "--from", str(card))
    bench.run("measure", "practice", "--minutes", "0.1", "--unattended", code=2)
    assert not (bench.home / "offset.txt").exists(), "not confirmed, not run"
    code = json.loads(bench.run("unit", "commands", "practice", "--json").stdout)["code"]
    bench.run("unit", "confirm", "practice", "--code", code)
    assert json.loads(bench.run("next", "practice", "--json").stdout)["minutes"] <= 5
    bench.run("measure", "practice", "--minutes", "0.1", "--unattended")
    assert (bench.home / "offset.txt").read_text() == "0"
