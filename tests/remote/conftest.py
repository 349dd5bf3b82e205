"""The fixtures of this folder; they stand in a module that the type checker reads."""

from remote_bench import journal, there

__all__ = ["journal", "there"]
