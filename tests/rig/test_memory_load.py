"""The load of main memory: what it catches, and that it leaves the machine its memory."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surefoot.errors import BadInput, MachineError
from surefoot.rig.loads.fault import Fault
from surefoot.rig.loads.kernels import WrongResult
from surefoot.rig.loads.memory.field import TILE_BYTES, Field
from surefoot.rig.loads.memory.free import available_bytes, headroom_bytes
from surefoot.rig.loads.memory.load import MemoryLoad
from surefoot.rig.loads.memory.patterns import KINDS, TILE_WORDS, Filling, Maker, filling_at
from surefoot.runs import Outcome

CHUNK = 2 * TILE_BYTES
PLENTY = 1 << 40


def field(chunks: int = 2, available=lambda: PLENTY, headroom: int = 0) -> Field:
    made = Field(chunks * CHUNK, headroom, available, CHUNK)
    while made.grow(filling_at(0, 5)):
        pass
    return made


def test_every_pattern_passes_in_both_orders():
    held = field()
    for passes in range(1, 2 * 2 * len(KINDS) + 1):
        for number in range(held.count):
            assert held.sweep(number, filling_at(passes, 5), passes % 2 == 1) == pytest.approx(2 * CHUNK / 1e9)


@settings(max_examples=40, deadline=None)
@given(passes=st.integers(0, 9), chunk=st.integers(0, 1), place=st.integers(0, CHUNK // 8 - 1), bit=st.integers(0, 63))
def test_one_flipped_bit_in_any_place_is_told_by_its_offset_and_bit(passes, chunk, place, bit):
    held = field()
    for number in range(1, passes + 1):
        for which in range(held.count):
            held.sweep(which, filling_at(number, 5), number % 2 == 1)
    words = held._chunks[chunk][0].words
    words[place] ^= np.uint64(1 << bit)
    with pytest.raises(WrongResult) as caught:
        held.sweep(chunk, filling_at(passes + 1, 5), passes % 2 == 0)
    assert f"at byte offsets {chunk * CHUNK + 8 * place:#x} (bits {1 << bit:016x})" in caught.value.what
    assert filling_at(passes, 5).words in caught.value.what
    # Filled as it was: done again at once, it is right.
    held.sweep(chunk, filling_at(passes + 1, 5), passes % 2 == 0)


def test_what_belongs_at_a_place_follows_from_the_place():
    maker = Maker()
    assert maker.tile(Filling(1, 10), 2)[7] == 2 * TILE_WORDS + 7 + 10
    assert maker.tile(Filling(3, 0, True), 0)[0] == 0xAAAAAAAAAAAAAAAA
    rows = maker.tile(Filling(4, 0, False, 512), 1)
    assert (rows[511], rows[512], rows[1024]) == (0, 2**64 - 1, 0)
    tiles = {maker.tile(filling, tile).tobytes() for filling in (Filling(0, 1), Filling(0, 2)) for tile in (0, 1)}
    assert len(tiles) == 4
    ones = maker.tile(Filling(2, 3), 0)
    assert set(np.bitwise_count(ones) if hasattr(np, "bitwise_count") else [1]) == {1}


def test_memory_is_taken_only_while_the_headroom_stays():
    left = [10 * CHUNK]

    def available() -> int:
        left[0] -= CHUNK
        return left[0]

    held = Field(100 * CHUNK, 4 * CHUNK, available, CHUNK)
    while held.grow(filling_at(0, 1)):
        pass
    assert 0 < held.count < 6
    assert not held.grow(filling_at(0, 1))


def test_memory_is_given_back_when_others_need_it_and_not_taken_again():
    left = [PLENTY]
    held = field(3, lambda: left[0], headroom=8 * CHUNK)
    assert held.count == 3
    assert not held.give_way()
    left[0] = 3 * CHUNK
    assert held.give_way()
    assert (held.count, held.released) == (2, 1)
    left[0] = PLENTY
    assert not held.grow(filling_at(0, 1))


def test_a_containers_limit_counts_as_well(tmp_path):
    (tmp_path / "proc/self").mkdir(parents=True)
    (tmp_path / "proc/self/cgroup").write_text("0::/unit/part\n")
    folder = tmp_path / "sys/fs/cgroup/unit/part"
    folder.mkdir(parents=True)
    (folder / "memory.max").write_text("3000000\n")
    (folder / "memory.current").write_text("1000000\n")
    assert available_bytes(tmp_path) == 2_000_000
    (folder / "memory.max").write_text("max\n")
    assert available_bytes(tmp_path) > 2_000_000
    assert headroom_bytes(64 << 30) == int(0.1 * (64 << 30))
    assert headroom_bytes(4 << 30) == 1 << 30
    assert headroom_bytes(1 << 30) == 1 << 29


def test_a_clean_run_with_real_processes(finish, gone):
    session = MemoryLoad(most=32 << 20, chunk_bytes=4 << 20).start(1.5 / 60)
    state = finish(session)
    assert (state.state, state.outcome) == ("done", None), state
    assert state.detail["memory_bytes"] == 32 << 20
    assert state.detail["scores"]["main memory"]["value"] > 0
    assert gone(*session.worker_pids)


def test_one_flipped_bit_is_a_miscompute_with_its_place(finish):
    fault = Fault("flip", after_units=3, share=0.25, bit=7)
    state = finish(MemoryLoad(most=32 << 20, chunk_bytes=4 << 20, faults=[fault]).start(1))
    assert (state.state, state.outcome) == ("failed", Outcome.MISCOMPUTE)
    assert "bits 0000000000000080" in state.message
    assert state.detail["repeats"] is False
    assert "on purpose" in state.message


def test_too_little_memory_is_said_before_anything_is_taken():
    with pytest.raises(MachineError, match="left to the rest"):
        MemoryLoad(headroom=1 << 50).start(1)
    with pytest.raises(BadInput):
        MemoryLoad().start(0)
