"""Source: NVML API reference, clocks event reasons (bit values read there)."""

from __future__ import annotations

import numpy as np
import pytest

from surefoot.runs import Trace
from surefoot.thermal.limiter import limiters


@pytest.mark.parametrize(
    ("bits", "label"),
    [
        (0x1, "idle"),
        (0x2, "other"),
        (0x4, "power"),
        (0x8, "other"),
        (0x10, "other"),
        (0x20, "thermal"),
        (0x40, "thermal"),
        (0x80, "power"),
        (0x100, "other"),
        (0x0, "free"),
        # Several at once: the one that binds a working part is named.
        (0x8 | 0x40, "thermal"),
        (0x8 | 0x80, "power"),
        (0x4 | 0x20, "thermal"),
        (0x1 | 0x4, "power"),
        (0x1 | 0x2, "other"),
        # A bit that the reference does not have, alone and beside one that it has.
        (0x4000, "unknown"),
        (0x4000 | 0x4, "power"),
    ],
)
def test_reason_bits(bits: int, label: str) -> None:
    report = limiters(Trace(np.arange(10.0), {"gpu.reasons": np.full(10, float(bits))}))["gpu"]
    assert report.shares[label] == pytest.approx(1.0)
