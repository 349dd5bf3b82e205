"""Dask and DuckDB agree: the same pool, the same fit and the same rehearsal, on a local cluster of processes."""

from pathlib import Path

import pytest

from surefoot.guide.pool_rehearsal import CASES, play_pool, rehearse_pool, unit_of
from surefoot.pool.build import build, write_rows
from surefoot.pool.cluster import build_on, cluster
from surefoot.pool.evidence import frame
from surefoot.pool.lending import lent_to
from surefoot.rehearsal.measures import rehearse
from surefoot.rehearsal.populations import population_named


@pytest.mark.long
def test_a_cluster_builds_the_same_pool_and_plays_the_same_units(tmp_path: Path) -> None:
    distributed = pytest.importorskip("distributed")
    files = []
    for at in range(3):
        files.append(tmp_path / f"{at}.parquet")
        write_rows(frame(play_pool("reference", 2, at // 2)), files[-1])
    here = build(files, tmp_path / "here.parquet")
    local = distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None)
    with local, cluster(local.scheduler_address) as executor:
        there = build_on(executor, files, tmp_path / "there.parquet")
        played = rehearse_pool(2, 3, cases=CASES[:1], executor=executor)
        plain = rehearse(2, 3, populations=("reference", "soft"), strategies=("posterior", "ladder"), executor=executor)
    assert (there.units, there.runs, there.failures) == (here.units, here.runs, here.failures)
    assert there.hours == pytest.approx(here.hours, rel=1e-12)
    unit = unit_of(population_named("reference"))
    one, other = (lent_to(tmp_path / f"{name}.parquet", unit) for name in ("here", "there"))
    assert one is not None and other is not None
    assert one.priors == other.priors
    alone = rehearse_pool(2, 3, cases=CASES[:1], workers=1)
    assert plain == rehearse(2, 3, populations=("reference", "soft"), strategies=("posterior", "ladder"), workers=1)
    assert (played[0].lent, played[0].alone) == (alone[0].lent, alone[0].alone)
