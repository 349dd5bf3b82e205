"""Many steps of a linear congruential generator taken as one."""

from __future__ import annotations


def jump(rounds: int, multiplier: int, increment: int, bits: int) -> tuple[int, int]:
    """Multiplier and increment of ``rounds`` steps x -> m x + k (mod 2**bits) taken as one.

    By doubling: two steps are x -> m m x + (m + 1) k. Brown 1994, Random number generation with arbitrary strides.
    """
    mask = 2**bits - 1
    all_m, all_k = 1, 0
    m, k = multiplier, increment
    while rounds:
        if rounds & 1:
            all_m, all_k = all_m * m & mask, (all_k * m + k) & mask
        m, k = m * m & mask, (m + 1) * k & mask
        rounds >>= 1
    return all_m, all_k
