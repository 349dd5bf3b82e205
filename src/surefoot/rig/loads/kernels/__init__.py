"""Kernels of work of the built-in CPU load: each computes something and checks itself. One to a file."""

from __future__ import annotations

from surefoot.rig.loads.kernels.base import Kernel, Tamper, WrongResult, leave_alone
from surefoot.rig.loads.kernels.compression import Compression
from surefoot.rig.loads.kernels.digest import Digest
from surefoot.rig.loads.kernels.matrix import Matrix
from surefoot.rig.loads.kernels.transform import Transform

__all__ = ["Compression", "Digest", "Kernel", "Matrix", "Tamper", "Transform", "WrongResult", "leave_alone", "rotation"]


def rotation() -> tuple[Kernel, ...]:
    """The kernels in the order in which the load goes round them: heavy vector work and branching work by turns."""
    return (Matrix(), Digest(), Transform(), Compression())
