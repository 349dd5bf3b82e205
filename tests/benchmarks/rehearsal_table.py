"""The README's benchmark table, as Markdown, from `surefoot rehearse --table --json` on standard input. Run by hand."""

from __future__ import annotations

import json
import sys

from surefoot.rehearsal.benchmark import as_honest
from surefoot.rehearsal.measures import Measures


def row(one: Measures, ladder: Measures) -> str:
    """One line of the table; ratio of bench hours to the ladder in the same population."""
    return (
        f"| {one.population} | {one.strategy} | {one.hours:.2f} ({one.hours_p90:.2f}) | {one.hours / ladder.hours:.2f} "
        f"| {one.crashes:.2f} ({one.crashes_p90:.0f}) | {one.runs:.1f} | {one.honest:.3f} [{one.honest_low:.2f}, "
        f"{one.honest_high:.2f}] | {one.told} | {one.give_away:.1f} | {one.overshoot:.0f} |"
    )


def main() -> None:
    read = json.load(sys.stdin)
    found = [Measures(**one) for one in read["measures"]]
    print(f"{read['units']} units of each population, seed {read['seed']}.\n")
    print(
        "| population | strategy | bench hours (p90) | of the ladder's | crashes (p90) | runs | honest [95 %] | claims "
        "| give-away, mV | deepest past edge, mV |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |"
    )
    for one in found:
        ladder = next(it for it in found if (it.population, it.strategy) == (one.population, "ladder"))
        print(row(one, ladder))
    for population in ("reference", "soft"):
        widened = as_honest(found, population)
        said = "none of those tried" if widened is None else f"`{widened.strategy}`"
        print(f"\nLadder as honest as the search on {population}: {said}.")


if __name__ == "__main__":
    main()
