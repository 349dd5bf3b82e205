"""A trial's plan as it is written down: everything that a later session needs to go on with it."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from surefoot.runs import ReadingKind
from surefoot.scores.configurations import Parts, key_of, word
from surefoot.scores.design import Trial, strata_of
from surefoot.units import Setting


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="ignore")


class Arm(_Frozen):
    """One configuration of a trial: its name for people, and what is to be set; None: as the card has it."""

    name: str
    setting: Setting = Setting()
    power_mode: str | None = None
    cooling: str | None = None

    def key(self, load: str, firmware: str | None) -> str:
        """The key of the configuration its runs will fall into."""
        return key_of(Parts(word(self.power_mode), word(self.cooling), self.setting, word(load), word(firmware)))


class Instrument(_Frozen):
    """A reading to be taken in every run: ``kind`` and ``place`` as in `Reading`."""

    kind: ReadingKind
    place: str = ""


class TrialPlan(_Frozen):
    """What was decided before the first run.

    ``arms``: the baseline first; ``minutes``: of each run; ``blocks``: planned; ``to_see``: percent; ``early``: whether
    it may stop early by the spending rule; ``metric``: by name, that decides it; ``readings``: to be taken in each run,
    ``reading_minute``: when.
    """

    seed: Annotated[int, Field(ge=0)]
    arms: tuple[Arm, ...]
    load: str
    minutes: Annotated[float, Field(gt=0)]
    blocks: int
    firmware: str | None = None
    to_see: float | None = None
    early: bool = False
    metric: str = ""
    readings: tuple[Instrument, ...] = ()
    reading_minute: float = 0.0

    def design(self, number: int = 0, *, ended: bool = False) -> Trial:
        """The design with its order. Raises BadInput for one that cannot be."""
        return Trial(
            seed=self.seed,
            configurations=tuple(arm.key(self.load, self.firmware) for arm in self.arms),
            blocks=self.blocks,
            strata=strata_of([arm.cooling or "" for arm in self.arms]),
            early=self.early,
            to_see=self.to_see,
            metric=self.metric,
            ended=ended,
            number=number,
        )
