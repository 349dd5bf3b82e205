"""Fast Fourier transforms, proven by their inverse and compared to the last bit."""

from __future__ import annotations

import hashlib
import math

import numpy as np
from numpy.typing import NDArray

from surefoot.rig.loads.kernels.base import Seed, Tamper, WrongResult, leave_alone

LONG_POINTS = 2**15
LONG_TIMES = 8
SHORT_POINTS = 2**11


def round_trip_tolerance(points: int) -> float:
    """Largest relative error (2-norm) that rounding can leave after a transform of ``points`` and its inverse.

    One transform in unit roundoff u errs by at most log2(n) times eta, eta = u + gamma4 (sqrt 2 + u), gamma4 =
    4u / (1 - 4u), when its weights are right to u (Higham, Accuracy and Stability of Numerical Algorithms, 2nd
    edition, theorem 24.2; from memory). That is a bound and not an estimate: real transforms stay well under it. Two
    transforms give twice that; the whole is doubled again because the library may use another radix than the theorem.
    """
    unit_roundoff = float(np.finfo(np.float64).eps) / 2
    gamma4 = 4 * unit_roundoff / (1 - 4 * unit_roundoff)
    eta = unit_roundoff + gamma4 * (math.sqrt(2) + unit_roundoff)
    return 2 * 2 * math.log2(points) * eta


class Transform:
    """Complex transforms of random data and back.

    The first inverse must give the data back to within rounding; the library adds in a fixed order, so every later one
    must have the same bits as the first: the sum of its 64-bit words is compared.
    """

    name = "transform"
    work_unit = "GFLOP"
    nominal = 0.04

    def __init__(self) -> None:
        random = np.random.default_rng(1965)
        self._data = {}
        for points in (LONG_POINTS, SHORT_POINTS):
            data = random.uniform(-1, 1, points) + 1j * random.uniform(-1, 1, points)
            back = np.fft.ifft(np.fft.fft(data))
            error = float(np.linalg.norm(back - data) / np.linalg.norm(data))
            # Written so that an error that is not a number fails too.
            if not error <= round_trip_tolerance(points):
                raise WrongResult(
                    self.name,
                    f"the inverse of a transform of {points} points is off by {error:.3g} of the data's norm; "
                    f"rounding allows {round_trip_tolerance(points):.3g}",
                    hashlib.sha256(data.tobytes()).hexdigest(),
                    hashlib.sha256(back.tobytes()).hexdigest(),
                )
            self._data[points] = (data, _sum(back), hashlib.sha256(back.tobytes()).hexdigest())

    def run(self, seed: Seed, long: bool, tamper: Tamper = leave_alone, check: bool = True) -> float:
        """One round trip (long: some); returns 5 n log2 n operations a transform, by convention, in GFLOP.

        Raises WrongResult.
        """
        points = LONG_POINTS if long else SHORT_POINTS
        times = LONG_TIMES if long else 1
        data, right, digest = self._data[points]
        for _ in range(times):
            spectrum = np.fft.fft(data)
            tamper(spectrum)
            with np.errstate(all="ignore"):
                back = np.fft.ifft(spectrum)
            if check and _sum(back) != right:
                raise WrongResult(
                    self.name,
                    f"the inverse of a transform of {points} points is not what it was before",
                    digest,
                    hashlib.sha256(back.tobytes()).hexdigest(),
                )
        return times * 2 * 5.0 * points * math.log2(points) / 1e9


def _sum(values: NDArray[np.complex128]) -> int:
    return int(np.add.reduce(values.view(np.uint64)))
