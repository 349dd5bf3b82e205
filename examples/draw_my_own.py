"""Draw a picture of your own from a journal: how long the unit held at each setting, and where it failed.

    SUREFOOT_HOME=/some/folder python examples/draw_my_own.py shoebox-3 my-picture.svg

`surefoot.open_journal` gives runs, traces, scores, readings and comparisons as DataFrames; what you draw with them is
yours. Here: Altair, which Surefoot brings along.
"""

from __future__ import annotations

import sys

import altair as alt

import surefoot


def main(unit: str, file: str) -> None:
    """Minutes under load by depth of the first knob that was moved, stacked by outcome, as SVG."""
    with surefoot.open_journal() as journal:
        runs = journal.runs(unit)
    settings = [name for name in runs.columns if name.startswith("setting.")]
    if not settings:
        raise SystemExit(f"no knob of {unit} was moved yet")
    knob = settings[0].removeprefix("setting.")
    picked = runs[["outcome", "minutes", settings[0]]].rename(columns={settings[0]: "offset"})
    table = picked.dropna().groupby(["offset", "outcome"], as_index=False)["minutes"].sum()
    chart = (
        alt.Chart(table, title=f"{unit}: minutes under load by {knob}")
        .mark_bar()
        .encode(
            x=alt.X("offset:O", title=f"{knob}, as set", sort="descending"),
            y=alt.Y("minutes:Q", title="minutes under load"),
            color=alt.Color("outcome:N", title="outcome"),
            tooltip=["offset", "outcome", "minutes"],
        )
    )
    chart.save(file)
    print(f"{len(table)} bars drawn in {file}")


if __name__ == "__main__":
    if len(sys.argv) != 3:
        raise SystemExit(__doc__)
    main(sys.argv[1], sys.argv[2])
