"""SHA-256 against known answers."""

from __future__ import annotations

import hashlib

from surefoot.rig.loads.kernels.base import Seed, Tamper, WrongResult, leave_alone

# FIPS 180-4 examples (one block, two blocks, and a million times "a").
KNOWN_ANSWERS: tuple[tuple[bytes, str], ...] = (
    (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
    (
        b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
    ),
)
MILLION = (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0")

CHAIN_START = b"surefoot"
# The digest of the digest of ... CHAIN_START, so many times; worked out beforehand. One wrong bit in any link changes
# the last. tests/reference/test_known_answers.py holds them to a SHA-256 written from the standard.
CHAIN_ANSWERS: dict[int, str] = {
    1_000: "479f5d91c42cef67db19c5655c8aab65b4b6846ad09c2407c90643cf66e67190",
    20_000: "d29b40e96726b8571248f3e7ec8f81cae4b5acfc58ad250b72b70a7a95e597ec",
}
_BLOCK_BYTES = 64


class Digest:
    """Digests of known messages, and long chains of digests of digests with known ends."""

    name = "digest"
    work_unit = "Mblock"
    nominal = 0.05

    def run(self, seed: Seed, long: bool, tamper: Tamper = leave_alone, check: bool = True) -> float:
        """One chain, long: with two passes over a million bytes; returns SHA-256 blocks done, in millions.

        Raises WrongResult.
        """
        message, answer = KNOWN_ANSWERS[seed[-1] % len(KNOWN_ANSWERS)]
        self._compare(f"of the {len(message)}-byte message of FIPS 180-4", answer, _digest(message), tamper, check)
        links = 20_000 if long else 1_000
        link = CHAIN_START
        for _ in range(links):
            link = hashlib.sha256(link).digest()
        self._compare(f"at the end of a chain of {links} digests", CHAIN_ANSWERS[links], link, tamper, check)
        blocks = links + 1
        if long:
            for _ in range(2):
                self._compare("of a million times 'a' (FIPS 180-4)", MILLION[1], _digest(MILLION[0]), tamper, check)
                blocks += len(MILLION[0]) // _BLOCK_BYTES + 1
        return blocks / 1e6

    def _compare(self, what: str, expected: str, digest: bytes, tamper: Tamper, check: bool) -> None:
        result = bytearray(digest)
        tamper(result)
        if check and result.hex() != expected:
            raise WrongResult(self.name, f"the SHA-256 digest {what} is wrong", expected, result.hex())


def _digest(message: bytes) -> bytes:
    return hashlib.sha256(message).digest()
