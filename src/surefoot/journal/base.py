"""What every kind of record needs: the store, and names that must be known."""

from __future__ import annotations

import json
from typing import Any

from surefoot.errors import BadInput
from surefoot.journal.store import Store


class Records:
    """Base of the record classes that make up the Journal."""

    _store: Store

    def _known_unit(self, name: str) -> str:
        """The name of a unit that is in the journal. Raises BadInput naming those there are."""
        if self._store.row("SELECT 1 FROM units WHERE name = ?", (name,)) is None:
            rows = self._store.rows("SELECT unit FROM units_view WHERE NOT retired ORDER BY 1")
            there = [str(row["unit"]) for row in rows]
            shown = ", ".join(there[:8]) + (", ..." if len(there) > 8 else "")
            remedy = f"Units: {shown}." if there else "There are none yet; `surefoot unit add NAME` makes one."
            raise BadInput(f"there is no unit {name!r}.", remedy=remedy)
        return name

    def _known_run(self, run_id: int, unit_name: str | None = None) -> int:
        """The id of a run that is in the journal, of that unit. Raises BadInput otherwise."""
        row = self._store.row("SELECT unit FROM runs WHERE id = ?", (run_id,))
        if row is None:
            raise BadInput(f"there is no run {run_id}.", remedy="`surefoot runs UNIT` lists them.")
        if unit_name is not None and row["unit"] != unit_name:
            raise BadInput(f"run {run_id} belongs to unit {row['unit']!r}, not to {unit_name!r}.")
        return run_id

    def _open_run(self, unit_name: str) -> int | None:
        """The id of a unit's run that nothing has closed, or None."""
        row = self._store.row(
            "SELECT id FROM runs WHERE unit = ? AND NOT EXISTS (SELECT 1 FROM closings WHERE run_id = runs.id)",
            (unit_name,),
        )
        return None if row is None else int(row["id"])


def as_text(value: Any) -> str:
    """A value as JSON text. Raises BadInput for one that JSON cannot hold."""
    try:
        return json.dumps(value, ensure_ascii=False, allow_nan=False, sort_keys=True)
    except (TypeError, ValueError) as error:
        raise BadInput(f"this cannot be written down as JSON: {error}.") from None
