"""The kernels of work in this process: right work passes, every kind of wrong result is caught."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surefoot.rig.loads.kernels import WrongResult, leave_alone, make_kernels
from surefoot.rig.loads.kernels.sweep import Sweep
from surefoot.rig.loads.kernels.transform import round_trip_tolerance
from surefoot.rig.loads.program import PROGRAMS
from surefoot.rig.loads.rates import WORK_UNITS, verified_rates
from surefoot.rig.loads.strides import jump

KERNELS = make_kernels(WORK_UNITS, stream_bytes=1 << 20)


@pytest.mark.parametrize("name", KERNELS)
@settings(max_examples=15, deadline=None)
@given(seed=st.tuples(st.integers(0, 2**32 - 1), st.integers(0, 512), st.integers(0, 10**9)), long=st.booleans())
def test_right_work_is_never_called_wrong(name, seed, long):
    assert KERNELS[name].run(seed, long, leave_alone) > 0


@pytest.mark.parametrize("name", KERNELS)
@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_one_flipped_bit_in_any_place_is_caught(name, data):
    place = data.draw(st.floats(0, 1, exclude_max=True))
    # In a transform a bit below what rounding may change can be rounded away again; that is its stated limit.
    bit = data.draw(st.integers(24, 62) if name == "transform" else st.integers(0, 63))

    def flip(result):
        if isinstance(result, bytearray):
            at = int(place * len(result))
            # The last byte before the four of the checksum may end in bits that only fill it up (RFC 1951, 3.2.3).
            if name == "compression" and at == len(result) - 5:
                at -= 1
            result[at] ^= 1 << (bit % 8)
        else:
            words = result.reshape(-1).view(np.uint64)
            words[int(place * words.size)] ^= np.uint64(1 << bit)

    with pytest.raises(WrongResult) as caught:
        KERNELS[name].run((1, 2, 3), False, flip)
    assert caught.value.kernel == name
    assert caught.value.expected != caught.value.found


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf")])
@pytest.mark.parametrize("name", ["matrix", "transform"])
def test_a_result_that_is_no_number_is_caught(name, value):
    def spoil(result):
        result.reshape(-1)[7] = value

    with pytest.raises(WrongResult), np.errstate(all="ignore"):
        KERNELS[name].run((4,), False, spoil)


def test_rounding_stays_far_below_the_tolerance_of_a_transform():
    random = np.random.default_rng(7)
    for points in (2**11, 2**15):
        data = random.uniform(-1, 1, points) + 1j * random.uniform(-1, 1, points)
        error = np.linalg.norm(np.fft.ifft(np.fft.fft(data)) - data) / np.linalg.norm(data)
        assert 0 < error < round_trip_tolerance(points) / 10


@pytest.mark.parametrize("name", KERNELS)
def test_a_long_unit_is_about_one_step_of_progress_and_a_short_one_far_less(name):
    kernel = KERNELS[name]
    if name == "stream":
        pytest.skip("its long unit is as large as its array, which is small here")
    long = [kernel.run((9, seed), True, leave_alone) / kernel.nominal for seed in range(3)]
    assert 0.7 < sum(long) / len(long) < 1.5
    assert kernel.run((9,), False, leave_alone) / kernel.nominal < 0.3


def test_the_units_of_work_agree_with_the_kernels():
    assert {name: kernel.work_unit for name, kernel in KERNELS.items()} == WORK_UNITS
    assert set(PROGRAMS["cpu"].kernels) == set(WORK_UNITS)


words64 = st.integers(0, 2**64 - 1)


@given(rounds=st.integers(0, 300), m=words64, k=words64, x=words64)
def test_a_jump_is_as_good_as_every_step(rounds, m, k, x):
    end = x
    for _ in range(rounds):
        end = (end * m + k) % 2**64
    all_m, all_k = jump(rounds, m, k, 64)
    assert (x * all_m + all_k) % 2**64 == end


def test_the_first_product_is_proven_and_not_taken_on_trust(monkeypatch):
    # A library whose every product is wrong in the same way would agree with itself for ever: one entry off by one.
    from surefoot.rig.loads.kernels.matrix import Matrix

    proven = np.isfinite
    monkeypatch.setattr(np, "isfinite", lambda c: c.__setitem__((3, 4), c[3, 4] + 1) or proven(c))
    with pytest.raises(WrongResult, match="Freivalds"):
        Matrix()


def test_a_wrong_word_in_a_sweep_stays_wrong_to_the_end_and_is_put_right_after():
    sweep = Sweep("cache", 4096, 3, 2)
    with pytest.raises(WrongResult, match="1 of 512 words"):
        sweep.run((1, 1), True, lambda words: words.__setitem__(9, words[9] ^ np.uint64(4)))
    assert sweep.run((1, 2), True) > 0


def test_rates_take_all_workers_together_in_one_phase_only():
    one = {"full": {"matrix": [10.0, 1.0, 5], "digest": [1.0, 0.0, 1]}, "burst": {"matrix": [99.0, 1.0, 9]}}
    other = {"full": {"matrix": [20.0, 2.0, 9]}}
    assert verified_rates([one, other], "full") == {"matrix": 10.0}
    assert verified_rates([], "full") == {}


def test_a_product_is_as_large_as_a_processors_share_of_the_last_cache_takes(tmp_path):
    from surefoot.rig.loads.kernels.matrix import long_size
    from surefoot.rig.loads.processors import last_cache_share

    assert last_cache_share(tmp_path) == 0
    for core, size in ((0, "32768K"), (1, "32768K"), (2, "16384K")):
        folder = tmp_path / f"sys/devices/system/cpu/cpu{core}/cache/index3"
        folder.mkdir(parents=True)
        (folder / "level").write_text("3\n")
        (folder / "size").write_text(size + "\n")
        (folder / "shared_cpu_list").write_text("0-1\n" if core < 2 else "2\n")
    assert last_cache_share(tmp_path) == 16 << 20
    assert [long_size(share) for share in (0, 8 << 20, 16 << 20, 32 << 20)] == [512, 512, 768, 1024]
