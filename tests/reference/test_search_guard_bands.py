"""The prior's range against published voltage guard bands of shipped processors.

Leng and others, "Safe limits on voltage reduction efficiency in GPUs", MICRO 2015: about 20 % of nominal.
Papadimitriou and others, "Voltage margins identification on commercial x86-64 multicore microprocessors", 2017: more
than 15 % on a desktop and a mobile processor, differing by core and by workload. Both abstracts were read. That nominal
voltages under load lie between 0.9 and 1.2 V is common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from surefoot.search import Goal
from surefoot.search.prior import grid_for
from surefoot.units import Knob

KNOB = Knob("core", "cpu", "mV", "down", step=5.0, limit=250.0)
LEAST_SHARE, GRAPHICS_SHARE = 0.15, 0.20


def cumulative(depth: float) -> float:
    """Prior chance that the deepest depth that meets 100 h lies above (shallower than) a depth, mV."""
    grid = grid_for(KNOB, Goal())
    weight = np.exp(grid.log_prior).sum(axis=1)
    return float(weight[grid.goal_depth[:, 0] < depth].sum() / weight.sum())


@pytest.mark.parametrize("nominal_mv", [900.0, 1000.0, 1200.0])
@pytest.mark.parametrize("share", [LEAST_SHARE, GRAPHICS_SHARE])
def test_published_guard_bands_are_neither_ruled_out_nor_taken_for_granted(nominal_mv: float, share: float) -> None:
    # A unit with the published guard band lies inside the middle 98 % of what is believed before the first run.
    assert 0.01 < cumulative(share * nominal_mv) < 0.99


def test_little_is_believed_to_have_no_guard_band_at_all() -> None:
    assert cumulative(0.0) < 0.10


def test_units_well_short_of_the_published_bands_are_believed_in_as_well() -> None:
    # Differing by core and by workload: the shipped part at hand may have far less than the study's.
    assert cumulative(0.05 * 1000.0) > 0.05
    # No depth inside the limit is favoured: each fifth of it is as likely as any other, to a factor of two.
    fifths = np.diff([cumulative(depth) for depth in np.linspace(0.0, KNOB.limit, 6)])
    assert fifths.max() < 2.0 * fifths.min()
