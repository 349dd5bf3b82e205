"""Finds the doors of this machine. A new family is one file and one line here."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from surefoot.errors import BadInput
from surefoot.rig.doors.protocol import Door
from surefoot.rig.system_name import system_name


def doors(root: Path | None = None) -> list[Door]:
    """Every door that this machine documents. ``root``: of the file tree, for tests: then only what lies in it."""
    return list(_all(root))


def door(name: str, root: Path | None = None) -> Door:
    """The door of that name. Raises BadInput naming those there are."""
    there = doors(root)
    for one in there:
        if one.name == name:
            return one
    raise BadInput(
        f"this machine documents no way to set {name!r}.",
        remedy=f"There are: {', '.join(one.name for one in there) or 'none'}. See `surefoot knobs`.",
    )


def _all(root: Path | None) -> Iterator[Door]:
    from surefoot.rig.doors.cpufreq import cpufreq_doors
    from surefoot.rig.doors.nvml import nvml_doors
    from surefoot.rig.doors.overdrive import overdrive_doors
    from surefoot.rig.doors.powercap import powercap_doors

    if root is not None or system_name() == "linux":
        tree = root or Path("/")
        yield from powercap_doors(tree)
        yield from cpufreq_doors(tree)
        yield from overdrive_doors(tree)
    if root is None:
        yield from nvml_doors()
