"""Room kept free for the few records that must not be lost for want of it: how a run ended, what stands applied.

A run that failed in the moment in which the disk ran full would otherwise stay open, and be judged at the next start
as one that the tool was stopped in: the failure would be lost, and the search go deeper than it should. So a little
room is taken while there is some, and given up when it is needed.
"""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

NAME = "reserve"
BYTES = 512 * 1024
"""A closing with its details takes some ten pages of 8 KiB in the log, and the page images that go with them."""


def keep_reserve(folder: Path) -> None:
    """See that the room is taken, beside the journal. Where there is none left, or nothing can be written, so be it."""
    file = folder / NAME
    with suppress(OSError):
        if file.stat().st_size >= BYTES:
            return
    with suppress(OSError):
        try:
            with file.open("wb") as made:
                # Written and not only said to be so large: a file with holes takes no room.
                made.write(os.urandom(BYTES))
        except OSError:
            file.unlink(missing_ok=True)
            raise


def give_up_reserve(folder: Path) -> bool:
    """Give the room back; whether there was any."""
    try:
        (folder / NAME).unlink()
    except OSError:
        return False
    return True
