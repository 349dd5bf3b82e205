"""How OpenSSH is asked for an agent: an argument list with fixed options, and never a word of the user's as one."""

from __future__ import annotations

import os
import re
import shlex
from collections.abc import Sequence
from typing import Final

from surefoot.errors import BadInput
from surefoot.rig.card_commands import agent_command, see_confirmed
from surefoot.units import RemoteCard

TARGET: Final = re.compile(r"(?:[A-Za-z0-9_][A-Za-z0-9_.-]*@)?[A-Za-z0-9][A-Za-z0-9_.:-]*")
CONFIG: Final = "SUREFOOT_SSH_CONFIG"
"""A file of OpenSSH settings in place of the user's own, for a shop that keeps its benches' keys apart."""

# ssh_config(5). Nothing is asked at a terminal, nothing is forwarded, and a link that died is noticed by ssh as well.
FIXED: Final = (
    "BatchMode=yes",
    "ConnectTimeout=5",
    "ServerAliveInterval=3",
    "ServerAliveCountMax=3",
    "RequestTTY=no",
    "ForwardAgent=no",
    "ForwardX11=no",
    "ClearAllForwardings=yes",
    "PermitLocalCommand=no",
    "EscapeChar=none",
    "ControlPath=none",
    "LogLevel=ERROR",
)


def target_of(text: str) -> str:
    """``user@host``, ``host``, or a name of the user's ssh settings. Raises BadInput for anything else."""
    if not TARGET.fullmatch(text) or len(text) > 255:
        raise BadInput(
            f"{text!r} names no machine.",
            where="--on",
            remedy="Write user@host, or a name that your ssh settings know; port and key belong there.",
        )
    return text


def ssh_command(target: str, agent: Sequence[str]) -> list[str]:
    """The argument list that gives an agent on that machine. ``agent``: what is run there, quoted for its shell.

    Raises BadInput for one that is not our own and was not confirmed on this machine.
    """
    if not agent or agent[0].startswith("-") or any("\n" in word or "\0" in word for word in agent):
        raise BadInput("the agent's command must begin with a program.", where="the card, remote.agent")
    if tuple(agent) != RemoteCard().agent:
        see_confirmed(agent_command(RemoteCard(agent=tuple(agent))))
    settings = ["-F", config] if (config := os.environ.get(CONFIG)) else []
    options = [word for option in FIXED for word in ("-o", option)]
    return ["ssh", *settings, "-T", *options, "--", target_of(target), shlex.join(agent)]
