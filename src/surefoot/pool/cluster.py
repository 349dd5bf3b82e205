"""Dask at the edge: the same work on a cluster's processes, by its address."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager

from surefoot.errors import MachineError


@contextmanager
def cluster(address: str) -> Iterator[Executor]:
    """An executor on the Dask cluster at an address. Raises MachineError without Dask, or where none answers."""
    try:
        from distributed import Client
    except ImportError:
        raise MachineError("a cluster needs Dask.", remedy="pip install 'surefoot[cluster]'") from None
    try:
        client = Client(address, timeout="10s", set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise MachineError(f"no Dask cluster answers: {error}.", where=address) from None
    with client:
        yield client.get_executor(pure=False)
