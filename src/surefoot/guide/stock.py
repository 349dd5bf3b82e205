"""The way back to stock. Nothing stands before it, and nothing that goes wrong on it is kept quiet."""

from __future__ import annotations

from surefoot.errors import MachineError
from surefoot.guide.aside import aside
from surefoot.guide.bench import Bench
from surefoot.units import Setting

BY_HAND = "Put it back by hand or restart it."


def to_stock(bench: Bench) -> bool:
    """Put every knob back to stock. Returns whether that is known to have worked; says so when it is not."""
    try:
        wrong = bench.missing(Setting(), bench.apply(Setting()))
    except MachineError as error:
        aside(bench.voice).say(f"The unit may not be at stock: {error.message()} {BY_HAND}", "bad")
        return False
    if wrong:
        aside(bench.voice).say(f"The unit is not at stock: {'; '.join(wrong)}. {BY_HAND}", "bad")
    return not wrong
