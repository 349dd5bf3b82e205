"""A pool's evidence by unit: the groups of a knob's kind from narrow to wide, read from the file.

Of a large group some units are taken, always the same, by the hash of their codes: a fit on two thousand of them is
sure of a middle to a fiftieth of the spread, and more would not change what is lent.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from surefoot.pool.engine import check_pool, engine, quoted, table_of
from surefoot.search.evidence import Evidence
from surefoot.units import Knob

MOST_UNITS = 400
"""Units of one group that a fit takes at most."""


@dataclass(frozen=True, slots=True)
class Kind:
    """What makes knobs comparable, as a pool's rows name it."""

    platform: str
    family: str
    knob: str
    domain: str
    measure: str
    toward: str


@dataclass(frozen=True, slots=True)
class Member:
    """One unit's evidence on one knob, in order of time, with where and when it was found."""

    unit: str
    kind: Kind
    load: str
    source: str
    month: str
    evidence: tuple[Evidence, ...]


@dataclass(frozen=True, slots=True)
class Nested:
    """Units around a knob, from wide to narrow, each unit in the narrowest that it belongs to.

    ``levels``: pairs of a level's words and its units; the last is the knob's own platform under the load.
    """

    levels: tuple[tuple[str, tuple[Member, ...]], ...]

    @property
    def members(self) -> tuple[Member, ...]:
        """All of them."""
        return tuple(member for _, members in self.levels for member in members)


def kinds_in(path: Path) -> list[tuple[Kind, int, int]]:
    """The kinds of knob in a pool, with how many units and runs there are of each, most units first."""
    with engine() as connection:
        check_pool(connection, path)
        rows = connection.execute(
            f"SELECT platform, family, knob, domain, measure, toward, count(DISTINCT unit) AS units, count(*) "
            f"FROM read_parquet({quoted(path)}) GROUP BY ALL ORDER BY units DESC, platform, knob"
        ).fetchall()
    return [(Kind(*row[:6]), int(row[6]), int(row[7])) for row in rows]


def nested(path: Path, kind: Kind, load: str, knob: Knob, *, most_units: int = MOST_UNITS, without: str = "") -> Nested:
    """The units around a knob. ``load``: under which it will be searched, "" where that is not known; ``without``:
    the code of a unit that is left out, since nobody is lent their own runs."""
    found = members(
        path, "measure = ? AND toward = ? AND unit <> ?", (kind.measure, kind.toward, without), kind, most_units
    )
    levels: dict[int, list[Member]] = {0: [], 1: [], 2: [], 3: []}
    for member in found:
        levels[_nearness(member, kind, load)].append(member)
    platform = kind.platform
    words = (
        f"knobs in {kind.measure}",
        f"parts of the family {kind.family}",
        f"{platform}, {kind.knob}" + (" under other loads" if load else ""),
        f"{platform}, {kind.knob}, under {load}" if load else f"{platform}, {kind.knob}",
    )
    return Nested(tuple((words[at], tuple(levels[at])) for at in range(4)))


def _nearness(member: Member, kind: Kind, load: str) -> int:
    """0: the same unit of measure alone; 1: the part family; 2: platform and knob; 3: under the load as well."""
    if member.kind.platform == kind.platform and _same_knob(member.kind, kind):
        return 3 if not load or member.load == load else 2
    if member.kind.family == kind.family and member.kind.domain == kind.domain:
        return 1
    return 0


def _same_knob(one: Kind, other: Kind) -> bool:
    return one.domain == other.domain and one.knob == other.knob


def members(
    path: Path, where: str, values: Sequence[str], near: Kind | None = None, most_units: int = MOST_UNITS
) -> list[Member]:
    """Units of a pool that fit a condition of SQL, at most ``most_units`` of each kind, and of others than ``near``
    a quarter of it in all."""
    with engine() as connection:
        check_pool(connection, path)
        connection.execute(
            f"CREATE TEMP TABLE chosen AS SELECT unit, platform, knob FROM (SELECT *, row_number() OVER "
            f"(PARTITION BY near, CASE WHEN near THEN platform || knob ELSE '' END ORDER BY hash(unit)) AS place FROM "
            f"(SELECT DISTINCT unit, platform, family, knob, (platform = ? AND knob = ?) OR ? AS near "
            f"FROM read_parquet({quoted(path)}) WHERE {where})) WHERE place <= CASE WHEN near THEN ? ELSE ? END",
            [
                near.platform if near else "",
                near.knob if near else "",
                near is None,
                *values,
                most_units,
                max(most_units // 4, 1),
            ],
        )
        rows = connection.execute(
            f"SELECT unit, platform, family, knob, domain, measure, toward, load, source, month, depth, minutes, "
            f"failed, timed, soft, use FROM {table_of(connection, [path])} "
            f"SEMI JOIN chosen USING (unit, platform, knob) "
            f"WHERE {where} ORDER BY platform, knob, unit, number",
            list(values),
        ).fetchall()
    return _gathered(rows)


def _gathered(rows: Sequence[tuple[object, ...]]) -> list[Member]:
    found: dict[tuple[object, ...], list[tuple[object, ...]]] = {}
    for row in rows:
        found.setdefault((row[1], row[3], row[0]), []).append(row)
    made = []
    for pieces in found.values():
        first = pieces[0]
        loads = [str(row[7]) for row in pieces if float(str(row[10])) > 0] or [str(first[7])]
        evidence = tuple(
            Evidence(
                float(str(row[10])), float(str(row[11])), bool(row[12]), bool(row[13]), bool(row[14]), bool(row[15])
            )
            for row in pieces
        )
        kind = Kind(str(first[1]), str(first[2]), str(first[3]), str(first[4]), str(first[5]), str(first[6]))
        most = max(sorted(set(loads)), key=loads.count)
        made.append(Member(str(first[0]), kind, most, str(first[8]), max(str(row[9]) for row in pieces), evidence))
    return made
