"""A newer bundle of a unit that is here already: what it knows beyond this journal is added, and nothing twice.

A run is known again by everything that was written when it was opened, its moment to the microsecond among it. Loading
the same bundle again adds nothing. Where the two sides say different things, both records are kept, one of them counts,
and which is said.
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from surefoot.journal.bundle_private import keeping_own, without_words
from surefoot.journal.bundle_rows import POINTS_TO, NewIds, copy_row, no_ids, rows_of
from surefoot.journal.moments import stamp
from surefoot.journal.store import Store
from surefoot.units import Unit

Key = tuple[Any, ...]

_ADDED: Final = ("scores", "readings", "forecasts", "exceptions")
"""Records that stand beside each other: those that are not here are added."""
_NEWEST: Final = ("consents", "configuration_names")
"""Records of which the newest counts: those newer than all that is here are added."""
# What stands applied, and which machine a unit is, is the machine's own: another journal cannot tell it.
_OF_NEW_RUN: Final = (
    "trial_runs",
    "applications",
    "heartbeats",
    "closings",
    "corrections",
    "trace_blocks",
    "thinnings",
)

_THINNED: Final = "SELECT 1 FROM thinnings WHERE run_id = ? LIMIT 1"

_WORDS: Final = frozenset({"note", "judged_by", "detail", "who", "why", "rule", "changes", "forecast"})
"""What a bundle may have left words out of: a record is known again without it, by its moment to the microsecond."""


@dataclass(frozen=True)
class Merged:
    """``runs``: those in the bundle; ``added``: those that were new; ``conflicts``: in words."""

    runs: int
    added: int
    conflicts: tuple[str, ...]


def mark(store: Store, unit_name: str) -> tuple[str, str]:
    """What two copies of one unit share, whatever was added since: when it was entered, and its first card."""
    row = store.row(
        "SELECT added_at, (SELECT card FROM cards WHERE cards.unit = units.name AND event = 'add' ORDER BY id) AS card"
        " FROM units WHERE name = ?",
        (unit_name,),
    )
    assert row is not None
    return row["added_at"], without_words(row["card"])


def merge(source: Store, target: Store, named: str, here: str, own: Unit | None = None) -> Merged:
    """Add to a unit what a bundle of it knows beyond. Inside the target's transaction, so whole or not at all.

    ``own``: the card here, which keeps what a bundle with words left out cannot know; None for a bundle that has all.
    """
    new_ids = no_ids()
    conflicts = _merge_cards(source, target, named, here, new_ids, own)
    fresh = _known_runs(source, target, named, here, new_ids)
    total = len(new_ids["runs"]) + len(fresh)
    conflicts += _merge_known(source, target, named, new_ids)
    for table in ("trials", "trial_ends"):
        _add_missing(source, target, table, named, here, new_ids)
    for row in rows_of(source, "runs", named):
        if row["id"] in fresh:
            copy_row(source, target, "runs", row, here, new_ids)
    for table in _OF_NEW_RUN:
        for row in rows_of(source, table, named):
            if row["run_id"] in fresh:
                copy_row(source, target, table, row, here, new_ids)
    for table in _ADDED:
        _add_missing(source, target, table, named, here, new_ids)
    for table in _NEWEST:
        newest = max((row["at"] for row in rows_of(target, table, here)), default="")
        for row in rows_of(source, table, named):
            if row["at"] > newest:
                copy_row(source, target, table, row, here, new_ids)
    return Merged(total, len(fresh), tuple(conflicts))


def _merge_cards(
    source: Store, target: Store, named: str, here: str, new_ids: NewIds, own_card: Unit | None
) -> list[str]:
    """Bring the card history together, the card changed last being the one that counts."""
    mine = list(rows_of(target, "cards", here))
    known = {_card_key(row): row["id"] for row in mine}
    theirs = [row for row in rows_of(source, "cards", named) if row["card"] is not None]
    missing = [row for row in theirs if _card_key(row) not in known]
    new_ids["cards"] |= {row["id"]: known[_card_key(row)] for row in theirs if _card_key(row) in known}
    change = None if own_card is None else keeping_own(own_card)
    for row in missing:
        copy_row(source, target, "cards", row, here, new_ids, change=change)
    own = [row for row in mine if row["card"] is not None]
    their_keys = {_card_key(row) for row in theirs}
    if not missing or _card_key(own[-1]) in their_keys:
        return []
    if own[-1]["at"] > missing[-1]["at"]:
        target.insert("cards", unit=here, at=stamp(), event="revise", card=own[-1]["card"])
        return ["the card was changed on both sides; the one of this journal is the newer and counts."]
    return ["the card was changed on both sides; the one of the bundle is the newer and counts."]


def _card_key(row: sqlite3.Row) -> Key:
    return row["at"], row["event"], None if row["card"] is None else without_words(row["card"])


def _known_runs(source: Store, target: Store, named: str, here: str, new_ids: NewIds) -> set[int]:
    """Match the bundle's runs with those that are here; the ids, in the bundle, of those that are not."""
    known = dict(_numbered(rows_of(target, "runs", here)))
    fresh = set()
    for key, number in _numbered(rows_of(source, "runs", named)):
        if key in known:
            new_ids["runs"][number] = known[key]
        else:
            fresh.add(number)
    return fresh


def _numbered(rows: Iterable[sqlite3.Row]) -> list[tuple[Key, int]]:
    """Each run with what it is known by; runs that are alike in everything are told apart by their order."""
    seen: Counter[Key] = Counter()
    found = []
    for row in rows:
        key = _content(row, "id", "unit", "card_id")
        found.append(((*key, seen[key]), int(row["id"])))
        seen[key] += 1
    return found


def _content(row: sqlite3.Row, *without: str) -> Key:
    return tuple((name, row[name]) for name in row.keys() if name not in without and name not in _WORDS)  # noqa: SIM118 (a row is no dict)


def _merge_known(source: Store, target: Store, named: str, new_ids: NewIds) -> list[str]:
    """Corrections and imported traces that runs known here have in the bundle alone."""
    conflicts = []
    known = new_ids["runs"]
    for row in rows_of(source, "closings", named):
        here = known.get(row["run_id"])
        if here is None:
            continue
        mine = target.row("SELECT * FROM closings WHERE run_id = ?", (here,))
        if mine is None:
            conflicts.append(f"run {here} is open here and closed in the bundle; judge it here first.")
        elif _content(mine, "run_id") != _content(row, "run_id"):
            conflicts.append(
                f"run {here} ended otherwise in the bundle ({row['outcome']}); what this journal says counts."
            )
    conflicts += _merge_corrections(source, target, named, known, new_ids)
    _merge_imports(source, target, named, known, new_ids)
    return conflicts


def _merge_corrections(source: Store, target: Store, named: str, known: dict[int, int], new_ids: NewIds) -> list[str]:
    theirs: dict[int, list[sqlite3.Row]] = {}
    for row in rows_of(source, "corrections", named):
        theirs.setdefault(row["run_id"], []).append(row)
    conflicts = []
    for number, rows in theirs.items():
        here = known.get(number)
        if here is None or target.row("SELECT 1 FROM closings WHERE run_id = ?", (here,)) is None:
            continue
        mine = target.rows("SELECT * FROM corrections WHERE run_id = ? ORDER BY id", (here,))
        have, brought = ({_content(row, "id", "run_id") for row in part} for part in (mine, rows))
        missing = [row for row in rows if _content(row, "id", "run_id") not in have]
        for row in missing:
            copy_row(source, target, "corrections", row, "", new_ids)
        own = [row for row in mine if _content(row, "id", "run_id") not in brought]
        if own and missing:
            # The last one written counts: it must be the one that was said last.
            if own[-1]["at"] > missing[-1]["at"]:
                values = {name: own[-1][name] for name in own[-1].keys() if name != "id"}  # noqa: SIM118
                target.insert("corrections", **values)
            conflicts.append(f"run {here} was corrected on both sides; what was said last counts.")
    return conflicts


def _merge_imports(source: Store, target: Store, named: str, known: dict[int, int], new_ids: NewIds) -> None:
    digest = "SELECT run_id, samples, data FROM trace_blocks WHERE heartbeat_id IS NULL AND run_id = ?"
    copied: set[int] = set()
    # Samples that were taken away on one side are not what the other still has beside them: they stay as they are.
    thinned = {row["run_id"] for row in rows_of(source, "thinnings", named)}
    thinned |= {there for there, here in known.items() if target.row(_THINNED, (here,)) is not None}
    for row in rows_of(source, "trace_blocks", named):
        here = known.get(row["run_id"])
        if here is None or row["heartbeat_id"] is not None or row["run_id"] in thinned:
            continue
        first = row["import_id"] is None
        have = any(
            (mine["samples"], mine["data"]) == (row["samples"], row["data"]) for mine in target.rows(digest, (here,))
        )
        if (first and not have) or row["import_id"] in copied:
            copy_row(source, target, "trace_blocks", row, "", new_ids)
            if first:
                copied.add(row["id"])


def _add_missing(source: Store, target: Store, table: str, named: str, here: str, new_ids: NewIds) -> None:
    have: dict[Key, list[int]] = {}
    for row in rows_of(target, table, here):
        have.setdefault(_content(row, "id", "unit"), []).append(row["id"])
    for row in rows_of(source, table, named):
        key = tuple((name, _followed(name, value, new_ids)) for name, value in _content(row, "id", "unit"))
        alike = have.get(key)
        if alike:
            new_ids[table][row["id"]] = alike.pop(0)
        else:
            copy_row(source, target, table, row, here, new_ids)


def _followed(name: str, value: Any, new_ids: NewIds) -> Any:
    """A value as the target has it: a pointer leads to the record there."""
    pointed = POINTS_TO.get(name)
    return value if pointed is None or value is None else new_ids[pointed][value]
