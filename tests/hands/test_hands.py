"""Hands: what is refused, what is run, what is read back."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

import psutil
import pytest

from surefoot.errors import BadInput, MachineError
from surefoot.rig.hands import make_hands
from surefoot.rig.hands.command import CommandHands
from surefoot.rig.hands.guard import agrees, disagreements
from surefoot.units import HandsCard, Knob, Setting, Unit

CORE = Knob("cpu-core", "cpu", "mV", "down", 5, 250)
CLOCK = Knob("gpu-core", "gpu", "MHz", "up", 15, 300)


def unit_with(hands: HandsCard, *knobs: Knob) -> Unit:
    return Unit(name="shoebox-3", knobs=knobs or (CORE, CLOCK), hands=hands)


def store_and_read(tmp_path: Path) -> HandsCard:
    store = tmp_path / "value"
    write = (
        "import sys, pathlib; file, core, clock = sys.argv[1:]; "
        "pathlib.Path(file).write_text('cpu-core %s mV\\ngpu-core=%s\\n' % (core, clock))"
    )
    read = "import sys, pathlib; print(pathlib.Path(sys.argv[1]).read_text())"
    return HandsCard(
        kind="command",
        apply=(sys.executable, "-c", write, str(store), "{cpu-core}", "{gpu-core}"),
        read_back=(sys.executable, "-c", read, str(store)),
    )


def test_command_applies_and_reads_back(tmp_path: Path) -> None:
    unit = unit_with(store_and_read(tmp_path))
    hands = make_hands(unit)
    setting = Setting(values={"cpu-core": -95, "gpu-core": 120})
    assert hands.apply(unit, setting) == setting
    assert hands.apply(unit, Setting()) == Setting()
    assert hands.read_back(unit) == Setting()


def test_nothing_runs_for_a_voltage_above_stock_or_past_the_limit(tmp_path: Path) -> None:
    unit = unit_with(store_and_read(tmp_path))
    hands = make_hands(unit)
    for values in ({"cpu-core": 5.0}, {"cpu-core": -255.0}, {"gpu-core": 301.0}, {"nobody": 1.0}):
        with pytest.raises(BadInput):
            hands.apply(unit, Setting(values=values))
    assert not (tmp_path / "value").exists()


def test_arguments_reach_the_command_without_a_shell(tmp_path: Path) -> None:
    marker = tmp_path / "owned"
    script = "import sys, pathlib; pathlib.Path(sys.argv[1]).write_text(sys.argv[2])"
    card = HandsCard(
        kind="command",
        apply=(sys.executable, "-c", script, str(tmp_path / "seen"), f"{{cpu-core}}; touch {marker}"),
    )
    unit = unit_with(card, CORE)
    assert make_hands(unit).apply(unit, Setting(values={"cpu-core": -10})) is None
    assert (tmp_path / "seen").read_text() == f"-10; touch {marker}"
    assert not marker.exists()


@pytest.mark.parametrize(
    ("code", "words"),
    [("raise SystemExit(4)", "exit code 4"), ("import time; time.sleep(30)", "did not end within")],
)
def test_a_failing_or_slow_command_is_a_machine_error(code: str, words: str) -> None:
    card = HandsCard(kind="command", apply=(sys.executable, "-c", code, "{cpu-core}"), timeout_seconds=0.5)
    if "exit" in words:
        card = card.model_copy(update={"timeout_seconds": 30.0})
    unit = unit_with(card, CORE)
    with pytest.raises(MachineError, match=words):
        make_hands(unit).apply(unit, Setting(values={"cpu-core": -10}))


def test_a_card_without_a_place_for_a_knob_is_refused() -> None:
    with pytest.raises(BadInput, match="no place for gpu-core"):
        make_hands(unit_with(HandsCard(kind="command", apply=("x", "{cpu-core}"))))
    with pytest.raises(BadInput, match="names ghost"):
        make_hands(unit_with(HandsCard(kind="command", apply=("x", "{cpu-core}{ghost}{gpu-core}"))))


def test_read_back_that_cannot_be_understood() -> None:
    card = HandsCard(
        kind="command",
        apply=(sys.executable, "-c", "", "{cpu-core}", "{gpu-core}"),
        read_back=(sys.executable, "-c", "print('fine')"),
    )
    unit = unit_with(card)
    with pytest.raises(MachineError, match="no value for cpu-core"):
        make_hands(unit).apply(unit, Setting())


def test_ask_hands_take_what_the_user_reads() -> None:
    asked: list[str] = []

    def prompt(question: str, default: str) -> str:
        asked.append(question)
        return {0: "ninety", 1: "-90 mV"}.get(len(asked) - 1, default)

    unit = unit_with(HandsCard(), CORE)
    hands = make_hands(unit, prompt=prompt)
    assert hands.apply(unit, Setting(values={"cpu-core": -95})) == Setting(values={"cpu-core": -90})
    assert "-95 mV" in asked[0] and "not a value in mV" in asked[1]


def test_ask_hands_without_anybody_to_ask() -> None:
    with pytest.raises(BadInput, match="nobody"):
        make_hands(unit_with(HandsCard()))


def test_agreement_follows_the_hardware_steps() -> None:
    # Common practice, no source: clock offsets move in the hardware's own steps; ask for 100 and get 90 or 105.
    assert agrees(CLOCK, 100, 90) and agrees(CLOCK, 100, 105) and not agrees(CLOCK, 100, 60)
    assert agrees(CORE, -95, -96) and not agrees(CORE, -95, -90)
    assert not agrees(CLOCK, 15, 0), "an offset of which nothing is left was not applied"
    unit = unit_with(HandsCard())
    assert disagreements(unit, Setting(values={"cpu-core": -95}), Setting()) == [
        "cpu-core should be at -95 mV and reads +0 mV"
    ]


@pytest.mark.skipif(not hasattr(os, "getsid"), reason="no sessions")
def test_commands_do_not_die_with_the_terminal(tmp_path: Path) -> None:
    """Ctrl-C and a hang-up go to all of the terminal's session; the command that goes back to stock is in its own."""
    script = "import os, sys; open(sys.argv[1], 'w').write(str(os.getsid(0)))"
    card = HandsCard(kind="command", apply=(sys.executable, "-c", script, str(tmp_path / "seen"), "{cpu-core}"))
    unit = unit_with(card, CORE)
    make_hands(unit).apply(unit, Setting())
    assert int((tmp_path / "seen").read_text()) != os.getsid(0)


def test_a_hang_ends_with_all_that_it_started(tmp_path: Path) -> None:
    """A child that holds the output open must not keep the way back to stock waiting."""
    left = tmp_path / "left"
    code = (
        "import subprocess, sys, time; "
        "child = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(600)']); "
        f"open({str(left)!r}, 'w').write(str(child.pid)); time.sleep(600)"
    )
    hands = CommandHands(
        unit_with(HandsCard(kind="command", apply=(sys.executable, "-c", code, "{cpu-core}"), timeout_seconds=3), CORE)
    )
    began = time.monotonic()
    with pytest.raises(MachineError, match="did not end within 3 s"):
        hands.apply(unit_with(HandsCard(), CORE), Setting())
    assert time.monotonic() - began < 20
    number, until = int(left.read_text()), time.monotonic() + 10
    while psutil.pid_exists(number) and psutil.Process(number).status() != psutil.STATUS_ZOMBIE:
        assert time.monotonic() < until, "it was told to end, and the system takes a moment"
        time.sleep(0.1)


def test_a_child_left_behind_with_the_output_open_is_not_waited_for() -> None:
    code = "import subprocess, sys; subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(20)']); print(-10)"
    unit = unit_with(
        HandsCard(kind="command", apply=("true", "{cpu-core}"), read_back=(sys.executable, "-c", code)),
        CORE,
    )
    began = time.monotonic()
    assert CommandHands(unit).read_back(unit) == Setting(values={"cpu-core": -10})
    assert time.monotonic() - began < 15


@pytest.mark.parametrize(
    ("prints", "says"),
    [
        (b"\xff\xfe\x00\x80" * 9, "printed no value"),
        (b"\n" * 900_000, "printed no value"),
        (b"cpu-core" + b" " * 900_000 + b"x", "printed no value"),
        (b"x" * 3_000_000, "more than 1 MB"),
        (b"\x1b[2J\x1b]0;owned\x07", "printed no value"),
        (b"-1e999", "no value can be so large"),
    ],
)
def test_rubbish_from_a_read_back_is_refused_at_once_and_in_plain_words(
    tmp_path: Path, prints: bytes, says: str
) -> None:
    (tmp_path / "rubbish").write_bytes(prints)
    unit = unit_with(
        HandsCard(kind="command", apply=("true", "{cpu-core}"), read_back=("cat", str(tmp_path / "rubbish"))),
        CORE,
    )
    began = time.process_time()
    with pytest.raises(MachineError, match=says) as told:
        CommandHands(unit).read_back(unit)
    assert time.process_time() - began < 5
    assert "\x1b" not in told.value.message() and len(told.value.message()) < 600
