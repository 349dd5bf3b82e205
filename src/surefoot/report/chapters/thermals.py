"""The sections of the traces: what held the clock down, and the sensors over time."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from surefoot.report.charts import common, shares, timeline
from surefoot.report.downsample import buckets
from surefoot.report.look import Looks
from surefoot.report.material import Material
from surefoot.report.picture import Picture
from surefoot.report.view import Block, Empty, Section
from surefoot.report.words import number, quoted, slug
from surefoot.runs import Channel
from surefoot.scores.comparison import LimiterShare

if TYPE_CHECKING:
    import pandas as pd

WORDS = {"cpu": "CPU", "gpu": "GPU"}
SHOWN_FIRST = (
    "cpu.temperature", "gpu.temperature", "cpu.clock", "gpu.clock", "cpu.power", "gpu.power", "cpu.fan", "gpu.fan",
)  # fmt: skip
POINTS = 180


def limiters(material: Material, looks: Looks) -> Section:
    """Stacked shares of the time by what held the clock down, a chart for each part."""
    title = "What held the clock down"
    comparison = material.comparison
    found = comparison.limiters if comparison else ()
    domains = list(dict.fromkeys(one.domain for one in found))
    charts = [_shares(domain, [one for one in found if one.domain == domain], looks) for domain in domains]
    if not charts:
        name = quoted(material.unit.name)
        return Section(
            "limiters", "Limiters", title, empty=Empty("No trace with clocks was recorded.", f"surefoot measure {name}")
        )
    lead = (
        "Share of the time under load. Where the hardware reports why its clock is held down, its report is "
        "taken; else clock, "
        "power and temperature are set against their limits."
    )
    present = {label for one in found for label, share in one.shares.items() if share >= 0.005}
    return Section("limiters", "Limiters", title, lead, blocks=(Block(tuple(charts), shares.legend_items(present)),))


def _shares(domain: str, found: list[LimiterShare], looks: Looks) -> Picture:
    import pandas as pd

    rows = []
    word = WORDS.get(domain, domain)
    for one in found:
        start = 0.0
        for label in shares.WORDS:
            share = one.shares.get(label, 0.0)
            if share < 0.0005:
                continue
            rows.append({
                "configuration": looks.names[one.configuration],
                "limiter": label,
                "share": share,
                "start": start,
                "end": min(start + share, 1.0),
                "label": f"{shares.WORDS[label].split(':')[0].replace(' limit', '')} {share:.0%}",
                "rule": one.sentence or f"mean over {one.runs} runs",
            })  # fmt: skip
            start += share
    frame = pd.DataFrame(rows, columns=["configuration", "limiter", "share", "start", "end", "label", "rule"])
    order = [name for name in looks.by_name if name in set(frame["configuration"])]
    table = (
        frame.assign(limiter=frame["limiter"].map(shares.WORDS), share=(100 * frame["share"]).round(1))
        .pivot_table(index="configuration", columns="limiter", values="share", sort=False, fill_value=0.0)
        .reindex(order)
        .add_suffix(", %")
        .reset_index()
    )
    return Picture(
        key=f"limiters-{slug(domain)}",
        title=_shares_title(word, frame, order, looks),
        description=f"Share of the time by what held the {word} clock down, by configuration.",
        says=_runs_behind(found),
        draw=partial(shares.draw, frame, order),
        table=table,
        data=frame.drop(columns=["start", "end", "label"]),
        wide=False,
    )


def _runs_behind(found: list[LimiterShare]) -> str:
    """How many runs the shares are means of."""
    runs = [one.runs for one in found]
    many = str(runs[0]) if min(runs) == max(runs) else f"{min(runs)} to {max(runs)}"
    return f"Means over {many} runs of each configuration."


def _shares_title(word: str, frame: pd.DataFrame, order: list[str], looks: Looks) -> str:
    if not order:
        return f"{word}: what held the clock down"
    leaders = frame.loc[frame.groupby("configuration")["share"].idxmax()].set_index("configuration")
    told = looks.speak_of(order)
    first, last = str(leaders["limiter"][order[0]]), str(leaders["limiter"][told])

    def say(label: str) -> str:
        return "nothing" if label == "free" else shares.WORDS[label].replace("power limit", "its power limit")

    if first != last:
        return f"{word}: limited by {say(first)} in “{order[0]}”, by {say(last)} in “{told}”"
    return f"{word}: limited mostly by {say(last)} in “{told}” ({float(leaders['share'][told]):.0%} of the time)"


def over_time(material: Material, looks: Looks) -> Section:
    """Each sensor over time, one line a configuration."""
    title = "Thermals over time"
    charts = []
    for channel in _channels(material):
        frame = _frame(material, looks, channel)
        if len(frame):
            charts.append(_timeline(frame, channel, looks))
    if not charts:
        name = quoted(material.unit.name)
        return Section(
            "thermals", "Over time", title,
            empty=Empty("No sensor trace was recorded.", f"surefoot trace import FILE --unit {name}"),
        )  # fmt: skip
    order = [
        name
        for name in looks.by_name
        if any(name in set(chart.data["configuration"]) for chart in charts if chart.data is not None)
    ]
    runs = ", ".join(
        f"{looks.names[key]}: run {run.id}" for key, (run, _) in material.traces.items() if key in looks.names
    )
    lead = (
        "One run of each configuration. Lines are means, the shade behind a line reaches from the least to the "
        "greatest value of "
        "each moment, so that no peak is lost. Zooming in one chart zooms all."
    )
    legend = common.series_legend(order, [looks.by_name[name] for name in order], lines=True)
    return Section(
        "thermals", "Over time", title, lead, blocks=(Block(tuple(charts), legend),), after=f"Runs shown. {runs}."
    )


def _channels(material: Material) -> list[str]:
    there = {name for _, trace in material.traces.values() for name in trace.channels}
    return [name for name in SHOWN_FIRST if name in there]


def _frame(material: Material, looks: Looks, channel: str) -> pd.DataFrame:
    import pandas as pd

    frames = []
    for key, (_, trace) in material.traces.items():
        values = trace.get(channel)
        if values is None or key not in looks.names:
            continue
        at, mean, low, high = buckets(trace.seconds, values, _points(len(material.traces)))
        frames.append(pd.DataFrame({
            "configuration": looks.names[key], "minutes": at / 60.0, "mean": mean, "low": low, "high": high,
        }))  # fmt: skip
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame()


def _points(lines: int) -> int:
    """How many points a line gets: fewer where there are many lines, so that the page stays small."""
    return max(min(POINTS, 2400 // max(lines, 1)), 40)


def _timeline(frame: pd.DataFrame, channel: str, looks: Looks) -> Picture:
    import pandas as pd

    parsed = Channel.parse(channel)
    label = f"{WORDS.get(parsed.domain, parsed.domain)} {parsed.quantity}" + (
        " speed" if parsed.quantity == "fan" else ""
    )
    decimals = 0 if parsed.unit in ("MHz", "rpm", "°C") else 1
    late = frame[frame["minutes"] >= 0.75 * frame.groupby("configuration")["minutes"].transform("max")]
    ends = late.groupby("configuration", sort=False)["mean"].mean()
    last = looks.speak_of([name for name in looks.by_name if name in ends.index])
    if parsed.quantity == "temperature":
        peak = frame.iloc[int(frame["high"].to_numpy().argmax())]
        title = f"{label} peaks at {number(float(peak['high']), 0)} °C in “{peak['configuration']}”"
    else:
        title = f"{label} settles at {number(float(ends[last]), decimals)} {parsed.unit} in “{last}”"
    minute = np.floor(frame["minutes"])
    table = frame.assign(minute=minute).pivot_table(index="minute", columns="configuration", values="mean", sort=False)
    table = table[[name for name in looks.by_name if name in table.columns]].reset_index()
    return Picture(
        key=f"over-time-{slug(channel)}",
        title=title,
        description=f"{label} over time by configuration. Mean of the last quarter: "
        + "; ".join(f"{name} {number(float(value), decimals)} {parsed.unit}" for name, value in ends.items())
        + ".",
        says="One run of each configuration. Lines: means; the shade reaches from the least to the greatest value.",
        draw=partial(timeline.draw, frame, looks.by_name, f"{label}, {parsed.unit}"),
        table=pd.DataFrame(table),
        data=frame,
        zooms=True,
        wide=False,
    )
