"""What the graphics loads are made of."""

from __future__ import annotations

from surefoot.rig.loads.program import Phase, Program

GPU_PROGRAMS: dict[str, Program] = {
    "gpu": Program(
        (
            Phase("dense", 3.0, ("product",)),
            Phase("mixed", 2.0, ("mixed",)),
            Phase("integer", 1.0, ("chain",)),
            Phase("memory", 1.5, ("pattern",)),
            Phase("burst", 2.0, ("product", "mixed", "chain")),
            Phase("light", 0.5, ("product", "pattern")),
        )
    ),
    "gpu-memory": Program((Phase("memory", 9.0, ("pattern",)),)),
}
GPU_EXERCISES: dict[str, tuple[str, ...]] = {
    "gpu": ("gpu", "gpu-memory", "transition"),
    "gpu-memory": ("gpu-memory",),
}
GPU_WORK_UNITS: dict[str, str] = {"product": "GFLOP", "mixed": "GFLOP", "chain": "Gop", "pattern": "GB"}
