"""The sentences that are shown with a comparison."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from surefoot.scores.cells import Family, Row
from surefoot.scores.configurations import Configuration, unlike
from surefoot.wording import listed

_METHODS = {
    "paired": "within blocks by the paired t test",
    "blocks": "within blocks by the analysis of variance of randomised blocks, many-to-one (Dunnett),"
    " the baseline by a spread of its own where it varies more than the rest",
    "block bootstrap": "within blocks by resampling whole blocks (lows)",
    "welch": "between runs by Welch's test",
    "many-to-one": "between runs many-to-one (Dunnett), with a common spread where none is larger than the rest",
    "bootstrap": "between runs by a studentised bootstrap (lows)",
}


def quoted(one: Configuration) -> str:
    """The name of a configuration inside a sentence: it may hold commas and words of any kind."""
    return f"“{one.name}”"


def correction_says(rows: Sequence[Row], confidence: float, family: Family) -> str:
    """How a difference came to be called real, in words."""
    tested = [cell for row in rows for cell in row.cells if cell.gain and not math.isnan(cell.gain.p_value)]
    if not tested:
        return "No difference was tested: that takes at least two runs of a configuration and two of its baseline."
    percent = f"{100 * (1 - confidence):g} %"
    over = (
        "step by step (as Holm's method does) over the configurations within each metric"
        if family == "metric"
        else f"by Holm's method over all {len(tested)} tests of the table"
    )
    text = f"A difference is called real at a {percent} chance of error, corrected {over}"
    metrics = len({cell.metric for cell in tested})
    if family == "metric" and metrics > 1:
        text += f"; {metrics} metrics were each tested so: had nothing changed, about"
        text += f" {metrics * (1 - confidence):.1f} of them would still show a difference by chance"
    ways = {cell.gain.method for cell in tested if cell.gain}
    said = [words for way, words in _METHODS.items() if way in ways]
    text = f"{text}. Judged {'; '.join(said)}."
    if ways - {"paired", "blocks", "block bootstrap"}:
        text += (
            " What was not taken in blocks must also stand against every drift that the order of its runs does not"
            " rule out."
        )
    return text


def taken_of(rows: Sequence[Row], by_key: Mapping[str, Configuration]) -> tuple[str, ...]:
    """How the configurations were taken, a sentence for each way and kind."""
    made = []
    for way in ("in blocks", "in turns", "one after the other", "order not known"):
        cells = [cell for row in rows for cell in row.cells if cell.taken == way]
        who = [quoted(by_key[key]) for key in by_key if any(cell.configuration == key for cell in cells)]
        if not who:
            continue
        names = listed(who)
        if way == "in blocks":
            counts = sorted({cell.gain.blocks for cell in cells if cell.gain})
            many = f"{counts[0]}" if len(counts) == 1 else f"{counts[0]} to {counts[-1]}"
            made.append(f"Taken in {many} randomised blocks with the baseline, compared within them: {names}.")
        elif way == "in turns":
            made.append(f"Taken in turns with the baseline, though not as a trial: {names}.")
        elif way == "one after the other":
            made.append(f"Taken one after the other, where a drift and a gain look alike: {names}.")
        else:
            made.append(f"In which order it was measured is not known, so drift could not be tested for: {names}.")
    hidden = [cell for row in rows for cell in row.cells if cell.verdict in ("drifted", "could drift")]
    if hidden:
        made.append("A trial (surefoot trial) measures in blocks, where a drift falls on every configuration alike.")
    return tuple(made)


def notes_of(
    rows: Sequence[Row], by_key: Mapping[str, Configuration], first: str, room: float | None
) -> tuple[str, ...]:
    notes = []
    for key, one in by_key.items():
        differs = unlike(one, by_key[first]) if key != first else ()
        if differs:
            notes.append(f"{quoted(one)} and the baseline differ in more than their settings: {'; '.join(differs)}.")
        if len(one.supplies) > 1 or len(one.drivers) > 1:
            mixed = " and ".join((*one.supplies[1:], *one.drivers[1:]))
            notes.append(f"{quoted(one)}: its runs differ among themselves (also {mixed}).")
    single = sorted({cell.configuration for row in rows for cell in row.cells if cell.runs == 1})
    if single:
        who = listed([quoted(by_key[key]) for key in single])
        notes.append(f"One run only, so no spread and nothing is called real there: {who}.")
    if any(row.metric.follows_room for row in rows):
        if room is None:
            spread = [ambient for one in by_key.values() for ambient in one.ambients]
            if spread and max(spread) - min(spread) > 0.5:
                notes.append(
                    f"Temperatures are as measured, in rooms of {min(spread):.1f} to {max(spread):.1f} °C: not alike."
                )
        else:
            notes.append(
                f"Temperatures are given for a room of {room:.1f} °C: each moved by the difference between that room"
                " and its own (steady state at constant power, JEDEC JESD51-1)."
            )
    return tuple(notes)
