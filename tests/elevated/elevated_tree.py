"""A made-up machine with one door, and the command of a helper on it."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "rig"))

from tree import Tree

SOURCE = Path(__file__).parent.parent.parent / "src"
ON_TREE = Path(__file__).with_name("helper_on_tree.py")


class Unit_:
    """A made-up machine whose package limit stands at 37 W, and the command of a helper on it."""

    def __init__(self, folder: Path) -> None:
        self.tree = Tree(folder / "tree")
        self.kept = folder / "kept"
        zone = self.tree.power_zone(
            "intel-rapl:0", "package-0", energy_uj=1, constraint_0_name="long_term",
            constraint_0_power_limit_uw=37_000_000, constraint_0_max_power_uw=90_000_000,
        )  # fmt: skip
        self.limit = zone / "constraint_0_power_limit_uw"
        self.helper = [sys.executable, "-I", "-S", "-B", str(ON_TREE), str(SOURCE), str(self.tree.root), str(self.kept)]

    def watts(self) -> float:
        return int(self.limit.read_text()) / 1e6
