"""Several sources as one, and the ceiling."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surefoot.rig.sampler import Sampler, over_ceiling


class Source:
    def __init__(self, name: str, sample: dict[str, float], error: Exception | None = None) -> None:
        self.name = name
        self.sample = sample
        self.error = error

    def channels(self) -> tuple[str, ...]:
        return tuple(self.sample)

    def read(self) -> dict[str, float]:
        if self.error:
            raise self.error
        return self.sample

    def missing(self) -> tuple[str, ...]:
        return ()


def test_the_earlier_source_is_believed():
    sampler = Sampler(
        [Source("one", {"cpu.temperature": 60.0}), Source("two", {"cpu.temperature": 10.0, "cpu.fan": 9.0})]
    )
    assert sampler.read() == {"cpu.temperature": 60.0, "cpu.fan": 9.0}
    assert sampler.channels() == {"cpu.fan": "two", "cpu.temperature": "one"}


def test_a_source_that_raises_all_the_same_does_not_end_a_run():
    sampler = Sampler([Source("one", {"cpu.fan": 1.0}, OSError("gone")), Source("two", {"cpu.busy": 5.0})])
    assert sampler.read() == {"cpu.busy": 5.0}


@pytest.mark.parametrize(
    ("sample", "ceilings", "found"),
    [
        ({"cpu.temperature": 95.1}, {"cpu": 95.0}, ("cpu", 95.1, 95.0)),
        ({"cpu.temperature": 95.0}, {"cpu": 95.0}, None),
        ({"cpu.temperature": 99.0}, {"gpu": 80.0}, None),
        ({"cpu.temperature": 90.0, "cpu.temperature.core-3": 97.0}, {"cpu": 95.0}, ("cpu.core-3", 97.0, 95.0)),
        # A hot spot runs hotter than the whole by nature: the domain's ceiling is not its own,
        ({"gpu.temperature": 80.0, "gpu.temperature.hotspot": 95.0}, {"gpu": 87.0}, None),
        # unless it is all that is measured, or is named itself.
        ({"gpu.temperature.hotspot": 95.0}, {"gpu": 87.0}, ("gpu.hotspot", 95.0, 87.0)),
        (
            {"gpu.temperature": 80.0, "gpu.temperature.hotspot": 95.0},
            {"gpu.hotspot": 90.0},
            ("gpu.hotspot", 95.0, 90.0),
        ),
        # The machine's own limit counts without a card, and is never exceeded whatever the card says.
        ({"cpu.temperature": 101.0, "cpu.temperature-limit": 100.0}, {}, ("cpu", 101.0, 100.0)),
        ({"cpu.temperature": 101.0, "cpu.temperature-limit": 100.0}, {"cpu": 110.0}, ("cpu", 101.0, 100.0)),
        ({"cpu.temperature": 91.0, "cpu.temperature-limit": 100.0}, {"cpu": 90.0}, ("cpu", 91.0, 90.0)),
        (
            {"gpu.temperature.hotspot": 111.0, "gpu.temperature-limit.hotspot": 110.0, "gpu.temperature": 60.0},
            {"gpu": 87.0},
            ("gpu.hotspot", 111.0, 110.0),
        ),
        ({"cpu.temperature": 96.0, "gpu.temperature": 99.0}, {"cpu": 95.0, "gpu": 90.0}, ("gpu", 99.0, 90.0)),
        ({"cpu.power": 500.0, "cpu.fan": 4000.0}, {"cpu": 95.0}, None),
        ({}, {"cpu": 95.0}, None),
    ],
)
def test_the_ceiling(sample, ceilings, found):
    assert over_ceiling(sample, ceilings) == found


@given(value=st.floats(-40, 150), ceiling=st.floats(30, 120), limit=st.floats(40, 130))
def test_neither_the_cards_ceiling_nor_the_machines_limit_is_ever_passed(value, ceiling, limit):
    sample = {"cpu.temperature": value, "cpu.temperature-limit": limit}
    assert (over_ceiling(sample, {"cpu": ceiling}) is not None) == (value > min(ceiling, limit))


@pytest.mark.parametrize("lie", [float("nan"), float("inf"), 0.0, -128.0, 255.0])
def test_a_temperature_that_cannot_be_is_as_good_as_not_read(lie: float) -> None:
    """So that no ceiling is judged by it: the run is stopped as not judged when it goes on (`guide.blind`)."""
    sampler = Sampler([Source("one", {"cpu.temperature": lie, "gpu.temperature": 60.5, "board.duty": 255.0})])
    assert sampler.read() == {"gpu.temperature": 60.5, "board.duty": 255.0}


def test_a_number_that_is_none_is_left_out_of_every_channel() -> None:
    assert Sampler([Source("one", {"cpu.power": float("nan"), "cpu.fan": 0.0})]).read() == {"cpu.fan": 0.0}
