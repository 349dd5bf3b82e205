"""Commands that stand on a card: shown in full, confirmed on this machine, and started through one door.

A card may come from elsewhere: a file, a bundle, a journal that was copied or changed. What it would have run is run
only once a person saw all of it and said yes, at this machine. That is remembered outside every journal, by a hash of
the command bound to machine and user, so that neither another journal nor a copied data directory brings a yes along,
and a command that changed in a letter is another command.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import subprocess
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from surefoot.errors import BadInput, MachineError
from surefoot.rig.identity import machine_identity
from surefoot.threads import as_the_user_has_it
from surefoot.units import HandsCard, LoadCard, RemoteCard, Unit

FILE_NAME: Final = "confirmed-commands.jsonl"
VERSION: Final = 1
LARGEST_BYTES: Final = 10_000_000
CODE_LETTERS: Final = 16
LOADS: Final = "loads."
ELEVATE: Final = "hands.elevate"
BLANKS: Final = re.compile(r" {9,}")

# A place is a plain name in braces; anything else in braces (JSON, a script) is the user's own text.
PLACE: Final = re.compile(r"\{([\w-]+)\}")

_let_through: set[str] = set()
"""What this process was let through once stays so: nothing may stand in the way of going back to stock."""


@dataclass(frozen=True, slots=True)
class CardCommand:
    """One command of a card. ``role``: what it is for, as the card's field has it; ``arguments``: no shell."""

    role: str
    arguments: tuple[str, ...]

    def shown(self) -> str:
        """All of it as the card has it, on one line; whatever is not seen as it is, is written out."""
        if self.role.startswith(LOADS):
            return (
                f"{LOADS}{_seen(json.dumps(self.role[len(LOADS) :], ensure_ascii=False))} = {in_full(self.arguments)}"
            )
        return f"{self.role} = {in_full(self.arguments)}"

    def digest(self) -> str:
        """SHA-256 of what it is for and all its arguments: the same on every machine."""
        return _sha256([VERSION, _kind(self.role), list(self.arguments)])

    def key(self) -> str:
        """What a yes is remembered by: the command, the file that a relative program is, the machine and the user."""
        program = self.arguments[0] if self.arguments else ""
        relative = not os.path.isabs(program) and os.path.dirname(program)
        return _sha256([self.digest(), os.path.realpath(program) if relative else "", *_here()])


def commands_of(unit: Unit, *, away: bool = False) -> tuple[CardCommand, ...]:
    """Every command that a card can have started; ``away``: those too that `--on` another machine starts."""
    found = [*hands_commands(unit.hands)]
    found += [load_command(load) for load in unit.loads]
    if away:
        found.append(switch_command(unit.remote))
        if unit.remote.agent != RemoteCard().agent:
            found.append(agent_command(unit.remote))
    return tuple(dict.fromkeys(command for command in found if command.arguments))


def hands_commands(hands: HandsCard) -> tuple[CardCommand, ...]:
    """What applies a setting, and what reads it back; the means by which documented hands get the administrator's
    rights, with the interfaces that they get them for. Nothing for hands that start nothing."""
    if hands.elevate:
        doors = (f"{knob}={door}" for knob, door in sorted(hands.doors.items()))
        return (CardCommand(ELEVATE, (hands.elevate, *doors)),)
    if hands.kind != "command":
        return ()
    both = (CardCommand("hands.apply", hands.apply), CardCommand("hands.read_back", hands.read_back))
    return tuple(command for command in both if command.arguments)


def load_command(load: LoadCard) -> CardCommand:
    """What is run as a load."""
    return CardCommand(f"{LOADS}{load.name}", load.command)


def switch_command(remote: RemoteCard) -> CardCommand:
    """What switches a unit's power."""
    return CardCommand("remote.switch_power", remote.switch_power)


def agent_command(remote: RemoteCard) -> CardCommand:
    """What is run on another machine to serve the line."""
    return CardCommand("remote.agent", remote.agent)


def code_of(commands: Iterable[CardCommand]) -> str:
    """A short code that stands for exactly these commands, for who cannot be asked at a terminal."""
    return _sha256(sorted(command.digest() for command in commands))[:CODE_LETTERS]


def in_full(arguments: Iterable[str]) -> str:
    """An argument list as TOML and JSON have it, nothing left out: what no eye sees (control characters, marks that
    turn text round, many blanks in a row) is written as its number."""
    text = _seen(json.dumps(list(arguments), ensure_ascii=False))
    return BLANKS.sub(lambda blanks: f"\\u0020 (so {len(blanks.group())} times) ", text)


def unconfirmed(commands: Iterable[CardCommand]) -> tuple[CardCommand, ...]:
    """Those that were not confirmed on this machine by this user."""
    asked = tuple(commands)
    if all(command.key() in _let_through for command in asked):
        return ()
    known = _remembered()
    return tuple(command for command in asked if (key := command.key()) not in _let_through and key not in known)


def confirm(commands: Iterable[CardCommand]) -> None:
    """Remember a person's yes to commands that were shown in full. Raises MachineError when it cannot be written."""
    lines = [
        json.dumps({"key": command.key(), "at": datetime.now(UTC).isoformat(), "command": command.shown()}) + "\n"
        for command in unconfirmed(commands)
    ]
    _write(lines)


def forget(commands: Iterable[CardCommand]) -> None:
    """Take a yes back. Raises MachineError when that cannot be written."""
    taken = tuple(commands)
    _write(
        [
            json.dumps({"key": command.key(), "at": datetime.now(UTC).isoformat(), "no": True}) + "\n"
            for command in taken
        ]
    )
    _let_through.difference_update(command.key() for command in taken)


def let_through(commands: Iterable[CardCommand]) -> None:
    """Take commands as confirmed in this process alone: who told of them has asked already (a bench its agent, a
    parent its guardian)."""
    _let_through.update(command.key() for command in commands)


def see_confirmed(*commands: CardCommand) -> None:
    """Raises BadInput, before anything is started, for commands that were not confirmed on this machine."""
    missing = unconfirmed(commands)
    if missing:
        raise BadInput(
            f"not confirmed on this machine, so not run: {'; '.join(command.shown() for command in missing)}.",
            remedy="`surefoot unit commands UNIT` shows the commands of a card, `surefoot unit confirm UNIT` asks.",
        )
    let_through(commands)


def run(command: CardCommand, *, values: Mapping[str, str] | None = None, **options: Any) -> Any:
    """Run a card's command to its end, ``{name}`` replaced where ``values`` has it; a CompletedProcess, as
    `subprocess.run`, and its errors. Raises BadInput for one that was not confirmed."""
    see_confirmed(command)
    return subprocess.run(_filled(command, values), check=False, **_as_the_user(options))


def start(
    command: CardCommand, *, values: Mapping[str, str] | None = None, under: Iterable[str] = (), **options: Any
) -> subprocess.Popen[bytes]:
    """Start a card's command, as the arguments of the program ``under`` where there is one; ``values`` and what it
    raises as for `run`."""
    see_confirmed(command)
    return subprocess.Popen([*under, *_filled(command, values)], **_as_the_user(options))


def _as_the_user(options: dict[str, Any]) -> dict[str, Any]:
    return {"env": as_the_user_has_it(), **options}


def _filled(command: CardCommand, values: Mapping[str, str] | None) -> list[str]:
    told = values or {}
    return [PLACE.sub(lambda place: told.get(place.group(1), place.group()), word) for word in command.arguments]


def place() -> Path:
    """Where it is remembered: `SUREFOOT_HOME`, or the system's folder for state of this machine's own. Never in a
    journal. Source: XDG Base Directory Specification, XDG_STATE_HOME; elsewhere what platformdirs names."""
    chosen = os.environ.get("SUREFOOT_HOME", "").strip()
    if chosen:
        return Path(chosen).expanduser() / FILE_NAME
    from platformdirs import user_state_path

    return user_state_path("surefoot", appauthor=False) / FILE_NAME


def _remembered() -> set[str]:
    try:
        with place().open("rb") as file:
            facts = os.fstat(file.fileno())
            # Written by somebody else, or open to them: then it says nothing of this user's word.
            if hasattr(os, "getuid") and (facts.st_uid not in (os.getuid(), 0) or facts.st_mode & 0o022):
                return set()
            text = file.read(LARGEST_BYTES).decode("utf-8", errors="replace")
    except OSError:
        return set()
    found: set[str] = set()
    for line in text.splitlines():
        try:
            told = json.loads(line)
        except (ValueError, RecursionError):
            continue
        if isinstance(told, dict) and isinstance(key := told.get("key"), str):
            (found.discard if told.get("no") else found.add)(key)
    return found


def _write(lines: list[str]) -> None:
    if not lines:
        return
    file = place()
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(file, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
        with os.fdopen(handle, "ab") as opened:
            # One that a dying machine left torn must not swallow this one.
            opened.write(("\n" + "".join(lines)).encode("ascii"))
            opened.flush()
            os.fsync(opened.fileno())
    except OSError as error:
        raise MachineError(
            f"what was confirmed cannot be remembered: {error.strerror or error}.", where=str(file)
        ) from None


def _kind(role: str) -> str:
    # A load of another name with the same arguments is the same command.
    return "load" if role.startswith(LOADS) else role


def _seen(text: str) -> str:
    return "".join(one if one.isprintable() else _written(ord(one)) for one in text)


def _written(number: int) -> str:
    return f"\\u{number:04x}" if number < 0x10000 else f"\\U{number:08x}"


def _sha256(value: Any) -> str:
    return hashlib.sha256(json.dumps(value).encode("ascii")).hexdigest()


@lru_cache(maxsize=1)
def _here() -> tuple[str, str]:
    if hasattr(os, "getuid"):
        return machine_identity(), str(os.getuid())
    return machine_identity(), os.environ.get("USERNAME", "")
