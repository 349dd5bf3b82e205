"""The known answers of the digest kernel, held to a SHA-256 written here from the standard's text."""

from __future__ import annotations

import hashlib

import pytest

from surefoot.rig.loads.kernels.base import leave_alone
from surefoot.rig.loads.kernels.digest import CHAIN_ANSWERS, CHAIN_START, KNOWN_ANSWERS, MILLION, Digest


def first_primes(count: int) -> list[int]:
    found: list[int] = []
    number = 2
    while len(found) < count:
        if all(number % prime for prime in found):
            found.append(number)
        number += 1
    return found


def root_bits(number: int, degree: int) -> int:
    """The first 32 bits of the fraction of a root, in whole numbers only."""
    scaled = number << (32 * degree)
    low, high = 0, 1 << 64
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if middle**degree <= scaled else (low, middle)
    return low & 0xFFFFFFFF


# FIPS 180-4, 4.2.2 and 5.3.3: fractions of the cube roots of the first 64 primes, and of the square roots of eight.
K = [root_bits(prime, 3) for prime in first_primes(64)]
START = [root_bits(prime, 2) for prime in first_primes(8)]


def turn(word: int, places: int) -> int:
    return (word >> places | word << (32 - places)) & 0xFFFFFFFF


def sha256(message: bytes) -> str:
    """FIPS 180-4, 5.1.1 (padding) and 6.2 (the digest)."""
    padded = message + b"\x80" + b"\0" * ((55 - len(message)) % 64) + (8 * len(message)).to_bytes(8, "big")
    state = list(START)
    for at in range(0, len(padded), 64):
        w = [int.from_bytes(padded[at + 4 * t : at + 4 * t + 4], "big") for t in range(16)]
        for t in range(16, 64):
            s0 = turn(w[t - 15], 7) ^ turn(w[t - 15], 18) ^ w[t - 15] >> 3
            s1 = turn(w[t - 2], 17) ^ turn(w[t - 2], 19) ^ w[t - 2] >> 10
            w.append((s1 + w[t - 7] + s0 + w[t - 16]) & 0xFFFFFFFF)
        a, b, c, d, e, f, g, h = state
        for t in range(64):
            one = h + (turn(e, 6) ^ turn(e, 11) ^ turn(e, 25)) + (e & f ^ ~e & g) + K[t] + w[t]
            two = (turn(a, 2) ^ turn(a, 13) ^ turn(a, 22)) + (a & b ^ a & c ^ b & c)
            a, b, c, d, e, f, g, h = (one + two) & 0xFFFFFFFF, a, b, c, (d + one) & 0xFFFFFFFF, e, f, g
        state = [(old + new) & 0xFFFFFFFF for old, new in zip(state, (a, b, c, d, e, f, g, h), strict=True)]
    return "".join(f"{word:08x}" for word in state)


def chain(links: int) -> str:
    digest = CHAIN_START
    for _ in range(links):
        digest = bytes.fromhex(sha256(digest))
    return digest.hex()


def test_the_example_of_the_standard():
    # FIPS 180-4 examples: SHA-256 of "abc" (value as given; from memory, and what this file's own code gives).
    answer = "ba7816bf 8f01cfea 414140de 5dae2223 b00361a3 96177a9c b410ff61 f20015ad".replace(" ", "")
    assert sha256(b"abc") == answer
    assert KNOWN_ANSWERS[0] == (b"abc", answer)


@pytest.mark.parametrize(("message", "answer"), KNOWN_ANSWERS)
def test_the_known_answers_of_the_load(message, answer):
    assert sha256(message) == answer
    assert hashlib.sha256(message).hexdigest() == answer


def test_a_million_times_a():
    # FIPS 180-4 examples, third message (from memory); hashlib agrees. The code above does it in the long test.
    assert hashlib.sha256(b"a" * 1_000_000).hexdigest() == MILLION[1]
    assert MILLION[0] == b"a" * 1_000_000


def test_the_end_of_the_short_chain():
    assert chain(1_000) == CHAIN_ANSWERS[1_000]


@pytest.mark.long
def test_the_end_of_the_long_chain_and_the_million():
    assert chain(20_000) == CHAIN_ANSWERS[20_000]
    assert sha256(MILLION[0]) == MILLION[1]


@pytest.mark.parametrize("long", [False, True])
@pytest.mark.parametrize("unit", [0, 1])
def test_the_kernel_itself_agrees(unit, long):
    # Blocks of 64 bytes: one for each link and for the short message; the million bytes twice when long.
    blocks = (20_000 + 1 + 2 * 15_626) if long else 1_001
    assert Digest().run((unit,), long, leave_alone) == pytest.approx(blocks / 1e6)
