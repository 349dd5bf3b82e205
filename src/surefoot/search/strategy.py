"""What every strategy looks like, and the one registry in which they are found."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module
from typing import Protocol, runtime_checkable

from surefoot.errors import BadInput
from surefoot.search.evidence import Certificate, Evidence, Goal, Proposal
from surefoot.units import Knob


@runtime_checkable
class Strategy(Protocol):
    """A way to choose the next run and to say what may be claimed. Pure: same arguments, same answer.

    ``propose`` need not know the safety rules: `next_step` applies them last, for every strategy (rules.py).
    ``recommend`` gives the setting that the strategy would leave on the unit, or None.
    """

    @property
    def name(self) -> str:
        """Its name in the registry."""
        ...

    def propose(self, knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Proposal:
        """The run it wants next, or the stop."""
        ...

    def recommend(self, knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Certificate | None:
        """The setting it stands for on this evidence."""
        ...


# Imported when asked for, so that a strategy may itself import the registry. "module:class", made without arguments.
_PRODUCT = {
    "posterior": "surefoot.search.planner:PosteriorStrategy",
    "ladder": "surefoot.search.ladder:LadderStrategy",
    "bisection": "surefoot.search.bisection:BisectionStrategy",
}
_REGISTERED: dict[str, Strategy] = {}


def register(strategy: Strategy) -> None:
    """Add a strategy of another room (a benchmark's) under its own name; a second of the same name replaces it."""
    _REGISTERED[strategy.name] = strategy


def strategies() -> tuple[str, ...]:
    """Names of the strategies that can be asked for, the product's first."""
    return tuple(_PRODUCT) + tuple(name for name in _REGISTERED if name not in _PRODUCT)


def strategy_named(name: str) -> Strategy:
    """The strategy of that name. Raises BadInput naming those there are."""
    if name not in _REGISTERED:
        place = _PRODUCT.get(name)
        if place is None:
            raise BadInput(
                f"there is no strategy {name!r}.", where="strategy", remedy=f"Known: {', '.join(strategies())}."
            )
        module, _, made = place.partition(":")
        _REGISTERED[name] = getattr(import_module(module), made)()
    return _REGISTERED[name]
