"""The section of the edge: how likely it lies where, and what that means for hours between failures."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from surefoot.report.chapters import cores
from surefoot.report.charts import edge as drawing
from surefoot.report.material import Material
from surefoot.report.picture import LegendItem, Picture
from surefoot.report.theme import ink
from surefoot.report.view import Block, Empty, Section
from surefoot.report.words import minus, number, quoted, slug
from surefoot.search import EdgePosterior
from surefoot.units import Knob
from surefoot.wording import count

if TYPE_CHECKING:
    import pandas as pd

# The axis ends at 0.01 h; the curves go on below it, so that they leave the chart and do not run along its foot.
MTTF_SHOWN = (1e-5, 10_000.0)

LEGEND = (
    LegendItem(drawing.EDGE, ink("crash"), value=drawing.EDGE, dash=()),
    LegendItem(drawing.GOAL, ink("held"), value=drawing.GOAL, dash=(5, 3)),
)


def section(material: Material) -> Section:
    """For each searched knob: the densities with the guard band, and the mean time to failure by depth."""
    title = "Where the edge lies"
    charts: list[Picture] = []
    for knob in material.unit.leaders():
        found = material.edges.get(knob.name)
        if found is not None:
            charts += [_density(material, knob, found), _life(material, knob, found)]
    if not charts:
        return Section(
            "edge", "The edge", title,
            empty=Empty("There is no evidence on any knob.", f"surefoot tune {quoted(material.unit.name)}"),
        )  # fmt: skip
    lead = (
        "What all runs together say of each knob. The edge is the depth at which one hour of load passes "
        "between failures; the "
        f"goal asks for {material.goal.mttf_hours:g} h. The guard band is what is given up between the edge and "
        "the recommended "
        "setting, so that the claim holds although the edge is only known roughly."
    )
    by_core = [Block((picture,)) for picture in cores.pictures(material)]
    return Section("edge", "The edge", title, lead, blocks=(*by_core, Block(tuple(charts), LEGEND)))


def _reach(found: EdgePosterior, material: Material, knob: Knob) -> tuple[float, float]:
    """The depths worth showing: where there were runs or where either density is more than a trace."""
    depths = found.depths
    tried = [piece.depth for piece in material.evidence.get(knob.name, ())]
    seen = (found.edge_density > 0.004 * found.edge_density.max()) | (
        found.goal_density > 0.004 * found.goal_density.max()
    )
    likely = depths[seen] if seen.any() else depths
    off_stock = [depth for depth in tried if depth > 0]
    low = max(min([float(likely[0]), *off_stock]) - 2 * knob.step, 0.0)
    high = min(max([float(likely[-1]), *tried]) + knob.step, float(depths[-1]))
    return low, high


def _density(material: Material, knob: Knob, found: EdgePosterior) -> Picture:
    import pandas as pd

    reach = _reach(found, material, knob)
    keep = (found.depths >= reach[0] - 1e-9) & (found.depths <= reach[1] + 1e-9)
    frames = []
    for curve, density in ((drawing.EDGE, found.edge_density), (drawing.GOAL, found.goal_density)):
        frames.append(pd.DataFrame({
            "value": [knob.value_at(float(depth)) for depth in found.depths[keep]],
            "density": density[keep] / max(float(density.max()), 1e-12),
            "curve": curve,
            "depth_text": [minus(knob.describe(float(depth))) for depth in found.depths[keep]],
        }))  # fmt: skip
    frame = pd.concat(frames, ignore_index=True)
    claim = material.known.certificates.get(knob.name) if material.known else None
    edge = float(np.sum(found.depths * found.edge_density) / max(float(np.sum(found.edge_density)), 1e-12))
    recommended = knob.value_at(claim.depth) if claim else None
    edge_depth = claim.edge_depth if claim and np.isfinite(claim.edge_depth) else edge
    low, high = _interval(found.depths, found.edge_density)
    spread = f"{number(low, 0)} to {number(high, 0)} {knob.unit} deep (80 % of the density)"
    title = f"{knob.name}: the edge lies {spread}"
    if claim:
        where, near = minus(knob.describe(claim.depth)), minus(knob.describe(round(edge_depth)))
        title = f"{knob.name}: recommended {where}, edge near {near}"
    table = frame.pivot_table(index="value", columns="curve", values="density", sort=False).reset_index()
    return Picture(
        key=f"edge-{slug(knob.name)}",
        title=title,
        description=f"Density of the edge of {knob.name}: {spread}.",
        note=(f"The edge lies {spread}. " if claim else "") + "Marks along the bottom are the runs.",
        draw=partial(
            drawing.density, frame, _runs(material, knob, reach), knob, reach, recommended,
            knob.value_at(edge_depth) if claim else None,
        ),
        says=f"From {count(len(material.evidence.get(knob.name, ())), 'run')} that bear on the knob.",
        table=table.rename(columns={"value": f"{knob.name} ({knob.unit})"}),
        data=frame.drop(columns=["depth_text"]),
        wide=False,
    )  # fmt: skip


def _interval(depths: np.ndarray, density: np.ndarray) -> tuple[float, float]:
    total = np.cumsum(density)
    if total[-1] <= 0:
        return float(depths[0]), float(depths[-1])
    low, high = np.interp([0.1, 0.9], total / total[-1], depths)
    return float(low), float(high)


def _runs(material: Material, knob: Knob, reach: tuple[float, float]) -> pd.DataFrame:
    import pandas as pd

    rows = [
        {"run": run.id, "value": run.setting.value(knob.name), "outcome": run.outcome.value, "minutes": run.minutes}
        for run in material.runs_of(knob.name)
        if run.outcome is not None and reach[0] <= knob.depth_of(run.setting.value(knob.name)) <= reach[1]
    ]
    return pd.DataFrame(rows, columns=["run", "value", "outcome", "minutes"])


def _life(material: Material, knob: Knob, found: EdgePosterior) -> Picture:
    import pandas as pd

    reach = _reach(found, material, knob)
    keep = (found.depths >= reach[0] - 1e-9) & (found.depths <= reach[1] + 1e-9)
    frame = pd.DataFrame({
        "value": [knob.value_at(float(depth)) for depth in found.depths[keep]],
        "low": np.clip(found.mttf_low[keep], *MTTF_SHOWN),
        "middle": np.clip(found.mttf_median[keep], *MTTF_SHOWN),
        "high": np.clip(found.mttf_high[keep], *MTTF_SHOWN),
        "depth_text": [minus(knob.describe(float(depth))) for depth in found.depths[keep]],
    })  # fmt: skip
    goal = material.goal
    # Whole steps lie between the depths that the posterior is reckoned at.
    steps = np.arange(0.0, float(found.depths[-1]) + 1e-9, knob.step)
    meets = steps[np.interp(steps, found.depths, np.log(found.mttf_low)) >= np.log(goal.mttf_hours)]
    title = f"{knob.name}: hours between failures by depth"
    if len(meets) and meets[-1] > 0:
        title = (
            f"{knob.name}: {goal.mttf_hours:g} h between failures are borne out to "
            f"{minus(knob.describe(float(meets[-1])))}"
        )
    table = frame.drop(columns=["depth_text"]).rename(
        columns={
            "value": f"{knob.name} ({knob.unit})",
            "low": "hours at least",
            "middle": "hours middle",
            "high": "hours at most",
        }
    )
    return Picture(
        key=f"hours-between-failures-{slug(knob.name)}",
        title=title,
        description=f"Mean time to failure over {knob.name}, with its bounds at {goal.confidence:.0%} confidence.",
        note=f"Line: the middle of what the runs allow; shade: bounds at {goal.confidence:.0%} confidence each.",
        says=f"From {count(len(material.evidence.get(knob.name, ())), 'run')} that bear on the knob.",
        draw=partial(drawing.life, frame, knob, reach, goal.mttf_hours),
        table=table,
        data=frame.drop(columns=["depth_text"]),
        wide=False,
    )
