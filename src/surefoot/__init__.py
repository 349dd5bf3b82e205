"""Surefoot: find how far one machine's undervolt or overclock goes, prove that it holds, remember it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from surefoot.report.frames import open_journal as open_journal

__version__ = "0.1.0"
__all__ = ["__version__", "open_journal"]


def __getattr__(name: str) -> Any:
    # Imported on use: it brings pandas, and starting the command must feel instant.
    if name == "open_journal":
        from surefoot.report.frames import open_journal

        return open_journal
    raise AttributeError(f"module 'surefoot' has no attribute {name!r}")
