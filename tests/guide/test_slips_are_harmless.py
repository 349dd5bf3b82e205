"""Slips of the hand thrown at every door through which told runs come, against virtual units whose edge is known.

**Harmless** means: of 1,000 histories with a slip in them (or two), in at most 1 does recall claim a depth past the
unit's true edge *because of the slip*. The true edge is the depth at which the virtual unit fails once an hour on
average, so a claim there of 100 hours is wrong a hundredfold. Because of the slip: the same history without it claims
no depth past the edge. (A model that is 90 % honest is allowed claims short of its goal, and those are measured by
`surefoot rehearse`.) A whole column in another unit of time is no slip of a line: it is asked about where the dates
speak against it or half of the holds would be hours long; somebody who insists on it (``insisted``) is believed.

The doors: ``table``: `log --from TABLE --yes`, which leaves out every row that is not sure; ``one by one``: the same
rows typed as `log --set ... --outcome ...` with nobody there to ask, so that what looks like a slip is refused;
``insisted``: the table with `--sure`, every row taken as it stands, so that nothing but the search's own rules is left.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC

import pytest
from slip_tables import COLUMN_SLIPS, DATE, LINE_SLIPS, MINUTES, NOW, RESULT, VALUE, Kept, slipped

from surefoot.errors import BadInput
from surefoot.guide.outside import (
    Told,
    date_of,
    length_is_bare,
    minutes_named,
    outcome_named,
    rows_told,
    told,
    values_of,
)
from surefoot.guide.slips import slips
from surefoot.logs.hand_table import read_hand_table
from surefoot.logs.tables import read_table
from surefoot.runs import Run
from surefoot.search import Goal, known_stable


def insisted(table: Kept) -> list[Told]:
    try:
        found = read_hand_table(read_table(table.text()), table.unit)
    except BadInput:
        return []
    return rows_told(table.unit, found.rows, lambda at: None)[0]


def by_table(table: Kept) -> list[Told]:
    rows = insisted(table)
    return [one for one, said in zip(rows, slips(table.unit, rows, [], NOW), strict=True) if not said]


def one_by_one(table: Kept) -> list[Told]:
    taken: list[Told] = []
    column = {heading: place for place, heading in enumerate(table.head)}
    length = column.get("minutes", column.get("hours", MINUTES))
    value = VALUE if length == MINUTES else MINUTES
    for row in table.rows:
        try:
            date = date_of(row[DATE], "--when") if row[DATE] else None
            typed = row[length] + (" h" if "hours" in column else "")
            one = told(
                table.unit,
                values_of(table.unit, {table.unit.knobs[0].name: row[value]}),
                outcome_named(row[RESULT]),
                minutes_named(typed),
                bare_length=length_is_bare(typed),
                then=None,
                at=date.moment.astimezone(UTC) if date and date.moment else None,
                whole_day=bool(date and date.whole_day),
            )
        except BadInput:
            continue
        if not slips(table.unit, [one], logged(taken), NOW)[0]:
            taken.append(one)
    return taken


DOORS: dict[str, Callable[[Kept], list[Told]]] = {"table": by_table, "one by one": one_by_one, "insisted": insisted}


def logged(rows: Sequence[Told]) -> list[Run]:
    return [
        Run(id=number, opened_at=one.at or NOW, plan=one.plan, closed_at=one.at or NOW, closing=one.closing)
        for number, one in enumerate(sorted(rows, key=lambda one: one.at or NOW), start=1)
    ]


def claimed(table: Kept, rows: Sequence[Told]) -> float:
    """The depth that recall claims."""
    known = known_stable(table.unit, logged(rows), Goal())
    knob = table.unit.knobs[0]
    return 0.0 if known is None else knob.depth_of(known.setting.value(knob.name))


def harmful(door: str, name: str, seeds: range) -> list[tuple[int, float, float]]:
    """Seed, claim and edge of each history in which the slip made recall claim past the edge."""
    found = []
    for seed in seeds:
        table, wrong = slipped(seed, name)
        depth = claimed(wrong, DOORS[door](wrong))
        if depth > table.edge and claimed(table, insisted(table)) <= table.edge:
            found.append((seed, depth, table.edge))
    return found


@pytest.mark.parametrize("name", LINE_SLIPS)
def test_no_slip_makes_a_claim_deeper_than_the_true_edge(name: str) -> None:
    assert {door: harmful(door, name, range(5)) for door in DOORS} == {door: [] for door in DOORS}


@pytest.mark.long
@pytest.mark.parametrize("door", sorted(DOORS))
def test_in_a_thousand_histories_one_at_most(door: str) -> None:
    seeds = range(45_000, 45_200)
    found = {name: harmful(door, name, seeds) for name in LINE_SLIPS}
    assert sum(map(len, found.values())) <= len(found) * len(seeds) / 1000, found


@pytest.mark.parametrize("name", COLUMN_SLIPS)
def test_a_column_in_another_unit_of_time_is_asked_about_where_dates_speak(name: str) -> None:
    dated = asked = 0
    for seed in range(40):
        wrong = slipped(seed, name)[1]
        if ":" in wrong.rows[0][DATE] and len(wrong.rows) > 8:
            dated += 1
            asked += len(by_table(wrong)) < len(insisted(wrong))
    assert dated >= 8 and asked >= 0.6 * dated


@pytest.mark.parametrize("name", COLUMN_SLIPS)
def test_a_column_in_another_unit_of_time_is_harmless_unless_insisted_on(name: str) -> None:
    asked = ("table", "one by one")
    assert {door: harmful(door, name, range(500, 506)) for door in asked} == {door: [] for door in asked}


@pytest.mark.parametrize("name", COLUMN_SLIPS)
def test_a_column_in_another_unit_of_time_is_asked_about_without_dates_too(name: str) -> None:
    undated = asked = 0
    for seed in range(40):
        table, wrong = slipped(seed, name)
        # A minute read as an hour is what some people hold each rung for.
        if not wrong.rows[0][DATE] and len(wrong.rows) > 5 and float(table.rows[-1][MINUTES]) > 1.5:
            undated += 1
            asked += len(by_table(wrong)) < len(insisted(wrong))
    assert undated >= 5 and asked >= 0.8 * undated


def test_a_forgotten_failure_is_what_the_told_hours_are_not_trusted_for() -> None:
    """Without the failure's line nothing says that there is an edge, and the claim keeps clear of the deepest hold."""
    deeper = 0
    for seed in range(30):
        table, wrong = slipped(seed, "left_out")
        knob = table.unit.knobs[0]
        rows = insisted(wrong)
        deepest = max((knob.sign * one.plan.setting.value(knob.name) for one in rows), default=0.0)
        failed = any(one.closing.outcome != "held" for one in rows)
        deeper += not failed and deepest > 0
        assert failed or claimed(wrong, rows) <= max(deepest - 20 * knob.step / 5, 0)
    assert deeper > 10
