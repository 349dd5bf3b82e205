"""What a system can have logged of its hardware."""

from __future__ import annotations

from dataclasses import dataclass

from surefoot.runs import Outcome


@dataclass(frozen=True, slots=True)
class LoggedFault:
    """One thing the system logged: the outcome it stands for, the part it concerns, and its words."""

    outcome: Outcome
    part: str
    message: str
