"""The graphics kernels in this process, on whatever device there is, software too."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surefoot.rig.loads.gpu import tiles
from surefoot.rig.loads.gpu.chain import Chain
from surefoot.rig.loads.gpu.device import Adapter, Device, NoDevice, choose, layout
from surefoot.rig.loads.gpu.flight import Flight, Wrong
from surefoot.rig.loads.gpu.kernels import Flip
from surefoot.rig.loads.gpu.mixed import Mixed, busiest
from surefoot.rig.loads.gpu.pattern import KINDS, STRIDES, Pattern
from surefoot.rig.loads.gpu.product import Product
from surefoot.rig.loads.gpu.tiles import SMALL, TILES, Tile
from surefoot.rig.loads.gpu.tuning import hottest
from surefoot.rig.loads.gpu.vram import chunks, free_bytes, share_of
from surefoot.rig.loads.gpu.worker import passes_for
from surefoot.rig.loads.kernels import WrongResult
from surefoot.rig.loads.strides import jump

words = st.integers(0, 2**32 - 1)


@given(rounds=st.integers(0, 300), m=words, k=words, x=words)
def test_a_jump_is_as_good_as_every_step(rounds, m, k, x):
    end = x
    for _ in range(rounds):
        end = (end * m + k) % 2**32
    all_m, all_k = jump(rounds, m, k, 32)
    assert (x * all_m + all_k) % 2**32 == end


@given(groups=st.integers(1, 2**29))
def test_every_group_has_its_place(groups):
    across, down = layout(groups)
    assert across <= 65535
    assert across * down >= groups > across * (down - 1)


def test_passes_fill_a_time_and_stay_within_bounds():
    assert passes_for(0.06, 0.01, 99) == 6
    assert passes_for(0.06, 10.0, 99) == 1
    assert passes_for(0.06, 1e-9, 99) == 99


CARD = Adapter("Hollow G4", "card", "Vulkan", "made up")
PART = Adapter("Hollow U1", "integrated", "Vulkan", "made up")
SOFT = Adapter("rasteriser", "software", "Vulkan", "made up")


def test_the_device_that_is_loaded():
    assert choose("", [CARD, PART, SOFT]) is CARD
    assert choose("", [PART, SOFT]) is PART
    assert choose("u1", [CARD, PART]) is PART
    assert choose("software", [CARD, SOFT]) is SOFT
    with pytest.raises(NoDevice, match="worked out by the processor"):
        choose("", [SOFT])
    with pytest.raises(NoDevice, match="Hollow G4"):
        choose("other", [CARD])
    with pytest.raises(NoDevice, match="no graphics device"):
        choose("", [])


@pytest.fixture(scope="module")
def device() -> Device:
    wgpu = pytest.importorskip("wgpu", reason="the extra `gpu` is not installed")
    from surefoot.rig.loads.gpu.device import adapters

    try:
        found = adapters()
    except (wgpu.GPUError, RuntimeError, OSError) as error:
        pytest.skip(f"no graphics device can be asked for: {error}")
    if not found:
        pytest.skip("no graphics device, not even a software one")
    return Device(found[-1], 1 << 30)


NAMES = ["product", "chain", "pattern", "mixed"]


@pytest.fixture(scope="module")
def kernels(device):
    product = Product(device, 128, 7)
    made: dict[str, Any] = {
        "product": product,
        "chain": Chain(device, 512, 512),
        "pattern": Pattern(device, [1 << 19, 1 << 18]),
        "mixed": Mixed(device, product, 1 << 18),
    }
    for kernel in made.values():
        kernel.prove()
    return made


def once(device, kernel, seed, passes, flip=None):
    flight = Flight(device)
    flight.send(kernel, "dense", seed, passes, flip)
    return flight.land(0)[0].batch.amount


@pytest.mark.parametrize("name", NAMES)
def test_right_work_is_never_called_wrong_and_more_passes_are_more_work(device, kernels, name):
    one = once(device, kernels[name], 5, 1)
    assert one > 0
    for seed in range(6):
        assert once(device, kernels[name], seed, 3) == pytest.approx(3 * one)


@pytest.mark.parametrize("name", NAMES)
@settings(max_examples=15, deadline=None)
@given(share=st.floats(0, 1, exclude_max=True), bit=st.integers(0, 31), seed=st.integers(0, 2**31))
def test_one_flipped_bit_in_any_place_is_caught_with_its_place(device, kernels, name, share, bit, seed):
    words = {"product": 128 * 128, "mixed": 128 * 128, "chain": 4 * 512}
    with pytest.raises(Wrong, match=r"1 words are wrong, the first at \d+") as caught:
        once(device, kernels[name], seed, 3, Flip(share, bit))
    error = caught.value.error
    assert error.kernel == name
    assert int(error.expected, 16) ^ int(error.found, 16) == 1 << bit
    if name in words:
        assert error.what.endswith(f"the first at {int(share * words[name])}")
    else:
        # Two buffers, one of twice the words; the place counts on from one to the other.
        first, second = (1 << 19) // 4, (1 << 18) // 4
        place = int(2 * share * first) if share < 0.5 else first + int((2 * share - 1) * second)
        assert int(error.what.rsplit(" ", 1)[1]) in (place, place - 1, place + 1)
        assert any(kind in error.what for kind in KINDS)
    # What was spoiled does not stay spoiled.
    assert once(device, kernels[name], seed, 2) > 0


def test_several_lists_are_under_way_and_each_is_judged_as_its_own(device, kernels):
    flight = Flight(device)
    flight.send(kernels["chain"], "integer", 1, 4)
    flight.send(kernels["product"], "dense", 2, 2, Flip())
    flight.send(kernels["pattern"], "memory", 3, 2)
    assert [item.kernel.name for item in flight.land(2)] == ["chain"]
    with pytest.raises(Wrong) as caught:
        flight.land(0)
    assert (caught.value.kernel.name, caught.value.phase, caught.value.seed) == ("product", "dense", 2)
    flight.abandon()
    assert flight.land(0) == []


def test_the_first_product_is_proven_on_the_processor(device, monkeypatch):
    # A device whose every product is wrong in the same way would agree with itself for ever.
    from surefoot.rig.loads.gpu import product as module

    real = tiles.product_shader
    forgets = lambda tile, n: real(tile, n).replace("for (var k = 0u", "for (var k = 32u")  # noqa: E731
    monkeypatch.setattr(module, "product_shader", forgets)
    with pytest.raises(WrongResult, match="on the processor"):
        Product(device, 128, 7).prove()


@pytest.mark.parametrize("tile", TILES, ids=lambda tile: tile.name)
def test_every_way_to_cut_a_product_up_is_right(device, tile):
    kernel = Product(device, 256, 3, tile)
    kernel.prove()
    assert once(device, kernel, 1, 2) > 0


@pytest.mark.parametrize("name", ["product", "chain", "mixed"])
def test_work_that_was_not_done_is_found_out(device, kernels, name):
    class Idle:
        """The kernel's list with every run of the work itself left out."""

        def __init__(self, work, skipped):
            self._work, self._skipped = work, skipped

        def run(self, pipeline, *rest, **more):
            return self if pipeline is self._skipped else self._work.run(pipeline, *rest, **more)

    kernel = kernels[name]
    skipped = {"product": "_product", "chain": "_chain", "mixed": "_run"}[name]
    once(device, kernel, 1, 2)
    work = device.work()
    batch = kernel.enqueue(Idle(work, getattr(kernel, skipped)), 4, 2)
    with pytest.raises(WrongResult):
        kernel.judge(batch, device.submit(work).wait())
    once(device, kernel, 1, 2)


def test_a_check_that_was_not_done_is_found_out(device, kernels):
    work = device.work()
    batch = kernels["product"].enqueue(work, 1, 2, None, check=False)
    due = kernels["product"].enqueue(device.work(), 1, 2)
    assert batch.groups == 0
    with pytest.raises(WrongResult, match="groups were checked"):
        kernels["product"].judge(due, device.submit(work).wait())


def test_memory_is_visited_whole_at_every_stride_in_both_orders_with_every_pattern(device):
    kernel = Pattern(device, [1 << 18])
    kernel.prove()
    for seed in range(2 * len(KINDS) * len(STRIDES)):
        once(device, kernel, seed, 1)


def test_sizes_that_would_round_are_refused(device):
    for n in (100, 0x200000):
        with pytest.raises(ValueError, match="multiple of the tile"):
            Product(device, n, 1)


def test_the_tile_that_heats_most_among_those_that_come_near_the_fastest():
    # Seen on a data-centre card: TFLOP/s of each; the second drew 638 W, the last 539 W.
    seen = {SMALL: 32.1, Tile(128, 64, 16, 8, 4): 37.4, Tile(128, 128, 16, 8, 8): 38.9, Tile(256, 128, 8, 16, 8): 40.6}
    assert hottest(seen) == Tile(128, 64, 16, 8, 4)


def test_the_ratio_that_keeps_both_sides_busy():
    arithmetic = {(2, 32): 100.0, (2, 128): 70.0, (2, 512): 40.0}
    traffic = {(2, 32): 10.0, (2, 128): 60.0, (2, 512): 100.0}
    assert busiest(arithmetic, traffic) == (2, 512)
    assert busiest(arithmetic, {**traffic, (2, 512): 61.0}) == (2, 128)


@given(size=st.integers(1 << 15, 1 << 38), largest=st.integers(1 << 27, 1 << 31))
def test_memory_is_cut_into_powers_of_two(size, largest):
    made = chunks(size, largest)
    assert made
    assert all(piece & (piece - 1) == 0 and piece <= largest for piece in made)
    assert 0 <= size - sum(made) < max(min(size, 32 << 20), 1)


def test_how_much_memory_is_filled(tmp_path):
    assert share_of(CARD, 8 << 30, 0, True) == int((8 << 30) * 0.92)
    assert share_of(CARD, 1 << 30, 0, True) == 512 << 20
    assert share_of(CARD, None, 0, True) < 2 << 30
    assert share_of(CARD, 80 << 30, 0, False) == 4 << 30
    assert share_of(PART, None, 8 << 30, True) == 2 << 30
    assert share_of(SOFT, None, 8 << 30, True) == 8 << 20
    folder = tmp_path / "sys/class/drm/card0/device"
    folder.mkdir(parents=True)
    (folder / "mem_info_vram_total").write_text("1000\n")
    (folder / "mem_info_vram_used").write_text("400\n")
    assert free_bytes(CARD, tmp_path) == 600
    assert free_bytes(SOFT, tmp_path) is None


def test_memory_that_is_not_to_be_had_is_done_without(device, monkeypatch):
    real = device.buffer_if_there_is_room
    monkeypatch.setattr(device, "buffer_if_there_is_room", lambda size: real(size) if size > 1 << 17 else None)
    kernel = Pattern(device, [1 << 19, 1 << 18, 1 << 17, 1 << 17])
    kernel.prove()
    assert kernel.size == (1 << 19) + (1 << 18)
    assert once(device, kernel, 1, 2) == pytest.approx(2 * 2 * kernel.size / 1e9)


def test_a_device_without_room_says_so_and_goes_on(device):
    # Larger than any buffer may be: the library refuses it.
    assert device.buffer_if_there_is_room(1 << 60) is None
    assert device.buffer_if_there_is_room(1 << 16) is not None
