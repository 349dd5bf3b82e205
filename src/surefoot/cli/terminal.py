"""The console that everything for people goes through: it shows what texts are, and obeys nothing that they hold."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from rich.console import Console, ConsoleOptions, RenderableType
from rich.segment import Segment

from surefoot.harmless import for_eyes


class HarmlessConsole(Console):
    """A console whose own styles are its only escapes; brackets and colons in a text are brackets and colons."""

    def __init__(self, **options: Any) -> None:
        super().__init__(markup=False, emoji=False, highlight=False, **options)

    def render(self, renderable: RenderableType, options: ConsoleOptions | None = None) -> Iterable[Segment]:
        """As ever, each piece of text made harmless on its way."""
        for piece in super().render(renderable, options):
            yield piece if piece.control else Segment(for_eyes(piece.text), piece.style)
