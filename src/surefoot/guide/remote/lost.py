"""The line to a unit was lost."""

from __future__ import annotations

from surefoot.errors import MachineError


class LineLost(MachineError):
    """No word from the unit any more: it went down, hangs, or the network does.

    A run that was under way stays open in the journal, as after any crash, and is judged once the unit is back.
    """
