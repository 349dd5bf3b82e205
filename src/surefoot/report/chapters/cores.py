"""The chart of a unit that is tuned core by core: edges and certificates beside each other."""

from __future__ import annotations

from functools import partial

import numpy as np

from surefoot.report.charts import cores as drawing
from surefoot.report.material import Material
from surefoot.report.picture import LegendItem, Picture
from surefoot.report.theme import ink
from surefoot.report.words import minus, slug
from surefoot.units import Knob
from surefoot.wording import count, listed

LEGEND = (
    LegendItem("edge, and where eight tenths of it lie", ink("crash"), shape=drawing.EDGE_SHAPE),
    LegendItem("known-stable", ink("held"), shape=drawing.CERTIFIED_SHAPE),
)


def pictures(material: Material) -> tuple[Picture, ...]:
    """A chart for each kind of offset of which several cores have one of their own, of those that were searched."""
    kinds: dict[tuple[str, str, str], list[Knob]] = {}
    for knob in material.unit.leaders():
        # Every run at stock says something of every core; searched is one that was tried off it.
        searched = any(piece.depth > 0 for piece in material.evidence.get(knob.name, ()))
        if knob.cores and searched and knob.name in material.edges:
            kinds.setdefault((knob.domain, knob.unit, knob.toward), []).append(knob)
    return tuple(_picture(material, knobs) for knobs in kinds.values() if len(knobs) > 1)


def named(knob: Knob) -> str:
    """The cores of a knob, as a row is called: ``core 3``, ``cores 4 and 5``."""
    numbers = [str(core) for core in sorted(knob.cores)]
    return f"core {numbers[0]}" if len(numbers) == 1 else f"cores {listed(numbers)}"


def _picture(material: Material, knobs: list[Knob]) -> Picture:
    import pandas as pd

    knobs = sorted(knobs, key=lambda knob: min(knob.cores))
    certificates = material.known.certificates if material.known else {}
    rows, depths = [], {}
    for knob in knobs:
        found = material.edges[knob.name]
        low, middle, high = _spread(found.depths, found.edge_density)
        claim = certificates.get(knob.name)
        depths[knob.name] = middle
        rows.append({
            "cores": named(knob), "knob": knob.name,
            "edge": knob.value_at(middle), "low": knob.value_at(low), "high": knob.value_at(high),
            "certified": knob.value_at(claim.depth) if claim else np.nan,
            "failures": sum(piece.failed for piece in material.evidence.get(knob.name, ())),
            "edge_text": minus(knob.describe(round(middle))),
            "likely_text": f"{minus(knob.describe(round(low)))} to {minus(knob.describe(round(high)))}",
            "certified_text": minus(knob.describe(claim.depth)) if claim else "nothing yet",
        })  # fmt: skip
    frame = pd.DataFrame(rows)
    first = knobs[0]
    weakest, strongest = min(knobs, key=lambda one: depths[one.name]), max(knobs, key=lambda one: depths[one.name])
    ends = [f"{named(one)}, edge near {minus(one.describe(round(depths[one.name])))}" for one in (weakest, strongest)]
    title = f"The weakest is {ends[0]}; the strongest {ends[1]}"
    without = [named(knob) for knob in knobs if knob.name not in certificates]
    note = "Each row is one offset: a core, or the cores that share it."
    if without:
        note += f" Nothing is certified yet for {listed(without)}."
    shown = frame[["cores", "knob", "edge", "low", "high", "certified", "failures"]]
    return Picture(
        key=f"cores-{slug(first.domain)}-{slug(first.unit)}-{first.toward}",
        title=title,
        description=(
            f"For {count(len(knobs), 'offset')} of single cores: where the edge lies, with eight tenths of its "
            "density, and what is known-stable."
        ),
        draw=partial(drawing.draw, frame, f"{first.unit} (deeper to the right)", first.sign < 0),
        table=shown.rename(columns={
            "edge": f"edge ({first.unit})", "low": "likely from", "high": "likely to", "certified": "known-stable",
        }),
        data=shown,
        note=note,
        says="Edge: the depth of one hour between failures, as likely as not; line: eight tenths of it.",
        legend=LEGEND,
    )  # fmt: skip


def _spread(depths: np.ndarray, density: np.ndarray) -> tuple[float, float, float]:
    """Where a tenth, a half and nine tenths of a density lie."""
    total = np.cumsum(density)
    if total[-1] <= 0:
        return float(depths[0]), float(depths[-1] / 2), float(depths[-1])
    low, middle, high = np.interp([0.1, 0.5, 0.9], total / total[-1], depths)
    return float(low), float(middle), float(high)
