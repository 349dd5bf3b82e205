"""Following another program's log: its columns are confirmed once and remembered by its header."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PureWindowsPath
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Final

from surefoot.errors import BadInput, MachineError
from surefoot.guide.card_commands import see_commands
from surefoot.guide.machine import Machine, RealMachine
from surefoot.guide.voice import Voice
from surefoot.journal import Journal
from surefoot.logs import ASK_BELOW, IGNORE, log_fingerprint
from surefoot.logs.columns import parse_correction
from surefoot.rig.sensors.growing_log import GrowingLog
from surefoot.units import Unit

if TYPE_CHECKING:
    from surefoot.guide.remote.machine import RemoteMachine

SHOWN: Final = 12


def machine_in_hand(journal: Journal, unit: Unit, voice: Voice, sensors_from: Path | None = None) -> RealMachine:
    """This machine with all its sensors, and those of the log that was named here or on the card.

    What cannot be judged without a sensor that is missing is said.
    """
    path = sensors_from or (Path(unit.sensors_from).expanduser() if unit.sensors_from else None)
    machine = RealMachine(more=(follow(journal, path, voice),) if path else ())
    for words in machine.missing():
        voice.say(words, "quiet")
    return machine


@contextmanager
def machine_for(
    journal: Journal, unit: Unit, voice: Voice, sensors_from: Path | None = None, on: str | None = None
) -> Iterator[Machine]:
    """This machine, or the one that ``on`` names, over ssh. Raises BadInput where ``on`` names none, MachineError when
    no agent answers there."""
    if on is None:
        yield machine_in_hand(journal, unit, voice, sensors_from)
        return
    from surefoot.guide.remote.machine import RemoteMachine
    from surefoot.guide.remote.ssh import ssh_command

    see_commands(unit, voice, away=True)
    path = str(sensors_from) if sensors_from else unit.sensors_from
    with RemoteMachine(ssh_command(on, unit.remote.agent), on, unit.remote.switch_power) as machine:
        if path:
            follow_there(journal, machine, path, voice)
        for words in machine.missing():
            voice.say(words, "quiet")
        yield machine


@contextmanager
def machine_or(machine: Machine, unit: Unit, voice: Voice, on: str | None) -> Iterator[Machine]:
    """The machine given, or the one that ``on`` names: for what needs no sensors. Raises as `machine_for`."""
    if on is None:
        yield machine
        return
    from surefoot.guide.remote.machine import RemoteMachine
    from surefoot.guide.remote.ssh import ssh_command

    see_commands(unit, voice, away=True)
    with RemoteMachine(ssh_command(on, unit.remote.agent), on, unit.remote.switch_power) as there:
        yield there


def follow_there(journal: Journal, machine: RemoteMachine, path: str, voice: Voice) -> None:
    """A log on the machine at the other end of the line as a live sensor: its columns are settled here, by a copy of
    its ends. Raises MachineError when there is no such file there, or it is no log."""
    with TemporaryDirectory() as folder:
        copy = Path(folder) / (PureWindowsPath(path).name or "log")
        copy.write_bytes(machine.log_ends(path))
        known = follow(journal, copy, voice).corrections
    machine.follow(path, known)


def follow(journal: Journal, path: Path, voice: Voice) -> GrowingLog:
    """The log as a live sensor. Columns that are not sure are asked about once; with nobody there they are left out.

    Raises MachineError when the file is not there or is no log.
    """
    known = _remembered(journal, path)
    log = GrowingLog(path, known)
    unsure = [column for column in log.log.columns if column.channel and column.confidence < ASK_BELOW]
    said = {}
    for column in unsure:
        shown = ", ".join(column.sample[:3]) or "nothing yet"
        answer = column.channel or IGNORE
        if voice.attended:
            answer = _asked(voice, column.header, shown, column.channel or IGNORE)
        else:
            voice.say(f"Column {column.header!r} ({shown}) may be {column.channel}: not sure, so left out.", "warn")
            answer = IGNORE
        said[column.header] = answer
    if said:
        log = GrowingLog(path, {**known, **said})
        if voice.attended:
            journal.remember_columns(log.log.fingerprint, {**known, **said})
    taken = log.channels()
    more = f" and {len(taken) - SHOWN} more" if len(taken) > SHOWN else ""
    voice.say(f"Sensors from {path.name}: {', '.join(taken[:SHOWN])}{more}.", "quiet")
    return log


def _remembered(journal: Journal, path: Path) -> dict[str, str]:
    try:
        with path.open("rb") as file:
            return journal.remembered_columns(log_fingerprint(file.read(64 * 1024))) or {}
    except OSError as error:
        raise MachineError(f"cannot be read: {error.strerror}.", where=str(path)) from None
    except BadInput as error:
        raise MachineError(f"it cannot be followed as a log: {error.what}", where=str(path)) from None


def _asked(voice: Voice, header: str, shown: str, guess: str) -> str:
    while True:
        answer = voice.ask(f"Column {header!r} ({shown}): which channel is it? A channel, or `{IGNORE}`", guess).strip()
        try:
            parse_correction(answer, header)
        except BadInput as error:
            voice.say(error.message(), "warn")
            continue
        return answer
