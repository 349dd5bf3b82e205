"""A pool from evidence to prior: built, each unit once; fitted; its slips told; lent without a unit's own runs."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from surefoot.errors import BadInput
from surefoot.guide.pool_rehearsal import LOAD, rows_of_play, unit_of
from surefoot.pool.build import build, write_rows
from surefoot.pool.columns import NAMES
from surefoot.pool.engine import engine, quoted
from surefoot.pool.evidence import code, frame
from surefoot.pool.fit import MOST_WEIGHT, OTHER_SLOPES, OTHER_SOFT
from surefoot.pool.lending import fits_for, lent_to
from surefoot.pool.survey import survey
from surefoot.rehearsal.populations import population_named
from surefoot.search import Evidence

REFERENCE = population_named("reference")


def runs_of(edge: float, per_decade: float, rng: np.random.Generator) -> list[Evidence]:
    """A climb past the edge and two longer holds behind it, as a search makes them."""
    found = [Evidence(0.0, 2.0, False)]
    for depth in np.arange(20.0, 240.0, 15.0):
        lasted = rng.exponential() / 10 ** ((depth - edge) / per_decade) * 60
        found.append(Evidence(float(depth), min(lasted, 4.0), bool(lasted < 4.0)))
        if lasted < 4.0:
            break
    for back in (10.0, 15.0):
        depth = max(found[-1].depth - back, 0.0)
        lasted = rng.exponential() / 10 ** ((depth - edge) / per_decade) * 60
        found.append(Evidence(depth, min(lasted, 30.0), bool(lasted < 30.0)))
    return found


def rows(
    units: int, seed: int, middle: float = 110.0, spread: float = 20.0, *, turned: float = 0.0, **words: str
) -> list:
    rng = np.random.default_rng(seed)
    made = []
    for at in range(units):
        pieces = runs_of(float(rng.normal(middle, spread)), 5.0, rng)
        pieces = [replace(one, failed=one.failed != bool(rng.random() < turned)) for one in pieces]
        made += rows_of_play(REFERENCE, pieces, f"{seed} {at}", **words)
    return made


def pool(path: Path, made: list) -> Path:
    write_rows(frame(made), path)
    return path


def test_a_pool_is_an_open_file_with_the_columns_that_are_documented(tmp_path: Path) -> None:
    import pyarrow.parquet as parquet

    file = parquet.ParquetFile(pool(tmp_path / "a.parquet", rows(3, 1)))
    assert tuple(file.schema_arrow.names) == NAMES
    assert file.metadata.metadata[b"surefoot_pool"] == b"1"


def test_each_unit_counts_once_and_the_fullest_copy_counts(tmp_path: Path) -> None:
    whole = rows(4, 1)
    first = pool(tmp_path / "a.parquet", whole[:-3])
    second = pool(tmp_path / "b.parquet", whole)
    done = build([first, second], tmp_path / "c.parquet")
    assert (done.units, done.runs, done.twice) == (4, len(whole), 4)
    again = build([tmp_path / "c.parquet", first], tmp_path / "d.parquet")
    assert (again.units, again.runs) == (4, len(whole))


def test_what_is_no_evidence_is_left_out_and_counted(tmp_path: Path) -> None:
    made = rows(3, 1)
    made[0] = {**made[0], "depth": -5.0}
    done = build([pool(tmp_path / "a.parquet", made)], tmp_path / "b.parquet")
    assert (done.runs, done.left_out) == (len(made) - 1, 1)


def test_what_is_no_pool_is_refused_with_what_it_is_not(tmp_path: Path) -> None:
    (tmp_path / "x.parquet").write_text("no")
    with pytest.raises(BadInput, match="no Parquet"):
        lent_to(tmp_path / "x.parquet", unit_of(REFERENCE))
    with pytest.raises(BadInput, match="no such file"):
        lent_to(tmp_path / "y.parquet", unit_of(REFERENCE))


def test_the_fit_finds_how_units_are_spread_with_its_own_uncertainty(tmp_path: Path) -> None:
    made = fits_for(pool(tmp_path / "a.parquet", rows(40, 3)), unit_of(REFERENCE))["core"].population
    assert abs(made.mean("edge_middle") - 110.0) < 3 * made.deviation("edge_middle") < 20.0
    assert made.mean("edge_spread") == pytest.approx(20.0, abs=8.0)
    assert np.exp(made.mean("slope_middle")) == pytest.approx(5.0, rel=0.3)
    few = fits_for(pool(tmp_path / "b.parquet", rows(3, 3)), unit_of(REFERENCE))["core"]
    assert few.population.deviation("edge_middle") > 2 * made.deviation("edge_middle")
    assert few.prior.weight < 0.9


def test_some_of_what_is_lent_has_other_slopes_at_the_same_edges(tmp_path: Path) -> None:
    prior = fits_for(pool(tmp_path / "a.parquet", rows(40, 3)), unit_of(REFERENCE))["core"].prior
    own = [part for part in prior.parts if part.share == 1.0]
    other = [part for part in prior.parts if part.share != 1.0]
    total = sum(part.share for part in prior.parts)
    assert sum(part.share for part in other) / total == pytest.approx(OTHER_SLOPES)
    soft = sum(part.share for part in other if part.log_per_decade > np.log(8.0))
    assert soft / total == pytest.approx(OTHER_SLOPES * OTHER_SOFT)
    assert {part.edge for part in other} <= {part.edge for part in own}
    assert prior.weight <= MOST_WEIGHT


def test_a_platform_of_few_units_is_drawn_towards_its_family(tmp_path: Path) -> None:
    family = rows(30, 3, platform="third arch 5")
    own = rows(2, 4)
    alone = fits_for(pool(tmp_path / "a.parquet", own), unit_of(REFERENCE))["core"].population
    pooled = fits_for(pool(tmp_path / "b.parquet", own + family), unit_of(REFERENCE))["core"].population
    assert pooled.deviation("edge_middle") < 0.8 * alone.deviation("edge_middle")


def test_hours_of_use_are_no_hours_on_the_bench(tmp_path: Path) -> None:
    """A pool says which runs were use; an older one without the column is read as bench runs, as it was meant."""
    made = rows(8, 3)
    used = [{**row, "use": True} if not row["failed"] and row["minutes"] > 20 else row for row in made]
    plain = pool(tmp_path / "a.parquet", made)
    marked = pool(tmp_path / "b.parquet", used)
    bench, use = (fits_for(path, unit_of(REFERENCE))["core"] for path in (plain, marked))
    assert any(piece.use for member in use.members for piece in member.evidence)
    assert not any(piece.use for member in bench.members for piece in member.evidence)
    assert use.population.mean("edge_middle") < bench.population.mean("edge_middle")
    older = tmp_path / "older.parquet"
    with engine() as connection:
        connection.execute(
            f"COPY (SELECT * EXCLUDE (use) FROM read_parquet({quoted(plain)})) TO {quoted(older)} (FORMAT parquet)"
        )
    assert fits_for(older, unit_of(REFERENCE))["core"].prior == bench.prior
    both = build([older, marked], tmp_path / "both.parquet")
    assert both.units == 8


def test_nobody_is_lent_their_own_runs(tmp_path: Path) -> None:
    path = pool(tmp_path / "a.parquet", rows(5, 3))
    with_all, without = (lent_to(path, unit_of(REFERENCE), without=one) for one in ("", code("3 0")))
    assert with_all is not None and without is not None
    assert (with_all.priors[0][1].units, without.priors[0][1].units) == (5, 4)
    assert lent_to(pool(tmp_path / "b.parquet", rows(1, 3)), unit_of(REFERENCE), without=code("3 0")) is None


@pytest.mark.long
def test_outcomes_written_down_the_wrong_way_round_are_told_and_hardly_move_the_fit(tmp_path: Path) -> None:
    clean = fits_for(pool(tmp_path / "a.parquet", rows(40, 3)), unit_of(REFERENCE))["core"]
    turned = fits_for(pool(tmp_path / "b.parquet", rows(30, 3, turned=0.05)), unit_of(REFERENCE))["core"]
    assert clean.mislogged < 0.01 and turned.mislogged >= 0.03
    assert turned.population.mean("edge_middle") == pytest.approx(clean.population.mean("edge_middle"), abs=6.0)


@pytest.mark.long
def test_a_mixed_platform_drifting_batches_and_names_alike_are_told(tmp_path: Path) -> None:
    mixed = rows(15, 3, 60.0, 6.0) + rows(15, 4, 160.0, 6.0)
    assert "mixed" in {one.check for one in survey(pool(tmp_path / "a.parquet", mixed)).findings}
    drifting = [row for at in range(6) for row in rows(5, at, 80.0 + 12 * at, 6.0, month=f"2026-0{at + 1}")]
    assert "batches" in {one.check for one in survey(pool(tmp_path / "b.parquet", drifting)).findings}
    alike = rows(3, 3) + rows(3, 4, platform="third  arch-4")
    assert "names" in {one.check for one in survey(pool(tmp_path / "c.parquet", alike)).findings}
    assert survey(pool(tmp_path / "d.parquet", rows(24, 3))).findings == ()


def test_a_pool_says_nothing_of_the_load_it_was_not_asked_for(tmp_path: Path) -> None:
    path = pool(tmp_path / "a.parquet", rows(6, 3))
    near = fits_for(path, unit_of(REFERENCE), loads={"core": LOAD})["core"].prior
    far = fits_for(path, unit_of(REFERENCE), loads={"core": "another"})["core"].prior
    assert "under" in near.group and "other loads" in far.group
