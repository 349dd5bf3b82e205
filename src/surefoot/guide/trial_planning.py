"""A trial planned: how many blocks, in which order, how long, and what it would show."""

from __future__ import annotations

import math
import secrets
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from surefoot.errors import BadInput
from surefoot.guide.trial_state import BETWEEN_RUNS_MINUTES, own_score, spread_seen, states, usual_score
from surefoot.journal import Journal
from surefoot.scores.design import design_says
from surefoot.scores.power import MOST_BLOCKS, Power, blocks_for, power
from surefoot.scores.trial_plan import Arm, Instrument, TrialPlan
from surefoot.units import Unit

ASSUMED_SPREAD_PERCENT: Final = 1.0
USUAL_BLOCKS: Final = 5


@dataclass(frozen=True, slots=True)
class Planned:
    """A plan with what was thought when it was made: the spread it rests on, percent, where that is from, and what the
    trial would show with it; None where no difference to see was named."""

    plan: TrialPlan
    spread_percent: float
    spread_from: str
    power: Power | None


def plan_trial(
    journal: Journal,
    unit: Unit,
    arms: tuple[Arm, ...],
    *,
    load: str,
    seed: int,
    minutes: float = 15.0,
    repeats: int | None = None,
    to_see: float | None = None,
    metric: str = "",
    readings: tuple[Instrument, ...] = (),
) -> Planned:
    """Plan a trial: with ``to_see`` (percent) as many blocks as show it with a chance of 80 % at the spread seen so far
    (never more than ``repeats``, where that is given), looked at after each block; else ``repeats`` blocks.

    Raises BadInput for a plan that cannot be, or that no affordable number of blocks would answer.
    """
    decides = metric or usual_score(load)
    told = decides if metric else _told_by(journal, unit, load)
    seen = spread_seen(journal, unit.name, told)
    spread = seen[0] if seen else ASSUMED_SPREAD_PERCENT
    source = f"seen in {seen[1]} runs of {told}" if seen else f"assumed, no two runs of {told} being there yet"
    many = sum((arm.cooling or "") == (arms[0].cooling or "") for arm in arms)
    chance: Power | None = None
    if to_see is not None and many > 1:
        chance = blocks_for(many, to_see, spread, early=True, at_least=3, at_most=repeats or MOST_BLOCKS)
        if chance is None:
            most = max(3, repeats or MOST_BLOCKS)
            chance = power(most, many, to_see, spread, early=True)
            if repeats is None:
                raise BadInput(
                    f"{to_see:g} % cannot be seen with a chance of 80 % in {most} blocks at a spread of {spread:.2g} %"
                    f" ({source}): the chance is {100 * chance.chance:.0f} %.",
                    remedy="Look for a larger difference, or make single runs longer and steadier.",
                )
        blocks = chance.blocks
    else:
        blocks = repeats or USUAL_BLOCKS
    plan = TrialPlan(
        seed=seed,
        arms=arms,
        load=load,
        minutes=minutes,
        blocks=blocks,
        firmware=unit.firmware,
        to_see=to_see,
        early=to_see is not None,
        metric=decides,
        readings=readings,
        reading_minute=round(0.8 * minutes, 1),
    )
    plan.design()
    return Planned(plan, spread, source, chance)


def _told_by(journal: Journal, unit: Unit, load: str) -> str:
    """The name of the score that runs under a load have: its own, where the card or the runs say that it has one."""
    own = next((card.name for card in unit.loads if card.name == load and card.score), None)
    runs = {run.id for run in journal.runs(unit.name) if run.plan.load == load}
    return own or own_score(load, journal.scores(unit.name), runs)


def begin_trial(journal: Journal, unit: Unit, plan: TrialPlan, *, at: datetime | None = None) -> int:
    """Write the plan down; its number. Raises BadInput while another trial of the unit goes on."""
    going = [one for one in states(journal, unit.name) if one.next is not None]
    if going:
        raise BadInput(
            f"trial {going[0].number} of {unit.name!r} goes on.",
            remedy=f"`surefoot trial {unit.name}` continues it; with --end no run of it is to come.",
        )
    for arm in plan.arms:
        unit.depths(arm.setting)
    return journal.add_trial(unit.name, plan.model_dump(mode="json"), at=at)


def drawn_seed() -> int:
    """A seed from the system's own chance, short enough to be typed again."""
    return secrets.randbelow(1_000_000)


def percent_from(text: str | None) -> float | None:
    """``2%``, ``2 %`` or ``0.02`` as 2. Raises BadInput for what is no share between 0.01 and 100 %."""
    if text is None:
        return None
    plain = text.strip().replace(",", ".")
    try:
        value = float(plain.rstrip("% ")) if plain.endswith("%") else 100 * float(plain)
    except ValueError:
        value = math.nan
    if not 0.01 <= value <= 100:
        raise BadInput(f"{text!r} is no difference to see.", where="--to-see", remedy="Write 2% or 0.02.")
    return value


def plan_says(planned: Planned) -> str:
    """The plan in words: the design, how long it takes, and what it would show."""
    plan = planned.plan
    design = plan.design()
    turns = len(design.order())
    hours = turns * (plan.minutes + BETWEEN_RUNS_MINUTES) / 60
    text = design_says(design, [arm.name for arm in plan.arms], [arm.cooling or "" for arm in plan.arms])
    text += f" {turns} runs of {plan.minutes:g} min, about {hours:.1f} h."
    if planned.power is not None and plan.to_see is not None:
        chance, mean = planned.power.chance, planned.power.mean_blocks
        text += (
            f" It shows a difference of {plan.to_see:g} % with a chance of {100 * chance:.0f} % at a spread of"
            f" {planned.spread_percent:.2g} % ({planned.spread_from}), after {mean:.1f} blocks on average."
        )
    return text


def order_says(plan: TrialPlan) -> list[str]:
    """The order of the runs, a line a block."""
    turns = plan.design().order()
    made = []
    for block in dict.fromkeys(turn.block for turn in turns):
        names = [plan.arms[turn.configuration].name for turn in turns if turn.block == block]
        made.append(f"block {block}: {'; '.join(names)}")
    return made
