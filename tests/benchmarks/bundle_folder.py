"""A folder of bundles entered into one journal, and again: what the second time costs of the first.

Run by hand: `python tests/benchmarks/bundle_folder.py [BUNDLES]` (200 by default).
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from surefoot.journal import Journal
from surefoot.journal.bundle import save_bundle
from surefoot.journal.bundle_many import load_folder
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.units import Knob, Setting, Unit

KNOB = Knob("core", "cpu", "mV", "down", 5, 100)
DEPTHS = (0, 20, 40, 60)


def main() -> None:
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "bundles"
        folder.mkdir()
        with Journal.open(Path(name) / "from.sqlite") as journal:
            for number in range(wanted):
                unit = Unit(name=f"unit {number}", knobs=(KNOB,))
                journal.add_unit(unit)
                for depth in DEPTHS:
                    setting = Setting(values={"core": -depth}) if depth else Setting()
                    plan = RunPlan(unit_name=unit.name, setting=setting, load="sums", planned_minutes=5, source="hand")
                    journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=5, judged_by="hand"))
                save_bundle(journal, unit.name, folder / f"{number:05}.bundle")
        spent = []
        with Journal.open(Path(name) / "to.sqlite") as journal:
            for _ in range(2):
                wall, own = time.monotonic(), time.process_time()
                found = load_folder(journal, folder)
                spent.append(time.process_time() - own)
                new = sum(one.added for one in found.bundles)
                print(
                    f"{len(found.bundles)} bundles, {len(found.refused)} refused, {new} new runs: "
                    f"{time.monotonic() - wall:.1f} s, {1000 * spent[-1] / wanted:.0f} ms of processor each"
                )
        print(f"again over first: {spent[1] / spent[0]:.2f} of the processor time")


if __name__ == "__main__":
    main()
