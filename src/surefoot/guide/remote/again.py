"""Going on after a line was lost: wait for the unit, and judge what was open without asking anybody."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Protocol, runtime_checkable

from surefoot.guide.aside import aside
from surefoot.guide.bench import Bench
from surefoot.guide.remote.lost import LineLost
from surefoot.guide.voice import LiveView, Tone, Voice


@runtime_checkable
class Returns(Protocol):
    """A machine that may be lost and come back."""

    def come_back(self, say: Callable[[str], object]) -> None: ...


class ByItself:
    """The voice that says everything and asks nothing: the session goes on by itself."""

    attended = False

    def __init__(self, voice: Voice) -> None:
        self._voice = voice

    def say(self, text: str, tone: Tone = "plain") -> None:
        """As ever."""
        self._voice.say(text, tone)

    def ask(self, question: str, default: str) -> str:
        """The default."""
        return default

    def choose(self, question: str, choices: Mapping[str, str], default: str) -> str:
        """The default."""
        return default

    def live(self, view: LiveView | None) -> None:
        """As ever."""
        self._voice.live(view)


def wait_for(bench: Bench, lost: LineLost) -> Bench:
    """Wait until the unit is back; the bench to judge its open run on, with hands made anew.

    Raises MachineError when it does not come back, ``lost`` itself for a machine that never does.
    """
    machine, voice = bench.machine, bench.voice
    if not isinstance(machine, Returns):
        raise lost
    aside(voice).say(f"{lost.message()} Waiting for the unit; it goes back to stock by itself.", "warn")
    machine.come_back(lambda text: aside(voice).say(text, "warn"))
    return replace(bench, voice=ByItself(voice))
