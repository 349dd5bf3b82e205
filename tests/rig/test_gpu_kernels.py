"""The graphics kernels in this process, on whatever device there is, software too."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surefoot.rig.loads.gpu.chain import ROUNDS, Chain, ends, jump
from surefoot.rig.loads.gpu.device import Adapter, Device, NoDevice, choose, layout
from surefoot.rig.loads.gpu.pattern import KINDS, Pattern, word_at
from surefoot.rig.loads.gpu.product import Product
from surefoot.rig.loads.gpu.worker import passes_for
from surefoot.rig.loads.kernels import WrongResult

words = st.integers(0, 2**32 - 1)


@given(rounds=st.integers(0, 300), m=words, k=words, x=words)
def test_a_jump_is_as_good_as_every_step(rounds, m, k, x):
    end = x
    for _ in range(rounds):
        end = (end * m + k) % 2**32
    assert ends(np.array([x], dtype=np.uint32), rounds, m, k)[0] == end
    assert jump(0, m, k) == (1, 0)


@given(words=st.integers(1, 2**29))
def test_every_word_has_its_invocation(words):
    across, down = layout(words)
    assert across <= 65535
    assert across * down * 256 >= words
    assert across * (down - 1) * 256 < words


def test_passes_fill_a_time_and_stay_within_bounds():
    assert passes_for(0.06, 0.01) == 6
    assert passes_for(0.06, 10.0) == 1
    assert passes_for(0.06, 1e-9) == 4096


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
    return Device(found[-1], 8 << 20)


@pytest.fixture(scope="module")
def kernels(device):
    made = {"product": Product(device, 128, 7), "chain": Chain(device, 512), "pattern": Pattern(device, 1 << 20)}
    for kernel in made.values():
        kernel.prove()
    return made


@pytest.mark.parametrize("name", ["product", "chain", "pattern"])
@pytest.mark.parametrize("passes", [1, 3])
def test_right_work_is_never_called_wrong_and_more_passes_are_more_work(kernels, name, passes):
    once = kernels[name].run(5, 1, None)
    assert once > 0
    for seed in range(8):
        assert kernels[name].run(seed, passes, None) == pytest.approx(passes * once)


@pytest.mark.parametrize("name", ["product", "chain", "pattern"])
@settings(max_examples=20, deadline=None)
@given(place=st.floats(0, 1, exclude_max=True), bit=st.integers(0, 31), seed=st.integers(0, 2**31))
def test_one_flipped_bit_in_any_place_is_caught_with_its_place(device, kernels, name, place, bit, seed):
    seen = []

    def flip(buffer):
        result = device.get(buffer, np.uint32)
        at = int(place * result.size)
        seen.append(at)
        device.put(buffer, np.array([result[at] ^ np.uint32(1 << bit)], dtype=np.uint32), offset=4 * at)

    with pytest.raises(
        WrongResult, match="1 of .* words are wrong, the first at {at}".replace("{at}", r"\d+")
    ) as caught:
        kernels[name].run(seed, 2, flip)
    assert caught.value.kernel == name
    assert f"the first at {seen[0]}" in caught.value.what
    assert int(caught.value.expected, 16) ^ int(caught.value.found, 16) == 1 << bit


def test_the_first_product_is_proven_on_the_processor(device, monkeypatch):
    # A device whose every product is wrong in the same way would agree with itself for ever.
    product = Product(device, 128, 7)
    monkeypatch.setattr("surefoot.rig.loads.gpu.product.PRODUCT", product_that_forgets_a_row())
    with pytest.raises(WrongResult, match="on the processor"):
        product.prove()


def product_that_forgets_a_row() -> str:
    from surefoot.rig.loads.gpu.shaders import PRODUCT

    return PRODUCT.replace("for (var k = 0u; k < n; k += 16u)", "for (var k = 16u; k < n; k += 16u)")


def test_work_that_was_not_done_is_found_out(device, monkeypatch):
    chain = Chain(device, 512)
    chain.prove()
    chain._groups = 1
    with pytest.raises(WrongResult, match=f"chains of {ROUNDS}"):
        chain.run(3, 1, None)


@pytest.mark.parametrize("kind", range(len(KINDS)))
def test_the_card_writes_the_words_that_the_processor_expects(device, kernels, kind):
    kernels["pattern"].run(kind, 1, None)
    written = device.get(kernels["pattern"]._two, np.uint32)
    seed = (kind * 0x9E3779B1) & 0xFFFFFFFF
    for place in (0, 1, 31, 32, 255, 256, 1000, written.size - 1):
        assert int(written[place]) == word_at(place, kind, seed)


def test_sizes_that_would_round_are_refused(device):
    for n in (100, 0x200000):
        with pytest.raises(ValueError, match="multiple of 64"):
            Product(device, n, 1)
