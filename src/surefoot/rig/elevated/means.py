"""The system's own means by which a process gets the administrator's rights, as fixed argument lists."""

from __future__ import annotations

import os
import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from surefoot.errors import MachineError
from surefoot.rig.elevated.trust import helper_file, interpreter, who_else, why_not
from surefoot.rig.system_name import system_name

PLACES: Final = "/usr/bin:/bin:/usr/sbin:/run/wrappers/bin:/usr/local/bin"
"""Where the means is looked for: never by the user's own path."""


def helper_command() -> list[str]:
    """The helper alone: isolated from the user's settings and packages, and writing nothing beside its files."""
    return [str(interpreter()), "-I", "-S", "-B", str(helper_file())]


def elevated_command(means: str, *, attended: bool, helper: Sequence[str] | None = None) -> list[str]:
    """The argument list that starts the helper with more rights; ``attended``: somebody may be asked for a password.

    ``helper``: in place of the helper's own, for tests. Raises MachineError where the means is not here, or where
    somebody else could change what would be run.
    """
    tool = shutil.which(means, path=PLACES)
    if tool is None:
        raise MachineError(
            f"{means} is not on this machine.", where="the card, hands.elevate", remedy="Nothing was applied."
        )
    if words := who_else(Path(tool), 0):
        raise _changed(words)
    if helper is None and (words := why_not(os.getuid())):
        raise _changed(words)
    asked = {
        "sudo": ["-p", "Password of %p, for the helper that sets documented values: "] if attended else ["-n"],
        "pkexec": [] if attended else ["--disable-internal-agent"],
    }[means]
    ends = ["--"] if means == "sudo" else []
    return [tool, *asked, *ends, *(helper_command() if helper is None else helper)]


def means_here() -> str:
    """The means that this machine has, as a card names it; "" for none."""
    if system_name() == "windows":
        return "runas"
    return next((name for name in ("sudo", "pkexec") if shutil.which(name, path=PLACES)), "")


def _changed(words: str) -> MachineError:
    return MachineError(
        f"the helper is not started with more rights: {words}, so that somebody else could change what would be run.",
        remedy="Install Surefoot and Python where only the administrator, or you, may write. Nothing was applied.",
    )
