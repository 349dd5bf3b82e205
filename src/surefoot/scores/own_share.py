"""What a setting brought by itself: measured pairs that differ in it, and in as little else as there is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from surefoot.scores.configurations import Configuration, unlike, word
from surefoot.units import Setting


@dataclass(frozen=True, slots=True)
class Pair:
    """A setting's configuration and the one at stock that it is to be set beside.

    ``also``: what else differs between the two, in words; empty where only the setting does.
    """

    tuned: Configuration
    stock: Configuration
    also: tuple[str, ...] = ()

    @property
    def alone(self) -> bool:
        """Whether nothing but the setting differs."""
        return not self.also


def differences(one: Configuration, other: Configuration) -> tuple[str, ...]:
    """What differs between two configurations besides the setting, in words, the second's value last."""
    found = []
    for what in ("power_mode", "cooling", "load", "firmware"):
        mine, theirs = getattr(one, what), getattr(other, what)
        if word(mine) != word(theirs):
            found.append(f"{what.replace('_', ' ')} {mine or 'not known'} instead of {theirs or 'not known'}")
    return (*found, *unlike(one, other))


def pairs_of(
    among: Sequence[Configuration],
    setting: Setting,
    *,
    power_mode: str | None = None,
    cooling: str | None = None,
) -> tuple[Pair, ...]:
    """The pairs that show what a setting brought, one a load, the likest first; () when it was not measured.

    ``among``: configurations of which something was measured. Of those at the setting, the one under the power mode and
    cooling asked for is taken, else the one that has the likest partner at stock. A partner under another load says
    nothing. The order of ``among`` decides nothing but ties.
    """
    if setting.is_stock:
        return ()
    stocks = [one for one in among if one.setting.is_stock]
    best: dict[str | None, tuple[tuple[int, int, int], Pair]] = {}
    for tuned in (one for one in among if one.setting == setting):
        strange = (power_mode is not None and word(tuned.power_mode) != word(power_mode)) + (
            cooling is not None and word(tuned.cooling) != word(cooling)
        )
        for stock in (one for one in stocks if word(one.load) == word(tuned.load)):
            also = differences(tuned, stock)
            rank = (strange, len(also), -len(tuned.run_ids) - len(stock.run_ids))
            load = word(tuned.load)
            if load not in best or rank < best[load][0]:
                best[load] = rank, Pair(tuned, stock, also)
    return tuple(pair for _, pair in sorted(best.values(), key=lambda found: found[0]))
