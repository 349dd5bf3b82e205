"""Compression round trips."""

from __future__ import annotations

import hashlib
import lzma
import zlib

import numpy as np

from surefoot.rig.loads.kernels.base import Seed, Tamper, WrongResult, leave_alone

LONG_WORDS = 12_000
SHORT_WORDS = 1_200
_ALPHABET = np.frombuffer(b"etaoinshrdlucmfwypvbgkjqxz", dtype=np.uint8)


def _vocabulary() -> list[bytes]:
    random = np.random.default_rng(20_001)
    lengths = random.integers(2, 11, 400)
    return [bytes(_ALPHABET[random.integers(0, _ALPHABET.size, int(length))]) for length in lengths]


class Compression:
    """Made-up text through zlib and LZMA and back: whole numbers, tables and branches, not vectors.

    The text must come back byte for byte. A stream that no longer decodes is a wrong result too. Bits that only fill up
    the last byte of a stream mean nothing and are not checked.
    """

    name = "compression"
    work_unit = "MB"
    nominal = 0.14

    def __init__(self) -> None:
        vocabulary = _vocabulary()
        random = np.random.default_rng(20_002)
        self._texts = {
            long: [
                b" ".join([vocabulary[index] for index in (random.zipf(1.3, words) % len(vocabulary)).tolist()])
                for _ in range(4)
            ]
            for long, words in ((True, LONG_WORDS), (False, SHORT_WORDS))
        }

    def run(self, seed: Seed, long: bool, tamper: Tamper = leave_alone, check: bool = True) -> float:
        """One round trip through zlib (long: and LZMA); returns the text that came back, in MB. Raises WrongResult."""
        text = self._texts[long][seed[-1] % 4]
        packed = bytearray(zlib.compress(text, 6))
        tamper(packed)
        self._back("zlib", text, packed, check)
        done = len(text)
        if long:
            packed = bytearray(lzma.compress(text, preset=1))
            tamper(packed)
            self._back("LZMA", text, packed, check)
            done += len(text)
        return done / 1e6

    def _back(self, method: str, text: bytes, packed: bytearray, check: bool) -> None:
        try:
            back = zlib.decompress(packed) if method == "zlib" else lzma.decompress(packed)
            what = f"text packed with {method} came back changed"
        except (zlib.error, lzma.LZMAError) as error:
            back = b""
            what = f"text packed with {method} could not be unpacked ({error})"
        if check and back != text:
            raise WrongResult(self.name, what, hashlib.sha256(text).hexdigest(), hashlib.sha256(back).hexdigest())
