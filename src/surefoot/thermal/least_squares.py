"""Non-negative least squares for a handful of unknowns, many right-hand sides at once."""

from __future__ import annotations

from itertools import product

import numpy as np

from surefoot.runs import Floats


def non_negative(design: Floats, targets: Floats) -> Floats:
    """The x >= 0 that minimise |design x - target|, for each target; shape (targets, unknowns).

    ``design``: shape (rows, unknowns), or (targets, rows, unknowns) with one design a target; ``targets``: shape
    (targets, rows). With few unknowns every choice of those held at zero is tried: the best that is feasible is the
    solution (Lawson and Hanson 1974 reach the same one step at a time). Meant for at most 4 unknowns.
    """
    designs = np.broadcast_to(design, (targets.shape[0], *design.shape[-2:]))
    many, _, unknowns = designs.shape
    best = np.zeros((many, unknowns))
    least = (targets**2).sum(axis=1)
    for used in product((False, True), repeat=unknowns):
        columns = np.flatnonzero(used)
        if columns.size == 0:
            continue
        part = designs[:, :, columns]
        gram = np.einsum("tri,trj->tij", part, part)
        right = np.einsum("tri,tr->ti", part, targets)
        size = np.einsum("tii->t", gram)
        ridge = (1e-12 * np.maximum(size, 1e-30))[:, None, None] * np.eye(columns.size)[None]
        solved = np.linalg.solve(gram + ridge, right[:, :, None])[:, :, 0]
        residual = targets - np.einsum("tri,ti->tr", part, solved)
        cost = (residual**2).sum(axis=1)
        better = (solved >= 0).all(axis=1) & (cost < least - 1e-12 * np.maximum(least, 1.0))
        best[better] = 0.0
        best[np.ix_(better, columns)] = solved[better]
        least = np.where(better, cost, least)
    return best
