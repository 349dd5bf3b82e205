"""The fixtures of this folder; they stand in a module that the type checker reads."""

from journal_bench import folder, journal

__all__ = ["folder", "journal"]
