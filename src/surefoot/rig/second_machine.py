"""What is here for work over a line: OpenSSH's client on the bench, its server on the machine under test."""

from __future__ import annotations

import shutil
from typing import Final

SERVERS: Final = "/usr/sbin:/usr/local/sbin:/sbin:/usr/bin:C:\\Windows\\System32\\OpenSSH"
"""A server lies where a user's own path seldom leads."""


def second_machine() -> tuple[str, str]:
    """In words: whether this machine can work on another (``--on``), and whether another can work on this one."""
    bench = (
        "ssh is here: this machine can work on another with --on"
        if shutil.which("ssh")
        else "ssh is not here: install OpenSSH's client to work on another machine with --on"
    )
    served = (
        "an ssh server is installed here: another machine can work on this one"
        if shutil.which("sshd", path=SERVERS)
        else "no ssh server is installed here: install OpenSSH's for another machine to work on this one"
    )
    return bench, served
