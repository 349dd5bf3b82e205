"""How long frames took, from the fastest to the slowest: a chart for each scene, with the spread between runs."""

from __future__ import annotations

from functools import partial

from surefoot.report.charts import common, percentiles
from surefoot.report.look import Looks
from surefoot.report.material import Material
from surefoot.report.picture import Picture
from surefoot.report.words import number, slug
from surefoot.scores.frame_curves import FrameCurve, between_runs, scenes
from surefoot.wording import count

MOST_SCENES = 4
OWN_LINES = 3
"""Up to so many runs of a configuration are drawn as lines of their own."""


def pictures(material: Material, looks: Looks) -> tuple[Picture, ...]:
    """The curves of each scene, of the configurations that are compared."""
    shown = [one for one in material.curves if one.configuration in looks.names]
    return tuple(
        made
        for scene in scenes(shown)[:MOST_SCENES]
        if (made := _picture(scene, [one for one in shown if one.scene == scene], looks)) is not None
    )


def _picture(scene: str, curves: list[FrameCurve], looks: Looks) -> Picture | None:
    import pandas as pd

    rows, own = [], []
    for key, name in looks.names.items():
        mine = [one for one in curves if one.configuration == key]
        spread = between_runs(mine)
        rows += [(name, percent, one.middle, one.low, one.high, one.runs) for percent, one in spread.items()]
        own += [
            (name, percent, one.milliseconds[percent], _run(one))
            for one in mine
            for percent in spread
            if 1 < len(mine) <= OWN_LINES
        ]
    if not rows:
        return None
    frame = pd.DataFrame(rows, columns=["configuration", "percent", "middle", "low", "high", "runs"])
    lines = pd.DataFrame(own, columns=["configuration", "percent", "milliseconds", "run"])
    order = [name for name in looks.by_name if name in set(frame["configuration"])]
    told = looks.speak_of(order)
    of_told = frame[frame["configuration"] == told].set_index("percent")["middle"]
    at = 99.0 if 99.0 in of_told.index else float(of_told.index.max())
    what = f"{scene[:1].upper()}{scene[1:]}: " if scene else "Frame times: "
    runs = sorted(set(frame["runs"]))
    many = count(runs[0], "run") if len(runs) == 1 else f"{runs[0]} to {count(runs[-1], 'run')}"
    thin = f"; thin lines: single runs, where there are {OWN_LINES} or fewer" if own else ""
    said = "; ".join(
        f"{name} {number(middle, 2)} ms ({number(low, 2)} to {number(high, 2)})"
        for name, percent, middle, low, high, _ in rows
        if percent == at
    )
    return Picture(
        key=f"frame-times-{slug(scene)}" if scene else "frame-times",
        title=f"{what}{at:g} % of the frames took at most {number(float(of_told[at]), 1)} ms in “{told}”",
        description=f"Frame time by share of the frames, by configuration. {at:g} % took at most, middle of the runs "
        f"(fastest to slowest run): {said}.",
        note="Lines: the middle of the runs; shades: from the fastest run to the slowest. Further right: the slower "
        "frames, stretched so that the slowest can be seen. Lower is better.",
        says=f"{many} of each configuration{thin}.",
        draw=partial(percentiles.draw, frame, lines, looks.by_name),
        table=frame.rename(
            columns={
                "percent": "% of frames",
                "middle": "at most, ms",
                "low": "fastest run, ms",
                "high": "slowest run, ms",
            }
        ),
        data=frame,
        legend=common.series_legend(order, [looks.by_name[name] for name in order], lines=True),
    )


def _run(curve: FrameCurve) -> str:
    return "of the configuration" if curve.run_id is None else f"run {curve.run_id}"
