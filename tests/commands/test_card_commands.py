"""Commands from elsewhere: none runs before it was shown in full and confirmed at this machine."""

from __future__ import annotations

import ast
import io
import json
import os
import shutil
import sys
from collections.abc import Mapping
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

import surefoot
from surefoot.cli.main import app
from surefoot.errors import AnswerIsNo, BadInput, SurefootError
from surefoot.guide.card_commands import ask_to_confirm, confirm_by_code, see_commands
from surefoot.guide.remote.agent import Agent
from surefoot.guide.remote.machine import RemoteHands, RemoteLoad, RemoteMachine
from surefoot.guide.remote.ssh import ssh_command
from surefoot.guide.voice import LiveView, Tone, Unattended
from surefoot.journal import Journal
from surefoot.rig import card_commands
from surefoot.rig.card_commands import CardCommand, commands_of, confirm, forget, in_full, let_through, unconfirmed
from surefoot.rig.guardian import GuardedHands
from surefoot.rig.hands.elevated import ElevatedHands
from surefoot.rig.registry import make_hands, make_load
from surefoot.units import HandsCard, Knob, LoadCard, RemoteCard, Setting, Unit

pytestmark = pytest.mark.asks
SOURCES = Path(surefoot.__file__).parent


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    return tmp_path / "home"


def traced(mark: Path, *more: str) -> tuple[str, ...]:
    """A command that leaves a file behind when it is run, by whatever way."""
    return (sys.executable, "-c", "import sys; open(sys.argv[1], 'a').write('ran')", str(mark), *more)


@pytest.fixture
def unit(tmp_path: Path) -> Unit:
    mark = tmp_path / "ran"
    return Unit(
        name="lent",
        knobs=(Knob("core", "cpu", "mV", "down", 5, 60),),
        hands=HandsCard(kind="command", apply=traced(mark, "{core}"), read_back=traced(mark)),
        loads=(LoadCard(name="own", command=traced(mark, "load"), exercises=("core",)),),
        remote=RemoteCard(agent=traced(mark, "agent"), switch_power=traced(mark, "switch")),
    )


class Telling(Unattended):
    """Somebody who is there and always gives one answer."""

    def __init__(self, answer: str) -> None:
        super().__init__()
        self.attended, self.answer, self.asked = True, answer, 0

    def say(self, text: str, tone: Tone = "plain") -> None:
        self.said.append((tone, text))

    def choose(self, question: str, choices: Mapping[str, str], default: str) -> str:
        self.asked += 1
        return self.answer

    def live(self, view: LiveView | None) -> None:
        raise AssertionError


def switched(unit: Unit) -> None:
    machine = RemoteMachine.__new__(RemoteMachine)
    machine._switch = unit.remote.switch_power
    said: list[str] = []
    machine._switch_power(said.append)
    if said:
        raise BadInput(said[0])


# Every way by which something on a card may be started.
DOORS = {
    "hands apply": lambda unit: make_hands(unit).apply(unit, Setting(values={"core": -5})),
    "hands to stock": lambda unit: make_hands(unit).apply(unit, Setting()),
    "hands read back": lambda unit: make_hands(unit).read_back(unit),
    "guarded hands": lambda unit: GuardedHands(make_hands(unit), Path("log")).apply(unit, Setting(values={"core": -5})),
    "a guardian": lambda unit: GuardedHands(make_hands(unit), Path("log")).start(unit),
    "a load": lambda unit: make_load("own", unit).start(1),
    "power": switched,
    "the agent": lambda unit: ssh_command("nobody@localhost", unit.remote.agent),
    "hands over the line": lambda unit: RemoteHands(None, "command", True, {}).apply(unit, Setting()),  # type: ignore[arg-type]
    "read back over the line": lambda unit: RemoteHands(None, "command", True, {}).read_back(unit),  # type: ignore[arg-type]
    "a load over the line": lambda unit: RemoteLoad(None, unit, "own", ()).start(1),  # type: ignore[arg-type]
}


@pytest.mark.parametrize("door", DOORS)
def test_nothing_of_a_card_runs_before_it_was_confirmed(door: str, unit: Unit, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="not confirmed on this machine"):
        DOORS[door](unit)
    assert not (tmp_path / "ran").exists()


def lifted(elevate: str = "sudo", **doors: str) -> Unit:
    hands = HandsCard(kind="documented", elevate=elevate, doors=doors or {"top": "cpufreq.max"})  # type: ignore[arg-type]
    return Unit(name="lent", knobs=(Knob("top", "cpu", "MHz", "down", 100, 1000),), hands=hands)


def test_nobody_is_asked_for_rights_before_the_card_was_confirmed(monkeypatch: pytest.MonkeyPatch) -> None:
    """The means on a foreign card are confirmed as its commands are, with every interface that they open."""
    started: list[str] = []
    monkeypatch.setattr("surefoot.rig.hands.elevated.start", lambda means, **_: started.append(means))
    monkeypatch.setattr("surefoot.rig.hands.elevated.DocumentedHands", lambda *_, **__: None)
    monkeypatch.setattr("surefoot.rig.hands.rights_already", lambda: False)
    monkeypatch.setattr(ElevatedHands, "_see_first_found", lambda *_: None)
    unit = lifted()
    with pytest.raises(BadInput, match="not confirmed on this machine"):
        make_hands(unit)
    assert started == []
    voice = Telling("yes")
    see_commands(unit, voice)
    said = [text for _, text in voice.said]
    assert 'hands.elevate = ["sudo", "top=cpufreq.max"]' in said and any("administrator" in text for text in said)
    make_hands(unit)
    assert started == ["sudo"]
    for other in (lifted("pkexec"), lifted(top="cpufreq.energy"), lifted(top="cpufreq.max", more="powercap.long")):
        assert unconfirmed(commands_of(other)), "another means, or another interface, is asked about anew"
    assert commands_of(lifted("")) == ()


def test_every_place_that_starts_a_process_is_known() -> None:
    """Who starts something of a card does so through the one door; everybody else starts only what we wrote."""
    doors = {"rig/card_commands.py"}
    # Argument lists of our own: no word of a card's is in them as a program or an option.
    ours = {
        "rig/linux_ending.py",
        "rig/elevated/pipe.py", "rig/guardian/guarded.py", "rig/autostart.py", "rig/sensors/macos.py",
        "rig/power_mode.py",
        "rig/windows/event_log.py", "rig/loads/crew.py", "rig/loads/gpu/load.py", "rig/kernel_log.py",
        "report/library.py",
    }  # fmt: skip
    # What is handed an argument list: the leash runs what the door gave it, the line what `ssh_command` made.
    handed = {"rig/loads/leash.py", "guide/remote/line.py"}
    starters = {"run", "Popen", "call", "check_call", "check_output", "getoutput", "getstatusoutput"}
    found = set()
    for file in SOURCES.rglob("*.py"):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        types = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Subscript)}
        for node in ast.walk(tree):
            name = file.relative_to(SOURCES).as_posix()
            if isinstance(node, ast.ImportFrom) and node.module in (
                "subprocess",
                "pty",
                "multiprocessing",
                "asyncio.subprocess",
            ):
                raise AssertionError(f"{name} imports from {node.module}: this test would not see what it starts")
            if not isinstance(node, ast.Attribute) or not isinstance(node.value, ast.Name):
                continue
            if node.value.id == "subprocess" and node.attr in starters and id(node) not in types:
                found.add(name)
            if node.value.id == "os" and node.attr.startswith(
                ("exec", "spawn", "system", "popen", "posix_spawn", "startfile")
            ):
                raise AssertionError(f"{name} starts a process by os.{node.attr}")
            if node.attr == "create_subprocess_exec" or (node.value.id == "multiprocessing" and node.attr == "Process"):
                raise AssertionError(f"{name} starts a process by {node.attr}")
    assert found == doors | ours | handed


def test_every_list_of_words_on_a_card_is_a_known_command_or_known_to_be_none(unit: Unit) -> None:
    """A new field of a card that holds an argument list must be entered in `commands_of`."""
    lists = {
        (model.__name__, name)
        for model in (Unit, HandsCard, LoadCard, RemoteCard)
        for name, field in model.model_fields.items()
        if field.annotation == tuple[str, ...]
    }
    starts = {
        ("HandsCard", "apply"), ("HandsCard", "read_back"), ("LoadCard", "command"),
        ("RemoteCard", "agent"), ("RemoteCard", "switch_power"),
    }  # fmt: skip
    assert lists == starts | {("LoadCard", "exercises"), ("LoadCard", "error_lines")}
    assert len(commands_of(unit, away=True)) == len(starts)


def test_a_confirmed_command_runs_and_one_letter_more_asks_again(unit: Unit, tmp_path: Path) -> None:
    confirm(commands_of(unit, away=True))
    assert unconfirmed(commands_of(unit, away=True)) == ()
    command = commands_of(unit)[0]
    card_commands.run(command, values={"core": "-5"})
    assert (tmp_path / "ran").read_text() == "ran"
    for place in range(len(command.arguments)):
        changed = list(command.arguments)
        changed[place] += "x"
        with pytest.raises(BadInput):
            card_commands.run(CardCommand(command.role, tuple(changed)))
    for other in ("loads.x", "hands.read_back", "remote.agent", "remote.switch_power"):
        assert unconfirmed([CardCommand(other, command.arguments)]), "what was a yes to one use is none to another"
    forget(commands_of(unit, away=True))
    assert len(unconfirmed(commands_of(unit, away=True))) == 5


def test_a_relative_program_is_the_file_that_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    command = CardCommand("hands.apply", ("./set", "{core}"))
    confirm([command])
    assert not unconfirmed([command])
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    assert unconfirmed([command])


def test_a_data_directory_that_was_copied_brings_no_yes_along(
    unit: Unit, home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    confirm(commands_of(unit))
    shutil.copytree(home, tmp_path / "copy")
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path / "copy"))
    assert not unconfirmed(commands_of(unit)), "the same machine and user"
    monkeypatch.setattr(card_commands, "_here", lambda: ("another machine", "0"))
    assert unconfirmed(commands_of(unit))


@pytest.mark.skipif(os.name != "posix", reason="POSIX permissions")
def test_a_file_that_others_may_write_says_nothing(unit: Unit) -> None:
    confirm(commands_of(unit))
    card_commands.place().chmod(0o666)
    assert unconfirmed(commands_of(unit))
    card_commands.place().chmod(0o600)
    assert not unconfirmed(commands_of(unit))


@pytest.mark.parametrize("spoilt", [b"\xff\xfe\x00", b"[" * 100_000, b'{"key": 3}\n', b"null\n", b'{"key"'])
def test_a_spoilt_file_of_yeses_is_none_and_takes_new_ones(unit: Unit, spoilt: bytes) -> None:
    confirm(commands_of(unit)[:1])
    with card_commands.place().open("ab") as file:
        file.write(spoilt)
    assert len(unconfirmed(commands_of(unit))) == 2
    confirm(commands_of(unit))
    assert not unconfirmed(commands_of(unit))


def test_what_was_let_through_stays_so_for_the_way_back(unit: Unit) -> None:
    confirm(commands_of(unit))
    card_commands.see_confirmed(*commands_of(unit))
    card_commands.place().unlink()
    card_commands.see_confirmed(*commands_of(unit))


def test_somebody_who_is_there_is_shown_all_and_asked_once(unit: Unit) -> None:
    voice = Telling("yes")
    see_commands(unit, voice, away=True)
    said = "\n".join(text for _, text in voice.said)
    for command in commands_of(unit, away=True):
        assert command.shown() in said
    assert voice.asked == 1
    see_commands(unit, voice, away=True)
    assert voice.asked == 1


def test_a_no_runs_nothing_and_is_asked_again(unit: Unit) -> None:
    for _ in range(2):
        with pytest.raises(AnswerIsNo):
            see_commands(unit, Telling("no"))
    assert not ask_to_confirm(unit, Telling("no"))
    assert not card_commands.place().exists()


def test_with_nobody_there_it_is_refused_with_what_to_do(unit: Unit) -> None:
    with pytest.raises(BadInput, match="surefoot unit confirm 'lent'"):
        see_commands(unit, Unattended())
    with pytest.raises(BadInput, match="other ones, or were changed"):
        confirm_by_code(unit, "0" * 16)
    confirm_by_code(unit, card_commands.code_of(commands_of(unit, away=True)))
    see_commands(unit, Unattended(), away=True)


def test_a_card_without_commands_asks_nothing() -> None:
    see_commands(Unit(name="plain", hands=HandsCard(kind="ask", apply=("x",))), Unattended(), away=True)


@given(st.lists(st.text(), min_size=1, max_size=4))
def test_what_is_shown_is_all_and_can_be_read_back(arguments: list[str]) -> None:
    shown = in_full(arguments)
    assert shown.isprintable()
    if " " * 9 not in shown and "(so " not in shown and "\\U" not in shown:
        assert json.loads(shown) == arguments


def test_nothing_hides_behind_blanks_or_marks() -> None:
    shown = in_full(["sh", "-c", "true" + " " * 5000 + "; \u202egnp.exe\x1b[2J\x00"])
    assert "(so 5000 times)" in shown and "\\u202e" in shown and "\\u001b" in shown and len(shown) < 120
    assert "\\u001b" in CardCommand("loads.a\x1b[2J", ("x",)).shown()


def test_an_agent_takes_its_bench_at_its_word_and_nothing_is_remembered(unit: Unit) -> None:
    asked = [{"id": 1, "do": "hands", "unit": unit.model_dump(mode="json"), "found": {}}, {"id": 2, "do": "read-back"}]
    out = io.BytesIO()
    Agent(io.BytesIO(b"".join(json.dumps(one).encode() + b"\n" for one in asked)), out).serve()
    assert b"not confirmed" not in out.getvalue() and (Path.cwd() / "ran").read_text() == "ran"
    assert not card_commands.place().exists()


def command_line(*arguments: str, answers: str = "") -> tuple[int, str]:
    done = CliRunner().invoke(app, list(arguments), input=answers)
    if isinstance(done.exception, SurefootError):
        return done.exception.exit_code, done.exception.message()
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done.exit_code, done.output


def from_a_bundle(unit: Unit, tmp_path: Path) -> None:
    with Journal.open(tmp_path / "other.sqlite") as journal:
        journal.add_unit(unit)
        from surefoot.journal.bundle import save_bundle

        save_bundle(journal, unit.name, tmp_path / "a.bundle", whole=True)
    assert command_line("bundle", "load", str(tmp_path / "a.bundle"))[0] == 0


def from_a_card(unit: Unit, tmp_path: Path) -> None:
    from surefoot.journal.card_file import card_text

    (tmp_path / "card.toml").write_text(card_text(unit), encoding="utf-8")
    code, said = command_line("unit", "add", "lent", "--from", str(tmp_path / "card.toml"))
    assert code == 0 and "will not run" in " ".join(said.split())


def from_a_changed_journal(unit: Unit, tmp_path: Path) -> None:
    tame = unit.model_copy(update={"hands": HandsCard(kind="command", apply=("true", "{core}")), "loads": ()})
    tame = tame.model_copy(update={"remote": RemoteCard()})
    with Journal.open() as journal:
        journal.add_unit(tame)
        confirm(commands_of(tame, away=True))
        journal.revise_unit(unit)


@pytest.mark.parametrize("source", [from_a_bundle, from_a_card, from_a_changed_journal], ids=lambda one: one.__name__)
@pytest.mark.parametrize(
    "verb",
    [
        ("tune", "lent", "--unattended", "--i-agree"),
        ("tune", "lent", "--unattended", "--i-agree", "--on", "nobody@localhost"),
        ("measure", "lent", "--unattended", "--i-agree", "--load", "own", "--minutes", "0.1"),
        ("live", "lent", "--unattended", "--i-agree"),
        ("load", "run", "own", "--unit", "lent", "--minutes", "0.1"),
    ],
    ids=lambda verb: " ".join(verb[:1] + verb[4:5]),
)
def test_no_verb_runs_what_came_from_elsewhere(source, verb, unit: Unit, tmp_path: Path) -> None:
    source(unit, tmp_path)
    code, said = command_line(*verb)
    assert code == 2 and "not confirmed on this machine" in said and "surefoot unit" in said
    assert not (tmp_path / "ran").exists()


def test_the_commands_of_a_unit_are_shown_confirmed_by_code_and_taken_back(unit: Unit, tmp_path: Path) -> None:
    from_a_card(unit, tmp_path)
    told = json.loads(command_line("unit", "commands", "lent", "--json")[1])
    assert [one["confirmed"] for one in told["commands"]] == [False] * 5
    assert command_line("unit", "confirm", "lent")[0] == 2, "nobody is there"
    assert command_line("unit", "confirm", "lent", "--code", "f" * 16)[0] == 2
    assert command_line("unit", "confirm", "lent", "--code", told["code"])[0] == 0
    assert all(
        one["confirmed"] for one in json.loads(command_line("unit", "commands", "lent", "--json")[1])["commands"]
    )
    assert "commands_asleep" in command_line("unit", "show", "lent", "--json")[1]
    assert command_line("unit", "confirm", "lent", "--take-back")[0] == 0
    assert not any(
        one["confirmed"] for one in json.loads(command_line("unit", "commands", "lent", "--json")[1])["commands"]
    )


def test_at_a_terminal_adding_a_card_asks_once_and_a_no_keeps_the_card(
    unit: Unit, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from surefoot.cli import unit as unit_commands
    from surefoot.journal.card_file import card_text

    monkeypatch.setattr(unit_commands, "_can_ask", lambda: True)
    (tmp_path / "card.toml").write_text(card_text(unit, with_name=False), encoding="utf-8")
    code, said = command_line("unit", "add", "one", "--from", str(tmp_path / "card.toml"), answers="no\n")
    assert code == 0 and "will not run" in " ".join(said.split())
    code, said = command_line("unit", "add", "two", "--from", str(tmp_path / "card.toml"), answers="yes\n")
    assert code == 0 and "will not run" not in " ".join(said.split())
    code, said = command_line("unit", "edit", "one", "--from", str(tmp_path / "card.toml"))
    assert code == 0 and "May Surefoot run" not in said, "the very same commands were confirmed by now"
    let_through(())
