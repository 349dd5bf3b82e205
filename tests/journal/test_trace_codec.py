"""Traces come back exactly to the stated grid, whatever they hold."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from surefoot.journal import trace_codec
from surefoot.journal.trace_codec import TIME, Column
from surefoot.runs import QUANTITIES, Floats

# The grid that DEVELOPERS.md and the module promise: 0.0001 V, 0.001 of any other canonical unit, a microsecond.
GRID = {name: 1e-4 if unit == "V" else 1e-3 for name, unit in QUANTITIES.items()}
anything = st.floats() | st.floats(-5000, 5000) | st.integers(-(2**53), 2**53).map(float)
channels = st.dictionaries(
    st.tuples(st.sampled_from(["cpu", "gpu"]), st.sampled_from(list(QUANTITIES))).map(".".join), st.none(), max_size=4
)


def round_trip(columns: dict[str, Floats], at_least: dict[str, Column] | None = None) -> dict[str, Floats]:
    layout, block = trace_codec.encode(columns, at_least)
    samples = len(columns[TIME])
    assert len(block) == trace_codec.block_bytes(layout, samples)
    made = {name: np.full(samples, 1e99) for name in columns}
    trace_codec.decode(layout, samples, [block], made, 0)
    return made


def assert_same(back: Floats, values: Floats, grid: float) -> None:
    assert np.array_equal(np.isnan(back), np.isnan(values))
    measured = ~np.isnan(values)
    far = np.isinf(values[measured])
    assert np.array_equal(back[measured][far], values[measured][far])
    error = np.abs(back[measured][~far] - values[measured][~far])
    # Half a step of the grid, and for large values the last bit of the double.
    assert np.all(error <= grid / 2 * (1 + 1e-6) + np.abs(values[measured][~far]) * 2.0**-52)


@given(st.data(), channels, st.integers(1, 40))
def test_any_values_come_back_to_the_grid(data: st.DataObject, names: dict[str, None], samples: int) -> None:
    columns = {TIME: np.sort(data.draw(hnp.arrays(float, samples, elements=st.floats(-1e6, 1e9))))}
    for name in names:
        columns[name] = data.draw(hnp.arrays(float, samples, elements=anything))
    back = round_trip(columns)
    assert_same(back[TIME], columns[TIME], 1e-6)
    assert np.all(np.diff(back[TIME]) >= 0), "order is kept"
    for name in names:
        assert_same(back[name], columns[name], GRID[name.split(".")[1]])


@given(st.lists(st.integers(-(10**8), 10**8), min_size=1, max_size=50), st.integers(0, 3))
def test_decimal_numbers_come_back_bit_for_bit(units: list[int], places: int) -> None:
    values = np.array([float(f"{unit}e-{places}") for unit in units])
    columns = {TIME: np.arange(float(len(units))), "cpu.power": values}
    assert np.array_equal(round_trip(columns)["cpu.power"], values)


@given(st.lists(st.integers(0, 2**53 - 1), min_size=1, max_size=20))
def test_bits_and_counts_come_back_exactly(bits: list[int]) -> None:
    columns = {TIME: np.zeros(len(bits)), "gpu.reasons": np.array(bits, dtype=float)}
    assert np.array_equal(round_trip(columns)["gpu.reasons"], columns["gpu.reasons"])


@pytest.mark.parametrize(
    ("values", "width", "places"),
    [
        ([61.0, 62.0, np.nan, 64.0], 1, 0),
        ([0.0, 254.0], 1, 0),
        ([0.0, 255.0], 2, 0),
        ([400.0, 4700.0], 2, 0),
        ([45.123, 46.0], 2, 3),
        ([0.001, 4300.0], 4, 3),
        ([np.nan, np.nan], 1, 0),
        ([-1e12, 1e12], 8, 0),
        ([1e300, 0.0], trace_codec.FLOAT, 0),
        ([np.inf, 0.0], trace_codec.FLOAT, 0),
    ],
)
def test_the_narrowest_width_that_holds_is_taken(values: list[float], width: int, places: int) -> None:
    columns = {TIME: np.arange(float(len(values))), "cpu.power": np.array(values)}
    layout, _ = trace_codec.encode(columns)
    column = next(column for column in layout if column.name == "cpu.power")
    assert (column.width, column.places) == (width, places)
    assert np.array_equal(round_trip(columns)["cpu.power"], columns["cpu.power"], equal_nan=True)


@settings(max_examples=50)
@given(st.lists(hnp.arrays(float, 5, elements=st.floats(-1e7, 1e7) | st.just(np.nan)), min_size=2, max_size=8))
def test_a_packing_only_ever_widens_and_blocks_of_one_layout_are_read_together(blocks: list[Floats]) -> None:
    packing: dict[str, Column] = {}
    before: Column | None = None
    stored = []
    for number, values in enumerate(blocks):
        layout, block = trace_codec.encode({TIME: np.arange(5.0) + 5 * number, "cpu.clock": values}, packing)
        packing = {column.name: column for column in layout}
        now = packing["cpu.clock"]
        if before is not None:
            assert now.places >= before.places
            assert now.width == trace_codec.FLOAT or (before.width != trace_codec.FLOAT and now.width >= before.width)
        before = now
        stored.append((layout, block))
    last = [block for layout, block in stored if layout == stored[-1][0]]
    made = {TIME: np.empty(5 * len(last)), "cpu.clock": np.empty(5 * len(last))}
    trace_codec.decode(stored[-1][0], 5, last, made, 0)
    same = [layout == stored[-1][0] for layout, _ in stored]
    wanted = np.concatenate([values for values, is_same in zip(blocks, same, strict=True) if is_same])
    assert_same(made["cpu.clock"], wanted, 1e-3)


def test_a_block_of_the_wrong_length_is_refused() -> None:
    layout, block = trace_codec.encode({TIME: np.arange(3.0)})
    with pytest.raises(ValueError, match="wrong length"):
        trace_codec.decode(layout, 3, [block, block[:-8]], {TIME: np.empty(6)}, 0)
