"""The plan of a trial: randomised complete blocks, so that drift falls on every configuration alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from surefoot.errors import BadInput
from surefoot.scores.spending import levels

MOST_CONFIGURATIONS = 12
MOST_BLOCKS = 100


@dataclass(frozen=True, slots=True)
class Turn:
    """One run of a plan: ``block`` and ``position`` within it count from 1, over all strata; ``configuration`` and
    ``stratum`` from 0."""

    block: int
    position: int
    configuration: int
    stratum: int


@dataclass(frozen=True, slots=True)
class Trial:
    """What was decided before the first run, and how far it came.

    ``configurations``: their keys, the baseline first; ``blocks``: planned in each stratum; ``strata``: indices of the
    configurations that share what is hard to change, in the order they are taken; ``early``: whether it may stop early,
    judged after each block; ``to_see``: the difference looked for, percent; ``metric``: the one that stops it;
    ``ended``: whether no run is to come; ``number``: the journal's.
    """

    seed: int
    configurations: tuple[str, ...]
    blocks: int
    strata: tuple[tuple[int, ...], ...]
    early: bool = False
    to_see: float | None = None
    metric: str = ""
    ended: bool = False
    number: int = 0

    def __post_init__(self) -> None:
        if not 2 <= len(self.configurations) <= MOST_CONFIGURATIONS:
            raise BadInput(f"a trial compares 2 to {MOST_CONFIGURATIONS} configurations.")
        if len(set(self.configurations)) != len(self.configurations):
            raise BadInput("a configuration is named twice.")
        if not 2 <= self.blocks <= MOST_BLOCKS:
            raise BadInput(f"a trial of {self.blocks} blocks cannot be.", remedy=f"2 to {MOST_BLOCKS} blocks.")
        if sorted(i for group in self.strata for i in group) != list(range(len(self.configurations))):
            raise BadInput("every configuration belongs to one stratum.")

    def order(self) -> tuple[Turn, ...]:
        """Every run in the order it is to be made: each block a fresh permutation drawn from the seed.

        A block's order depends on the seed and its own number alone, so that a longer plan begins as a shorter one.
        """
        made = []
        for stratum, members in enumerate(self.strata):
            for turn in range(self.blocks):
                block = stratum * self.blocks + turn + 1
                drawn = np.random.default_rng([self.seed, stratum, turn]).permutation(len(members))
                made += [Turn(block, place + 1, members[int(i)], stratum) for place, i in enumerate(drawn)]
        return tuple(made)

    def level(self, blocks: int, comparisons: int, alpha: float) -> float | None:
        """The level a corrected chance of error must reach after so many complete blocks; None: not to be judged yet.

        A trial without early looks is judged once, at its end.
        """
        if not self.early:
            return alpha if self.ended or blocks >= self.blocks else None
        steps = levels(self.blocks, max(1, comparisons), alpha)
        return steps.get(min(blocks, self.blocks))


def strata_of(hard: Sequence[str]) -> tuple[tuple[int, ...], ...]:
    """Configurations grouped by what needs hands or a screwdriver, in the order first named.

    ``hard``: for each configuration, the text of its hard factors.
    """
    kinds = list(dict.fromkeys(hard))
    return tuple(tuple(i for i, one in enumerate(hard) if one == kind) for kind in kinds)


def design_says(trial: Trial, names: Sequence[str], hard: Sequence[str]) -> str:
    """The design in one sentence: what was randomised, and what was not."""
    many, kinds = len(trial.configurations), [hard[group[0]] for group in trial.strata]
    each = f"{trial.blocks} blocks" if len(kinds) == 1 else f"{trial.blocks} blocks at each cooling"
    drawn = f"the order within each block drawn from seed {trial.seed}"
    text = f"Randomised complete blocks: {many} configurations, {each}, every one once a block, {drawn}"
    if trial.early:
        text += "; looked at after each block from the third, by an alpha-spending rule that keeps the chance of error"
    if len(kinds) > 1:
        said = ", then ".join(f"“{kind or 'as it was'}”" for kind in kinds)
        text += (
            f". Not randomised: the cooling, changed once ({said}); what differs between coolings is confounded with"
            " all else that changed in between, and is compared as runs taken one after the other"
        )
    else:
        text += ". Not randomised: anything that stayed as it was throughout"
    return f"{text}."
