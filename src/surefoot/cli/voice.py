"""The session's voice on a terminal: messages, prompts, and the live view."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

from surefoot.cli.live import line_of, lines_of
from surefoot.guide.voice import LiveView, Tone

if TYPE_CHECKING:
    from rich.console import Console
    from rich.live import Live
    from rich.text import Text

# The mark says it without colour; the style adds to it where there is colour.
MARKS: Final[Mapping[str, tuple[str, str]]] = {
    "plain": ("  ", ""),
    "heading": ("\n» ", "bold"),
    "good": ("+ ", "green"),
    "warn": ("? ", "yellow"),
    "bad": ("! ", "bold red"),
    "quiet": ("  ", "dim"),
}
PIPED_EVERY_MINUTES: Final = 5.0
ANSWER_COLUMNS: Final = 8


class TerminalVoice:
    """Speaks on a console. Not attended: every question gets its default and is not shown."""

    def __init__(self, console: Console, attended: bool) -> None:
        self._console = console
        self.attended = attended
        self._live: Live | None = None
        self._piped_at = 0.0
        self._temperatures: dict[str, list[float]] = {}

    @property
    def at_terminal(self) -> bool:
        """Whether what answers is a terminal, and not a pipe or a file."""
        return sys.stdin.isatty()

    def say(self, text: str, tone: Tone = "plain") -> None:
        """One message, its kind told by a mark as well as a style."""
        from rich.padding import Padding
        from rich.text import Text

        mark, style = MARKS[tone]
        for _ in range(mark.count("\n")):
            self._console.print()
        mark = mark.strip("\n")
        lines = Text(text, style=style).wrap(self._console, max(20, self._console.width - len(mark)))
        for place, line in enumerate(lines):
            lead = mark if place == 0 else " " * len(mark)
            self._console.print(Padding(Text.assemble((lead, style), line), 0), soft_wrap=True)

    def ask(self, question: str, default: str) -> str:
        """A free answer. An input that has ended means stop."""
        from rich.text import Text

        if not self.attended:
            return default
        shown = f" [{default}]" if default else ""
        # Wrapped here, since a terminal breaks a long question in the middle of a word; room is left for the answer.
        lines = Text(f"{question}{shown}: ").wrap(self._console, max(20, self._console.width - 2 - ANSWER_COLUMNS))
        for line in lines[:-1]:
            self._console.print(f"  {line.plain}", markup=False, emoji=False, highlight=False, soft_wrap=True)
        forget_typed()
        try:
            answer = self._console.input(f"  {lines[-1].plain.rstrip()} ", markup=False, emoji=False)
        except EOFError:
            raise KeyboardInterrupt from None
        return answer.strip() or default

    def choose(self, question: str, choices: Mapping[str, str], default: str) -> str:
        """One of the choices, by its name or its first letters."""
        if not self.attended:
            return default
        self.say(question)
        for key, meaning in choices.items():
            self.say(f"  {key:<9}{meaning}", "quiet")
        while True:
            answer = self.ask(f"Answer ({', '.join(choices)})", default).lower()
            found = [key for key in choices if answer and key.startswith(answer)]
            if answer in choices:
                return answer
            if len(found) == 1:
                return found[0]
            self.say(f"Please answer one of: {', '.join(choices)}.", "warn")

    def live(self, view: LiveView | None) -> None:
        """Redraw the live line; in a pipe, a line every few minutes instead."""
        if view is None:
            over, self._live = self._live, None
            self._piped_at = 0.0
            self._temperatures = {}
            if over is not None:
                over.stop()
            return
        if not self._console.is_terminal:
            if view.minutes - self._piped_at >= PIPED_EVERY_MINUTES:
                self._piped_at = view.minutes
                self._console.print(f"  {line_of(view, self._console.width - 2)}", markup=False)
            return
        if self._live is None:
            from rich.live import Live

            self._live = Live(console=self._console, transient=True, auto_refresh=False)
            self._live.start()
        self._live.update(self._drawn(view), refresh=True)

    def _drawn(self, view: LiveView) -> Text:
        from rich.text import Text

        for domain in ("cpu", "gpu"):
            if (value := view.sample.get(f"{domain}.temperature")) is not None:
                self._temperatures.setdefault(domain, []).append(value)
        text = Text(no_wrap=True, overflow="crop")
        for place, line in enumerate(lines_of(view, self._temperatures, self._console.width - 1)):
            text.append(("\n" if place else "") + line, "bold" if place == 0 else "")
        return text


def forget_typed() -> None:
    """Drop what was typed before the question was there to be answered: an answer is not a stray key."""
    if not sys.stdin.isatty():
        return
    if sys.platform == "win32":
        import msvcrt

        while msvcrt.kbhit():
            msvcrt.getwch()
        return
    import termios

    with contextlib.suppress(termios.error):
        termios.tcflush(sys.stdin, termios.TCIFLUSH)
