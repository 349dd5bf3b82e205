"""Write the demo's story into the journal: the Low Mill bench tunes `shoebox-3`, a laptop that does not exist.

    SUREFOOT_HOME=/some/folder python examples/make_demo_data.py [--seed 15] [--name shoebox-3]

Same seed, same journal. Then: surefoot report shoebox-3
"""

from __future__ import annotations

import argparse

from surefoot.guide.demo import write_happenings
from surefoot.journal import Journal
from surefoot.rehearsal.demo_data import demo_happenings, demo_unit


def main() -> None:
    """Write unit, runs, traces, scores, readings and names of configurations; say what was written."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=15)
    parser.add_argument("--name", default="shoebox-3", help="name of the unit")
    options = parser.parse_args()

    unit = demo_unit(options.name)
    happenings = list(demo_happenings(options.seed, unit=unit))
    with Journal.open() as journal:
        journal.add_unit(unit)
        write_happenings(journal, unit, happenings)
        print(f"{len(happenings)} runs of {unit.name} written to {journal.path}")
        print(f"Now: surefoot report {unit.name}")


if __name__ == "__main__":
    main()
