"""Speaking that may fail: the window is shut, the pipe broken, the disk full, and what matters goes on."""

from __future__ import annotations

from dataclasses import dataclass

from surefoot.guide.voice import LiveView, Tone, Voice

CANNOT_SPEAK = (OSError, ValueError, SystemExit)
"""What writing to a terminal that went away raises; a closed file ValueError, rich on a broken pipe SystemExit."""


@dataclass(frozen=True, slots=True)
class Aside:
    """A voice that is heard where it can be, and never in the way."""

    voice: Voice

    def say(self, text: str, tone: Tone = "plain") -> bool:
        """Whether it could be said."""
        try:
            self.voice.say(text, tone)
        except CANNOT_SPEAK:
            return False
        return True

    def live(self, view: LiveView | None) -> bool:
        """Whether it could be shown."""
        try:
            self.voice.live(view)
        except CANNOT_SPEAK:
            return False
        return True


def aside(voice: Voice) -> Aside:
    """The voice for what is said on the way back to stock."""
    return Aside(voice)
