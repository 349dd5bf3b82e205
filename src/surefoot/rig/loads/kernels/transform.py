"""Fast Fourier transforms, checked by their inverse."""

from __future__ import annotations

import hashlib
import math

import numpy as np

from surefoot.rig.loads.kernels.base import Seed, Tamper, WrongResult

LONG_POINTS = 2**15
LONG_TIMES = 4
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
    """Complex transforms of random data; the inverse must give the data back to within rounding."""

    name = "transform"
    work_unit = "GFLOP"
    nominal = 0.02

    def run(self, seed: Seed, long: bool, tamper: Tamper) -> float:
        """One round trip (long: four); returns 5 n log2 n operations a transform, by convention, in GFLOP.

        Raises WrongResult.
        """
        points = LONG_POINTS if long else SHORT_POINTS
        times = LONG_TIMES if long else 1
        random = np.random.default_rng(seed)
        for _ in range(times):
            data = random.uniform(-1, 1, points) + 1j * random.uniform(-1, 1, points)
            spectrum = np.fft.fft(data)
            tamper(spectrum)
            back = np.fft.ifft(spectrum)
            with np.errstate(all="ignore"):
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
        return times * 2 * 5.0 * points * math.log2(points) / 1e9
