"""The records of a unit, copied from one journal to another row by row, their pointers followed."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from typing import Any

from surefoot.journal.store import Store
from surefoot.units import Unit

# In the order they are copied: what is pointed to before what points to it, and a run's closing after its heartbeats,
# since a closed run takes none.
OF_UNIT = (
    *("cards", "consents", "runs", "scores", "readings", "configuration_names", "forecasts"),
    *("standings", "machines", "exceptions", "trials", "trial_ends", "found_values"),
)
OF_RUN = ("applications", "heartbeats", "closings", "corrections", "trace_blocks", "thinnings", "trial_runs")
ORDER = (
    *("cards", "consents", "trials", "trial_ends", "runs", "trial_runs"),
    *("applications", "heartbeats", "closings", "corrections", "trace_blocks", "thinnings"),
    *("scores", "readings", "configuration_names", "forecasts"),
    *("standings", "machines", "exceptions", "found_values"),
)
POINTS_TO = {
    "card_id": "cards",
    "run_id": "runs",
    "trial_id": "trials",
    "heartbeat_id": "heartbeats",
    "import_id": "trace_blocks",
    "layout_id": "trace_layouts",
}


Change = Callable[[str, dict[str, Any]], dict[str, Any]]
NewIds = dict[str, dict[int, int]]
"""For each table, the id that a record of the source has in the target."""


def no_ids() -> NewIds:
    """Nothing copied yet."""
    return {table: {} for table in (*ORDER, "trace_layouts")}


def copy_unit(
    source: Store, target: Store, unit_name: str, name: str, *, keep_ids: bool, change: Change | None = None
) -> int:
    """Copy a unit's records under a name; the number of runs. Ids are kept, or made new and followed through.

    ``change``: given a table and a record of it, the record as it is to be copied.
    """
    added = source.row("SELECT added_at FROM units WHERE name = ?", (unit_name,))
    assert added is not None
    target.insert("units", name=name, added_at=added["added_at"])
    new_ids = no_ids()
    for table in ORDER:
        for row in rows_of(source, table, unit_name):
            copy_row(source, target, table, row, name, new_ids, keep_ids=keep_ids, change=change)
    return len(new_ids["runs"])


def copy_row(
    source: Store,
    target: Store,
    table: str,
    row: sqlite3.Row,
    name: str,
    new_ids: NewIds,
    *,
    keep_ids: bool = False,
    change: Change | None = None,
) -> None:
    """Copy one record; what it points to must have been copied before."""
    values = dict(row) if change is None else change(table, dict(row))
    old = values.get("id")
    if "id" in values and not keep_ids:
        del values["id"]
    if "unit" in values:
        values["unit"] = name
    if table == "cards" and values["card"] is not None:
        values["card"] = named_card(values["card"], name)
    if table == "thinnings" and not keep_ids:
        # It opens no door to blocks that have other numbers here.
        values["through_block"] = 0
    if table == "trace_blocks":
        _bring_layout(source, target, values["layout_id"], new_ids["trace_layouts"])
    for column, pointed in POINTS_TO.items():
        if values.get(column) is not None and not (keep_ids and pointed != "trace_layouts"):
            values[column] = new_ids[pointed][values[column]]
    made = target.insert(table, **values)
    if old is not None:
        new_ids[table][old] = made


def named_card(card: str, name: str) -> str:
    """A card's text under a name; as it is when that is its name."""
    read = Unit.model_validate_json(card)
    return card if read.name == name else read.model_copy(update={"name": name}).model_dump_json()


def rows_of(source: Store, table: str, unit_name: str) -> Iterator[sqlite3.Row]:
    """A unit's records in a table, in order."""
    of_unit = "unit = ?" if table in OF_UNIT else "run_id IN (SELECT id FROM runs WHERE unit = ?)"
    key = "run_id" if table in ("closings", "trial_runs") else "id"
    # Only names from the tables above; a trace can be large, so that rows are taken as they come.
    yield from source.connection.execute(f"SELECT * FROM {table} WHERE {of_unit} ORDER BY {key}", (unit_name,))


def _bring_layout(source: Store, target: Store, layout_id: int, known: dict[int, int]) -> None:
    if layout_id in known:
        return
    row: Any = source.row("SELECT columns FROM trace_layouts WHERE id = ?", (layout_id,))
    there = target.row("SELECT id FROM trace_layouts WHERE columns = ?", (row["columns"],))
    known[layout_id] = there["id"] if there else target.insert("trace_layouts", columns=row["columns"])
