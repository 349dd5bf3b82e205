"""The fixtures of this folder; they stand in a module that the type checker reads."""

from guide_fixtures import journal, machine, unit, voice

__all__ = ["journal", "machine", "unit", "voice"]
