"""Play the demo's story into the journal under a name of your own: a small desktop that does not exist.

    SUREFOOT_HOME=/some/folder python examples/make_demo_data.py [--seed 15] [--name shoebox-3]

Same seed, same journal. Then: surefoot report shoebox-3
"""

from __future__ import annotations

import argparse

from surefoot.guide.demo import play
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal


def main() -> None:
    """Write unit, runs, traces, scores, readings and names of configurations; say what was written."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=15)
    parser.add_argument("--name", default="shoebox-3", help="name of the unit")
    options = parser.parse_args()

    with Journal.open() as journal:
        played = play(journal, options.seed, Unattended(), name=options.name)
        print(f"{len(journal.runs(played.unit.name))} runs of {played.unit.name} written to {journal.path}")
        print(f"Now: surefoot report {played.unit.name}")


if __name__ == "__main__":
    main()
