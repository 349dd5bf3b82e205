"""Counts and lists in plain English, for every room that says something."""

from __future__ import annotations

from collections.abc import Sequence


def count(number: int, one: str, many: str = "") -> str:
    """``1 run``, ``2 runs``; ``many`` where an s at the end is not the plural."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def listed(words: Sequence[str], last: str = "and") -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"
