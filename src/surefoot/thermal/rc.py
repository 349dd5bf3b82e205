"""The coupled lumped model: bodies with a heat capacity each, joined to each other and to the room by resistances.

C dT/dt = P - G (T - T_room), with C diagonal (J/K) and G the symmetric conductance matrix (W/K) of the network. For
powers that are constant between samples the solution is exact, by the eigenvectors of C^-1/2 G C^-1/2 (any text on
lumped capacitance). The settled rise is G^-1 P: the coupling matrix of `heat` is a part of G^-1.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from surefoot.errors import BadInput
from surefoot.runs import Floats


@dataclass(frozen=True, eq=False)
class LumpedModel:
    """Bodies by name, their capacities in J/K, shape (k,), and the conductance matrix in W/K, shape (k, k)."""

    bodies: tuple[str, ...]
    capacities: Floats
    conductance: Floats

    @classmethod
    def of(
        cls,
        capacities: Mapping[str, float],
        joined: Mapping[tuple[str, str], float],
        to_room: Mapping[str, float],
    ) -> LumpedModel:
        """From capacities (J/K), and conductances (W/K) between pairs of bodies and from bodies to the room.

        Raises BadInput for a capacity that is not positive, a negative conductance, or a body that heat cannot leave.
        """
        bodies = tuple(capacities)
        place = {name: index for index, name in enumerate(bodies)}
        heat = np.array([float(capacities[name]) for name in bodies])
        matrix = np.zeros((len(bodies), len(bodies)))
        unknown = ({name for pair in joined for name in pair} | set(to_room)) - set(bodies)
        if unknown:
            raise BadInput(f"{sorted(unknown)[0]!r} is no body of the model.", where="lumped model")
        if (heat <= 0).any() or any(value < 0 for value in (*joined.values(), *to_room.values())):
            raise BadInput("capacities must be positive and conductances at least 0.", where="lumped model")
        for (one, other), value in joined.items():
            i, j = place[one], place[other]
            matrix[i, i] += value
            matrix[j, j] += value
            matrix[i, j] -= value
            matrix[j, i] -= value
        for name, value in to_room.items():
            matrix[place[name], place[name]] += value
        if len(bodies) == 0 or np.linalg.eigvalsh(matrix).min() <= 1e-12:
            raise BadInput("heat cannot leave a body of the model.", where="lumped model")
        return cls(bodies, heat, matrix)

    @property
    def resistance(self) -> Floats:
        """Settled rise of each body per watt into each, K/W, shape (k, k)."""
        return np.asarray(np.linalg.inv(self.conductance), dtype=np.float64)

    @property
    def time_constants_seconds(self) -> Floats:
        """Of its modes, the shortest first, shape (k,)."""
        rates, _ = self._modes()
        return np.sort(1.0 / rates)

    def _modes(self) -> tuple[Floats, Floats]:
        root = 1.0 / np.sqrt(self.capacities)
        rates, vectors = np.linalg.eigh(self.conductance * root[:, None] * root[None, :])
        return rates, vectors

    def simulate(
        self, seconds: ArrayLike, watts: ArrayLike, room_celsius: float, start_celsius: ArrayLike | None = None
    ) -> Floats:
        """Temperatures at each time, Celsius, shape (n, k).

        ``seconds``: ascending, shape (n,); ``watts``: into each body, shape (n, k) or (k,); the row of a time holds
        until the next; ``start_celsius``: shape (k,), the room when None.
        """
        times = np.asarray(seconds, dtype=np.float64)
        power = np.broadcast_to(np.asarray(watts, dtype=np.float64), (times.size, len(self.bodies)))
        rates, vectors = self._modes()
        root = np.sqrt(self.capacities)
        start = (
            np.full(root.size, room_celsius) if start_celsius is None else np.asarray(start_celsius, dtype=np.float64)
        )
        state = vectors.T @ (root * (start - room_celsius))
        aims = (power / root) @ vectors / rates
        states = np.empty((times.size, rates.size))
        for index in range(times.size):
            states[index] = state
            if index + 1 < times.size:
                decay = np.exp(-rates * (times[index + 1] - times[index]))
                state = aims[index] + (state - aims[index]) * decay
        return np.asarray(room_celsius + (states @ vectors.T) / root, dtype=np.float64)
