"""Kernels of work of the built-in CPU load: each computes something and checks itself. One to a file."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from surefoot.rig.loads.kernels.base import Kernel, Tamper, WrongResult, leave_alone
from surefoot.rig.loads.kernels.chain import Chain
from surefoot.rig.loads.kernels.chase import Chase
from surefoot.rig.loads.kernels.compression import Compression
from surefoot.rig.loads.kernels.digest import Digest
from surefoot.rig.loads.kernels.matrix import Matrix
from surefoot.rig.loads.kernels.sweep import CACHE_BYTES, STREAM_BYTES, Sweep
from surefoot.rig.loads.kernels.transform import Transform

__all__ = ["Kernel", "Tamper", "WrongResult", "leave_alone", "make_kernels"]


def make_kernels(names: Iterable[str], stream_bytes: int = STREAM_BYTES, cache_bytes: int = 0) -> dict[str, Kernel]:
    """The kernels of these names.

    ``stream_bytes``: of memory that the memory-bound one goes through; ``cache_bytes``: a processor's share of the
    last cache, 0 where it is not known.
    """
    makers: dict[str, Callable[[], Kernel]] = {
        "matrix": lambda: Matrix(cache_bytes),
        "chain": Chain,
        "transform": Transform,
        "chase": Chase,
        "cache": lambda: Sweep("cache", CACHE_BYTES, 8, 16),
        "compression": Compression,
        "stream": lambda: Sweep("stream", stream_bytes, 12, 1),
        "digest": Digest,
    }
    return {name: makers[name]() for name in names}
