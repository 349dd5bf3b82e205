"""One thread for the numeric library in this command, and not in what the user's own commands are started with."""

from __future__ import annotations

import os
from collections.abc import Mapping, MutableMapping

VARIABLES = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")

_ours: set[str] = set()


def one_each(environment: MutableMapping[str, str] = os.environ) -> None:
    """Ask for one thread where the user has not asked for any number; before numpy is imported, which reads it then.

    What we work out has dozens of rows. More threads take more than twice the processor time for it, most of all where
    the processors have other work (they wait for each other in loops); and the bench's load is to have them.
    """
    if not any(name in environment for name in VARIABLES):
        for name in VARIABLES:
            environment[name] = "1"
            _ours.add(name)


def as_the_user_has_it(environment: Mapping[str, str] = os.environ) -> dict[str, str]:
    """The environment without what `one_each` put there: what a user's own load or command is started with."""
    return {name: value for name, value in environment.items() if name not in _ours}
