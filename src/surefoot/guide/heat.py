"""The shared heatsink of a unit: which part warms which, from runs with CPU and GPU loaded in turn and together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from surefoot.errors import BadInput
from surefoot.journal import Journal
from surefoot.runs import Run
from surefoot.thermal.channels import DOMAINS
from surefoot.thermal.heat import Change, Coupling, coupling
from surefoot.thermal.stretches import heat_points
from surefoot.units import Unit


@dataclass(frozen=True, eq=False)
class SharedHeat:
    """``coupling``: kelvin per watt from each part to each; ``run_ids``: the runs it rests on; ``points``: how many
    settled stretches; ``cooling``: that they share; ``changes``: by part, what the wanted changes of power would do."""

    coupling: Coupling
    run_ids: Sequence[int]
    points: int
    cooling: str | None
    changes: Mapping[str, Change]


def watts_of(texts: Mapping[str, str]) -> dict[str, float]:
    """Changes of power by part from what was typed: ``gpu=-20`` or ``gpu=-20 W``. Raises BadInput."""
    found = {}
    for name, text in texts.items():
        try:
            found[name.lower()] = float(text.upper().removesuffix("W").replace("\u2212", "-").strip())
        except ValueError:
            raise BadInput(f"{text!r} is not a number of watts.", where=f"--change {name}") from None
    return found


def shared_heat(journal: Journal, unit: Unit, run_ids: Sequence[int], watts: Mapping[str, float]) -> SharedHeat:
    """Fit the coupling matrix from a unit's traces under one cooling, and say what changes of power would do.

    ``run_ids``: these runs, or () for all under the card's present cooling; ``watts``: change by domain, W. Raises
    BadInput when no run has a trace, runs of different cooling were named, or they do not tell the parts apart.
    """
    runs = [run for run in journal.runs(unit.name) if journal.has_trace(run.id)]
    if run_ids:
        there = {run.id: run for run in runs}
        if missing := [str(number) for number in run_ids if number not in there]:
            raise BadInput(f"no run {', '.join(missing)} of {unit.name!r} has a trace.", where="--run")
        runs = [there[number] for number in run_ids]
        if len({run.plan.conditions.cooling for run in runs}) > 1:
            raise BadInput("the runs named were cooled differently.", where="--run", remedy="Name runs of one cooling.")
    else:
        runs = [run for run in runs if run.plan.conditions.cooling in (None, unit.cooling)]
    used: list[Run] = []
    points = []
    for run in runs:
        found = heat_points(journal.trace(run.id), run.plan.conditions.ambient_celsius)
        if found:
            used.append(run)
            points += found
    if unknown := [name for name in watts if name not in DOMAINS]:
        raise BadInput(f"there is no part {unknown[0]!r}.", where="--change", remedy=f"Parts: {', '.join(DOMAINS)}.")
    try:
        fitted = coupling(points)
    except BadInput as error:
        raise BadInput(
            error.what,
            where=f"unit {unit.name!r}",
            remedy="Hold a load on the CPU alone, on the GPU alone and on both, each until it settles: "
            "`surefoot measure --load cpu`, `--load gpu`, `--load cpu-gpu`.",
        ) from None
    changes = fitted.what_if(dict(watts)) if watts else {}
    return SharedHeat(fitted, tuple(run.id for run in used), len(points), unit.cooling, changes)
