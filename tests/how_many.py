"""How many random examples a property is tried on."""

from __future__ import annotations

import os


def examples(full: int) -> int:
    """A quarter of them in the ordinary run; all with ``SUREFOOT_EXAMPLES=1``, ten times as many with 10."""
    return max(1, round(full * float(os.environ.get("SUREFOOT_EXAMPLES", "0.25"))))
