"""The fixtures of this folder; they stand in a module that the type checker reads."""

from use_bench import journal, unit

__all__ = ["journal", "unit"]
