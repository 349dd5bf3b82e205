"""How fast verified work was done. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from surefoot.rig.loads.program import PHASE_WORDS, Program
from surefoot.runs import Score

WORK_UNITS: dict[str, str] = {
    "matrix": "GFLOP",
    "chain": "Gop",
    "transform": "GFLOP",
    "chase": "Mstep",
    "cache": "GB",
    "compression": "MB",
    "stream": "GB",
    "digest": "Mblock",
}
"""Kernel to the unit of its work, as the kernels themselves give it (a test holds the two together)."""

Work = Mapping[str, Mapping[str, Sequence[float]]]
"""Phase to kernel to (work verified, processor seconds, units of work)."""


def verified_rates(workers: Iterable[Work], phase: str) -> dict[str, float]:
    """Work per processor second in one phase by kernel, all workers together.

    Processor seconds and not seconds on the clock, so that other programs on a busy machine do not lower it, while
    stretched clocks and retried errors do. Kernels without processor time yet are left out.
    """
    done: dict[str, float] = {}
    spent: dict[str, float] = {}
    for work in workers:
        for kernel, (amount, seconds, _) in work.get(phase, {}).items():
            done[kernel] = done.get(kernel, 0.0) + amount
            spent[kernel] = spent.get(kernel, 0.0) + seconds
    return {kernel: done[kernel] / spent[kernel] for kernel in sorted(done) if spent[kernel] > 0}


def rate_scores(
    workers: Iterable[Work], program: Program, part: str, units: Mapping[str, str], note: str
) -> tuple[Score, ...]:
    """The rate of each kernel in the phase that it is rated in, as scores.

    ``part`` names what was loaded, ``units`` each kernel's unit of work.
    """
    seen = list(workers)
    found = []
    for kernel in program.kernels:
        phase = program.rated_phase(kernel)
        rate = verified_rates(seen, phase).get(kernel)
        if rate is not None:
            words = f"{note}, {PHASE_WORDS[phase]}"
            found.append(Score(name=f"{part} {kernel}", value=rate, unit=f"{units[kernel]}/s", note=words))
    return tuple(found)
