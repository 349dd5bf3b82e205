"""Have a setting applied, outside a run."""

from __future__ import annotations

from surefoot.errors import MachineError
from surefoot.guide.bench import Bench
from surefoot.units import Setting


def apply_setting(bench: Bench, setting: Setting) -> Setting:
    """Apply and return what was read back (what was asked for when nothing reads back).

    Raises BadInput for a setting that must never be applied, MachineError when it could not be, or is not there.
    """
    read = bench.apply(setting)
    if wrong := bench.missing(setting, read):
        raise MachineError(
            f"{'; '.join(wrong)}.",
            where=f"unit {bench.unit.name!r}",
            remedy="Check the utility that applies it, or restart.",
        )
    return setting if read is None else read
