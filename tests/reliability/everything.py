"""All the long parts at once: power cuts, kills, faults and long hauls, as one table.

    python tests/reliability/everything.py [KILLS]

Takes a quarter of an hour and more. Needs Linux and a C compiler for the cuts, and the right to mount for full disks.
"""

from __future__ import annotations

import sys

import faults
import kills
import long_hauls
import power_cuts
from table import Line, print_table

if __name__ == "__main__":
    found: list[Line] = []
    if power_cuts.recorder() is not None:
        found += power_cuts.count()
    found += kills.count(int(sys.argv[1]) if sys.argv[1:] else 1000)
    found += faults.count()
    found += long_hauls.count()
    sys.exit(print_table(found))
