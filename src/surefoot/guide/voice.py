"""How a session speaks with whoever is at the bench. The command line, the demo and the tests each bring their own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, Protocol

Tone = Literal["plain", "heading", "good", "warn", "bad", "quiet"]


@dataclass(frozen=True, slots=True)
class LiveView:
    """One moment of a run for the live view.

    ``ceilings_celsius``: by domain, as on the card; ``chance``: that the run fails, in words; ``edge``: what is known
    of the edge so far, in words.
    """

    title: str
    minutes: float
    planned_minutes: float
    sample: Mapping[str, float] = field(default_factory=dict)
    phase: str = ""
    progress: float = 0.0
    ceilings_celsius: Mapping[str, float] = field(default_factory=dict)
    chance: str = ""
    edge: str = ""


class Voice(Protocol):
    """``attended``: whether somebody is there to answer."""

    @property
    def attended(self) -> bool: ...

    def say(self, text: str, tone: Tone = "plain") -> None:
        """One message."""
        ...

    def ask(self, question: str, default: str) -> str:
        """A question with a free answer; the default for an empty one."""
        ...

    def choose(self, question: str, choices: Mapping[str, str], default: str) -> str:
        """One of ``choices`` (key to meaning); the default for an empty answer, and when nobody is there.

        Default "": an empty answer is none, and the question is put again.
        """
        ...

    def live(self, view: LiveView | None) -> None:
        """Show this moment of a run, in place of the last; None: the run is over."""
        ...


def at_terminal(voice: Voice) -> bool:
    """Whether somebody answers who sees the question: a voice on a pipe says of itself that nobody does."""
    return voice.attended and bool(getattr(voice, "at_terminal", True))


class Unattended:
    """Nobody is there: every question gets its default. Keeps what was said, for the caller."""

    attended = False

    def __init__(self) -> None:
        self.said: list[tuple[Tone, str]] = []

    def say(self, text: str, tone: Tone = "plain") -> None:
        """Keep it."""
        self.said.append((tone, text))

    def ask(self, question: str, default: str) -> str:
        """The default."""
        return default

    def choose(self, question: str, choices: Mapping[str, str], default: str) -> str:
        """The default."""
        return default

    def live(self, view: LiveView | None) -> None:
        """Nothing to show."""
