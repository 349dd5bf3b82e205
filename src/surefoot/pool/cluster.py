"""Dask at the edge: the same work on a cluster's processes, by its address."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import Executor
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from surefoot.errors import MachineError
from surefoot.in_the_making import making
from surefoot.pool.build import Built, build, refuse_target


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


def build_on(executor: Executor, files: Sequence[Path], target: Path, *, overwrite: bool = False) -> Built:
    """As `build`, each input cleaned by a worker of its own; the workers must see the folder of the target.

    Raises what `build` raises.
    """
    refuse_target(target, overwrite, files)
    with making(target.parent, ".pool") as folder:
        parts = [folder / f"{at:06}.parquet" for at in range(len(files))]
        waiting = [
            executor.submit(_clean, file.resolve(), part.resolve()) for file, part in zip(files, parts, strict=True)
        ]
        left_out = sum(future.result() for future in waiting)
        done = build(parts, target, overwrite=overwrite)
    return replace(done, left_out=done.left_out + left_out)


def _clean(file: Path, part: Path) -> int:
    return build([file], part, overwrite=True).left_out
