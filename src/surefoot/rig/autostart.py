"""Starting the watching with a login: a systemd user unit, or a task of the Windows Task Scheduler, as text.

What starts is `surefoot live UNIT --after-login --unattended`: a program of the user's own session, without rights of
its own. It sets nothing at boot: it waits until the machine has been up and idle, and applies nothing while a crash is
not judged.
"""

from __future__ import annotations

import contextlib
import getpass
import os
import re
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from xml.sax.saxutils import escape

from surefoot.errors import BadInput, MachineError
from surefoot.rig.system_name import system_name


@dataclass(frozen=True, slots=True)
class Autostart:
    """What would be installed: ``text`` in ``path``, then ``commands``; ``undo``: the commands that take it out."""

    system: str
    path: Path
    text: str
    commands: tuple[tuple[str, ...], ...]
    undo: tuple[tuple[str, ...], ...]


def file_stem(unit_name: str) -> str:
    """A name for the unit's service: letters, digits and ``-`` alone."""
    return "surefoot-live-" + (re.sub(r"[^a-z0-9]+", "-", unit_name.lower()).strip("-") or "unit")


def autostart(unit_name: str, arguments: Sequence[str] = (), *, system: str | None = None) -> Autostart:
    """What starts the watching of a unit after login on this system (or ``system``: ``linux``, ``windows``).

    ``arguments``: more of `surefoot live`. Raises BadInput for a system without a way that we know.
    """
    system = system or system_name()
    command = (sys.executable, "-m", "surefoot", "live", unit_name, "--after-login", "--unattended", *arguments)
    stem = file_stem(unit_name)
    if system == "linux":
        folder = Path(os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config") / "systemd" / "user"
        return Autostart(
            system,
            folder / f"{stem}.service",
            systemd_unit(unit_name, command),
            (
                ("systemctl", "--user", "daemon-reload"),
                ("systemctl", "--user", "enable", f"{stem}.service"),
            ),
            (("systemctl", "--user", "disable", "--now", f"{stem}.service"),),
        )
    if system == "windows":
        folder = Path(os.environ.get("LOCALAPPDATA") or Path.home()) / "Surefoot"
        path = folder / f"{stem}.xml"
        return Autostart(
            system,
            path,
            task(unit_name, command, _user()),
            (("schtasks", "/Create", "/TN", stem, "/XML", str(path), "/F"),),
            (("schtasks", "/Delete", "/TN", stem, "/F"),),
        )
    raise BadInput(
        f"starting with a login is not known on {system}.", remedy="Start `surefoot live` by hand after login."
    )


def systemd_unit(unit_name: str, command: Sequence[str]) -> str:
    """A unit of the user's service manager (systemd.unit(5), systemd.service(5))."""
    home = os.environ.get("SUREFOOT_HOME")
    kept = f"Environment={_quoted(f'SUREFOOT_HOME={home}')}\n" if home else ""
    return (
        "[Unit]\n"
        f"Description=Surefoot watches {unit_name.replace('%', '%%')} in use\n"
        "After=graphical-session.target\n"
        "\n"
        "[Service]\n"
        "Type=simple\n"
        f"{kept}"
        f"ExecStart={' '.join(_quoted(part) for part in command)}\n"
        "# A stop is a request to end: the stretch is closed and what was held counts.\n"
        "KillSignal=SIGTERM\n"
        "TimeoutStopSec=30\n"
        "# An answer of no (nothing certified, a crash not judged) is not tried again by itself.\n"
        "Restart=no\n"
        "Nice=10\n"
        "\n"
        "[Install]\n"
        "WantedBy=default.target\n"
    )


def _quoted(text: str) -> str:
    """An argument as systemd.service(5) has it under "Command lines": quoted, ``%`` and ``$`` doubled."""
    text = text.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%").replace("$", "$$")
    return f'"{text}"'


def task(unit_name: str, command: Sequence[str], user: str) -> str:
    """A task of the Task Scheduler (Microsoft's documentation, Task Scheduler schema 1.2): at logon, least rights."""
    arguments = subprocess.list2cmdline(command[1:])
    return f"""<?xml version="1.0" encoding="UTF-16"?>
<Task version="1.2" xmlns="http://schemas.microsoft.com/windows/2004/02/mit/task">
  <RegistrationInfo><Description>{escape(f"Surefoot watches {unit_name} in use")}</Description></RegistrationInfo>
  <Triggers><LogonTrigger><Enabled>true</Enabled><UserId>{escape(user)}</UserId></LogonTrigger></Triggers>
  <Principals><Principal id="Author"><UserId>{escape(user)}</UserId><LogonType>InteractiveToken</LogonType>\
<RunLevel>LeastPrivilege</RunLevel></Principal></Principals>
  <Settings>
    <MultipleInstancesPolicy>IgnoreNew</MultipleInstancesPolicy>
    <DisallowStartIfOnBatteries>false</DisallowStartIfOnBatteries>
    <StopIfGoingOnBatteries>false</StopIfGoingOnBatteries>
    <ExecutionTimeLimit>PT0S</ExecutionTimeLimit>
    <Priority>7</Priority>
  </Settings>
  <Actions Context="Author"><Exec><Command>{escape(command[0])}</Command>\
<Arguments>{escape(arguments)}</Arguments></Exec></Actions>
</Task>
"""


def _user() -> str:
    domain = os.environ.get("USERDOMAIN")
    return f"{domain}\\{getpass.getuser()}" if domain else getpass.getuser()


def install(what: Autostart) -> None:
    """Write the file and run the commands. Raises MachineError in words when either cannot be done."""
    try:
        what.path.parent.mkdir(parents=True, exist_ok=True)
        # The Task Scheduler reads UTF-16; systemd UTF-8.
        what.path.write_text(what.text, encoding="utf-16" if what.system == "windows" else "utf-8")
    except OSError as error:
        raise MachineError(f"{what.path} could not be written: {error}.") from None
    _run(what.commands, f"The file is at {what.path}.")


def remove(what: Autostart) -> None:
    """Take it out again; what is not there is no error. Raises MachineError when the file cannot be removed."""
    with contextlib.suppress(MachineError):
        _run(what.undo, "")
    try:
        what.path.unlink(missing_ok=True)
    except OSError as error:
        raise MachineError(f"{what.path} could not be removed: {error}.") from None


def _run(commands: Sequence[tuple[str, ...]], remedy: str) -> None:
    for command in commands:
        try:
            done = subprocess.run(command, capture_output=True, text=True, timeout=30, check=False, errors="replace")
        except (OSError, subprocess.TimeoutExpired) as error:
            raise MachineError(f"`{' '.join(command)}` could not be run: {error}.", remedy=remedy) from None
        if done.returncode:
            said = (done.stderr or done.stdout).strip()
            raise MachineError(f"`{' '.join(command)}` ended with {done.returncode}: {said}.", remedy=remedy)
