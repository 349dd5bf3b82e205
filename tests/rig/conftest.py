"""The fixtures of this folder; they stand in a module that the type checker reads."""

from rig_bench import finish, gone

__all__ = ["finish", "gone"]
