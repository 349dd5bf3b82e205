"""The helper with the administrator's rights: four verbs, every value bounded, and back to stock when its pipe ends."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from elevated_client import UNIT
from elevated_tree import SOURCE

from surefoot.errors import BadInput, MachineError
from surefoot.guide.bench import Bench
from surefoot.guide.machine import RealMachine
from surefoot.guide.stock import to_stock
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal
from surefoot.journal.card_file import card_of_text, card_text
from surefoot.rig.elevated import kept as kept_module
from surefoot.rig.elevated.kept import FOUND, STEPPED_IN
from surefoot.rig.elevated.messages import of_line, refused
from surefoot.rig.elevated.pipe import HelperPipe, ProcessEnds
from surefoot.rig.guardian import GuardedHands, WithGuardian, all_reports, with_guardian
from surefoot.rig.guardian import reports as reports_module
from surefoot.rig.hands import make_hands
from surefoot.rig.hands.documented import tree_finder
from surefoot.rig.hands.elevated import ElevatedHands
from surefoot.rig.offers import card_lines, offers
from surefoot.units import HandsCard, Knob, Setting, Unit

DOOR = "powercap:long-term"
CLIENT = Path(__file__).with_name("elevated_client.py")


@pytest.fixture
def pipe(machine) -> Iterator[HelperPipe]:
    made = HelperPipe(ProcessEnds(machine.helper), needs_rights=False)
    yield made
    made.close()


def hands_on(machine, pipe: HelperPipe, unit: Unit = UNIT, **more) -> ElevatedHands:
    return ElevatedHands(unit, pipe=pipe, find=tree_finder(machine.tree.root), **more)


def test_what_the_helper_loads_is_pythons_own_library_and_five_of_our_folders():
    code = (
        "import sys; sys.path.append(sys.argv[1]); import surefoot.rig.elevated.helper, surefoot.os_lock;"
        "from surefoot.rig.elevated.trust import program; known = {str(one) for one in program()};"
        "from surefoot.rig.doors import doors; doors();"
        "files = [one.__file__ for one in sys.modules.values() if getattr(one, '__file__', None)];"
        "print([one for one in files if one not in known and 'frozen' not in one])"
    )
    done = subprocess.run(
        [str(Path(sys.executable).resolve()), "-I", "-S", "-B", "-c", code, str(SOURCE)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout.strip() == "[]", done.stdout + done.stderr


def test_read_write_and_stock(machine, pipe):
    assert pipe.ask("read", door=DOOR) == {"value": 37.0, "low": 7.4, "high": 37.0, "step": 1.0, "stock": 37.0}
    assert pipe.ask("write", door=DOOR, value=31.5)["value"] == 31.5 and machine.watts() == 31.5
    assert pipe.ask("stock", door=DOOR)["value"] == 37.0 and machine.watts() == 37.0


@pytest.mark.parametrize("value", [37.1, 90, 7, 0, -5, 1e9])
def test_past_what_was_found_or_what_the_interface_takes_nothing_is_written(machine, pipe, value):
    with pytest.raises(MachineError, match=r"may be set from 7\.4 to 37 W"):
        pipe.ask("write", door=DOOR, value=value)
    assert machine.watts() == 37.0


@pytest.mark.parametrize(
    "asked",
    [
        {"do": "run", "command": "true"},
        {"do": "write", "door": DOOR, "value": "31"},
        {"do": "write", "door": DOOR, "value": True},
        {"do": "write", "door": DOOR, "value": None},
        {"do": "write", "door": DOOR, "value": 31, "path": "/etc/passwd"},
        {"do": "write", "door": ["x"], "value": 31},
        {"do": "write", "door": "/etc/passwd", "value": 31},
        {"do": "write", "door": "../../x", "value": 31},
        {"do": "read"},
        {"do": ["read"], "door": DOOR},
        {},
    ],
)
def test_anything_else_is_refused_and_the_helper_goes_on(machine, pipe, asked):
    pipe._ends.send(json.dumps({"id": 7, **asked}).encode() + b"\n")
    pipe._number = 7
    answer = pipe._next(10)
    assert answer is not None and answer["id"] == 7 and "ok" not in answer and answer["error"]
    assert pipe.ask("read", door=DOOR)["value"] == 37.0 and machine.watts() == 37.0


@pytest.mark.parametrize(
    "line", [b"\n", b"rubbish\n", b"[1]\n", b"\xff\xfe\n", b'{"id":1,"do":"write","value":NaN}\n', b"[" * 3000 + b"\n"]
)
def test_rubbish_is_answered(pipe, line):
    pipe._ends.send(line)
    answer = pipe._next(10)
    assert answer is not None and "error" in answer


def test_a_line_without_end_is_cut():
    assert of_line(b"x" * 4096) is None and refused({"id": 1, "do": "read", "door": "a"}) == ""
    assert refused({"id": True, "do": "read", "door": "a"})


def test_what_was_found_first_is_kept_by_the_helper_and_not_told_by_who_asks(machine, pipe):
    pipe.ask("write", door=DOOR, value=30)
    pipe.stop()
    assert machine.watts() == 30.0, "told to leave it"
    again = HelperPipe(ProcessEnds(machine.helper), needs_rights=False)
    assert again.ask("read", door=DOOR)["stock"] == 37.0
    assert again.ask("stock", door=DOOR)["value"] == 37.0
    again.close()
    assert json.loads((machine.kept / FOUND).read_text()) == {"boot": "this-boot", "values": {DOOR: 37.0}}


def test_another_boot_finds_anew(machine, pipe):
    pipe.ask("read", door=DOOR)
    pipe.close()
    (machine.kept / FOUND).write_text('{"boot": "another", "values": {"powercap:long-term": 50}}')
    again = HelperPipe(ProcessEnds(machine.helper), needs_rights=False)
    assert again.ask("read", door=DOOR)["stock"] == 37.0
    again.close()


def test_a_folder_that_others_may_write_to_keeps_nothing(machine):
    machine.kept.mkdir()
    machine.kept.chmod(0o777)
    with pytest.raises(MachineError, match=r"no folder of the administrator"):
        HelperPipe(ProcessEnds(machine.helper), needs_rights=False)


def test_the_pipe_ends_and_the_unit_is_back_once_written_down(machine, pipe, monkeypatch):
    hands = hands_on(machine, pipe)
    assert hands.found == {"pkg": 37.0} and hands.can_read_back and hands.kind == "documented"
    assert hands.apply(UNIT, Setting(values={"pkg": -6})) == Setting(values={"pkg": -6}) and machine.watts() == 31.0
    pipe.close()
    assert machine.watts() == 37.0
    monkeypatch.setattr(reports_module, "KEPT", machine.kept)
    since = datetime.now(UTC) - timedelta(minutes=1)
    (report,) = all_reports(machine.kept / "none", UNIT, since)
    assert report.at_stock and report.unit_name == UNIT.name
    elsewhere = UNIT.model_copy(update={"hands": HandsCard(kind="documented", doors={"pkg": "nvml:power"})})
    assert all_reports(machine.kept / "none", elsewhere, since) == []


def test_at_stock_it_goes_without_a_word(machine, pipe):
    hands = hands_on(machine, pipe)
    hands.apply(UNIT, Setting(values={"pkg": -6}))
    assert hands.apply(UNIT, Setting()) == Setting()
    pipe.close()
    assert not (machine.kept / STEPPED_IN).exists()


def test_it_is_its_own_guardian_and_can_be_let_go(machine, pipe, tmp_path):
    hands = hands_on(machine, pipe)
    assert isinstance(hands, WithGuardian) and with_guardian(hands, tmp_path / "log") is hands
    assert isinstance(GuardedHands(hands, tmp_path / "log"), WithGuardian)
    hands.apply(UNIT, Setting(values={"pkg": -6}))
    hands.close()
    assert machine.watts() == 31.0


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_what_the_terminal_sends_is_not_for_it_and_a_shutdown_is(machine, pipe, number):
    pipe.ask("write", door=DOOR, value=30)
    os.kill(pipe.process, number)
    if number == signal.SIGTERM:
        until_watts(machine, 37.0)
    else:
        time.sleep(0.3)
        assert pipe.ask("read", door=DOOR)["value"] == 30.0


def test_a_helper_that_is_gone_is_said(machine, pipe):
    os.kill(pipe.process, signal.SIGKILL)
    with pytest.raises(MachineError, match=r"helper .* is gone"):
        pipe.ask("read", door=DOOR)


def test_card_and_rules_of_the_hands_hold_before_the_helper_is_asked(machine, pipe):
    hands = hands_on(machine, pipe)
    with pytest.raises(BadInput, match="past the limit"):
        hands.apply(UNIT, Setting(values={"pkg": -16}))
    with pytest.raises(BadInput, match="far side of stock"):
        hands.apply(UNIT, Setting(values={"pkg": 1}))


def test_two_words_on_what_stock_is_are_refused(machine, pipe):
    with pytest.raises(MachineError, match=r"41 W .* found 37 W.*Restart"):
        hands_on(machine, pipe, found={"pkg": 41.0})


def test_a_second_helper_waits_until_the_first_has_put_back(machine, pipe):
    pipe.ask("write", door=DOOR, value=30)
    command = [*machine.helper]
    waiting = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    time.sleep(0.7)
    assert machine.watts() == 30.0
    pipe.close()
    assert waiting.stdout is not None and b"hello" in waiting.stdout.readline()
    assert machine.watts() == 37.0
    waiting.communicate()


def until_watts(machine, watts: float, seconds: float = 5.0) -> float:
    began = time.monotonic()
    while time.monotonic() - began < seconds:
        if machine.watts() == watts:
            return time.monotonic() - began
        time.sleep(0.01)
    raise AssertionError(f"{machine.watts()} W after {seconds} s")


def test_the_tool_is_killed(machine):
    command = [sys.executable, str(CLIENT), str(SOURCE), str(machine.tree.root), "plain", *machine.helper]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None and process.stdout.readline().split()[1] == "-6.0"
    assert machine.watts() == 31.0
    process.kill()
    assert until_watts(machine, 37.0) < 2.0
    process.wait()
    process.stdout.close()


def test_a_voltage_goes_down_only(tmp_path, machine):
    table = "OD_VDDGFX_OFFSET:\n-20mV\nOD_RANGE:\nVDDGFX_OFFSET:    -120mv        0mv\n"
    machine.tree.put("sys/class/drm/card0/device/pp_od_clk_voltage", table)
    pipe = HelperPipe(ProcessEnds(machine.helper), needs_rights=False)
    told = pipe.ask("read", door="overdrive:core-voltage")
    assert (told["low"], told["high"], told["stock"]) == (-120.0, 0.0, 0.0)
    with pytest.raises(MachineError, match="from -120 to 0 mV"):
        pipe.ask("write", door="overdrive:core-voltage", value=1)
    pipe.close()


def test_where_it_is_kept_is_the_systems_own_memory_of_this_boot():
    assert kept_module.FOLDER.parts[:2] == ("/", "run")


def test_cards():
    knobs = (Knob("pkg", "cpu", "W", "down", 1, 15),)
    with pytest.raises(ValueError, match="documented"):
        HandsCard(kind="ask", elevate="sudo")
    with pytest.raises(ValueError):
        Unit(name="x", knobs=knobs, hands=HandsCard(kind="documented", elevate="su"))  # type: ignore[arg-type]


def test_on_the_bench_what_was_found_is_written_down_and_the_unit_comes_back(machine, pipe, tmp_path):
    class InHand(RealMachine):
        def hands(self, unit, prompt, found=None):
            return hands_on(machine, pipe, found=found)

    with Journal.open(tmp_path / "home") as journal:
        journal.add_unit(UNIT)
        bench = Bench(journal, UNIT, InHand(machine.tree.root), Unattended())
        assert isinstance(bench.hands, ElevatedHands)
        off = Setting(values={"pkg": -6})
        bench.make_exception(off, "the test's")
        bench.apply(off)
        assert [entry.values for entry in journal.found_values(UNIT.name)] == [{DOOR: 37.0}] and machine.watts() == 31.0
        assert to_stock(bench) and machine.watts() == 37.0
        bench.apply(off)
        bench.leave_applied()
        assert machine.watts() == 31.0


def test_the_card_decides_and_who_has_the_rights_needs_no_helper(machine, monkeypatch):
    asked: list[tuple[str, bool]] = []

    def started(means: str, *, attended: bool) -> HelperPipe:
        asked.append((means, attended))
        raise MachineError("no password was given.")

    monkeypatch.setattr("surefoot.rig.hands.elevated.start", started)
    monkeypatch.setattr("surefoot.rig.hands.elevated.DocumentedHands", lambda *_, **__: None)
    monkeypatch.setattr("surefoot.rig.hands.rights_already", lambda: False)
    for prompt in (None, lambda question, default: default):
        with pytest.raises(MachineError, match="no password"):
            make_hands(UNIT, prompt=prompt)
    assert asked == [("sudo", False), ("sudo", True)]
    monkeypatch.setattr("surefoot.rig.hands.rights_already", lambda: True)
    with pytest.raises(BadInput, match="documents no way"):
        make_hands(UNIT.model_copy(update={"hands": HandsCard(kind="documented", doors={"pkg": "none:x"})}))


def test_what_only_rights_open_is_offered_with_the_means(machine, monkeypatch):
    monkeypatch.setattr("surefoot.rig.doors.files.os.access", lambda path, how: False)
    (found,) = offers(machine.tree.root)
    assert found.by_rights and card_lines([found]) == ""
    card = card_of_text(card_lines([found], "sudo"), "bench", where="the offer")
    assert card.hands.elevate == "sudo" and card.hands.doors == {"powercap-long-term": DOOR}
    assert card_of_text(card_text(card), "bench", where="again") == card
