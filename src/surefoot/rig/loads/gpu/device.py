"""One graphics device, with the few things the kernels do on it. The only file that speaks to `wgpu`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

MOST_GROUPS = 65535
LANES = 256
REPORT_WORDS = 4
SOFTWARE = "CPU"
_KINDS = {"DiscreteGPU": "card", "IntegratedGPU": "integrated", "VirtualGPU": "virtual", SOFTWARE: "software"}


class NoDevice(OSError):
    """There is no graphics device to be had, in words."""


@dataclass(frozen=True, slots=True)
class Adapter:
    """A graphics device as the system offers it. ``kind``: card, integrated, virtual, software, or other."""

    name: str
    kind: str
    backend: str
    driver: str
    handle: Any = None

    def facts(self) -> dict[str, str]:
        """For the record of a run."""
        return {"graphics": self.name, "graphics_kind": self.kind, "graphics_driver": f"{self.backend}, {self.driver}"}


@dataclass(frozen=True, slots=True)
class Mismatch:
    """What a comparison found: how many words were wrong, the first place, and a found and an expected word."""

    count: int
    place: int
    found: int
    expected: int


def adapters() -> list[Adapter]:
    """Every device that `wgpu` finds, cards first, software last; the same device through a second way is left out."""
    import wgpu

    found: dict[tuple[str, str], Adapter] = {}
    for handle in wgpu.gpu.enumerate_adapters_sync():
        info = dict(handle.info)
        kind = _KINDS.get(info.get("adapter_type", ""), "other")
        name = str(info.get("device") or info.get("vendor") or "unnamed")
        backend = str(info.get("backend_type", ""))
        adapter = Adapter(name, kind, backend, str(info.get("description", "")), handle)
        # Vulkan, Metal and D3D12 before OpenGL, which lacks what the kernels need on many drivers.
        if (name, kind) not in found or found[name, kind].backend.startswith("OpenGL"):
            found[name, kind] = adapter
    order = ["card", "other", "virtual", "integrated", "software"]
    return sorted(found.values(), key=lambda adapter: order.index(adapter.kind))


def choose(wanted: str, among: Sequence[Adapter]) -> Adapter:
    """The device whose name holds ``wanted``, or the first that is one; "software" for one worked out by the processor.

    Raises NoDevice: a software device would load the processor and prove nothing of the graphics card.
    """
    if wanted:
        for adapter in among:
            if wanted.lower() in adapter.name.lower() or wanted == adapter.kind:
                return adapter
        raise NoDevice(f"no graphics device is called {wanted!r}; there are: {_names(among)}")
    for adapter in among:
        if adapter.kind != "software":
            return adapter
    if among:
        raise NoDevice(f"the only graphics devices are worked out by the processor ({_names(among)})")
    raise NoDevice("no graphics device was found")


def _names(among: Sequence[Adapter]) -> str:
    return ", ".join(adapter.name for adapter in among) or "none"


class Device:
    """A device that has been opened. ``largest``: bytes that one buffer may hold."""

    def __init__(self, adapter: Adapter, most_bytes: int) -> None:
        import wgpu

        self._usage = (
            wgpu.BufferUsage.STORAGE | wgpu.BufferUsage.COPY_SRC | wgpu.BufferUsage.COPY_DST  # type: ignore[attr-defined,unused-ignore]
        )
        limits = adapter.handle.limits
        largest = min(
            int(limits["max-storage-buffer-binding-size"]), int(limits["max-buffer-size"]), max(most_bytes, 1 << 27)
        )
        wanted = {"max-storage-buffer-binding-size": largest, "max-buffer-size": max(largest, 1 << 28)}
        wanted["max-buffer-size"] = min(wanted["max-buffer-size"], int(limits["max-buffer-size"]))
        self._device = adapter.handle.request_device_sync(required_limits=wanted)
        self.largest = min(largest, most_bytes)
        self.report = self.buffer(4 * REPORT_WORDS)

    def buffer(self, size: int) -> Any:
        """An empty buffer of so many bytes."""
        return self._device.create_buffer(size=size, usage=self._usage)

    def filled(self, values: NDArray[Any]) -> Any:
        """A buffer that holds an array."""
        return self._device.create_buffer_with_data(data=np.ascontiguousarray(values), usage=self._usage)

    def put(self, buffer: Any, values: NDArray[Any], offset: int = 0) -> None:
        """Write an array into a buffer."""
        self._device.queue.write_buffer(buffer, offset, np.ascontiguousarray(values))

    def get(self, buffer: Any, kind: type[np.generic]) -> NDArray[Any]:
        """Read a buffer back; waits until all work before it is done."""
        return np.frombuffer(self._device.queue.read_buffer(buffer), dtype=kind)

    def pipeline(self, code: str) -> Any:
        """A kernel, ready to run."""
        module = self._device.create_shader_module(code=code)
        return self._device.create_compute_pipeline(layout="auto", compute={"module": module, "entry_point": "main"})

    def bind(self, pipeline: Any, *buffers: Any) -> Any:
        """A kernel's buffers, in the order of their bindings."""
        return self._device.create_bind_group(
            layout=pipeline.get_bind_group_layout(0),
            entries=[
                {"binding": index, "resource": {"buffer": buffer, "offset": 0, "size": buffer.size}}
                for index, buffer in enumerate(buffers)
            ],
        )

    def work(self) -> Work:
        """Begin a list of things to do."""
        return Work(self._device)

    def read_report(self) -> Mismatch | None:
        """What the comparisons found since the report was cleared, or None; waits for them."""
        count, place, found, expected = (int(word) for word in self.get(self.report, np.uint32))
        return Mismatch(count, 0xFFFFFFFF - place, found, expected) if count else None


class Work:
    """A list of things for the device to do, handed over as one."""

    def __init__(self, device: Any) -> None:
        self._device = device
        self._encoder = device.create_command_encoder()

    def run(self, pipeline: Any, group: Any, across: int, down: int = 1) -> Work:
        """Run a kernel with so many groups."""
        step = self._encoder.begin_compute_pass()
        step.set_pipeline(pipeline)
        step.set_bind_group(0, group)
        step.dispatch_workgroups(across, down, 1)
        step.end()
        return self

    def clear(self, buffer: Any) -> Work:
        """Fill a buffer with zeros: a kernel that then did nothing is found out."""
        self._encoder.clear_buffer(buffer, 0, buffer.size)
        return self

    def copy(self, source: Any, target: Any) -> Work:
        """Copy a whole buffer."""
        self._encoder.copy_buffer_to_buffer(source, 0, target, 0, source.size)
        return self

    def submit(self) -> None:
        """Hand it over; returns before it is done."""
        self._device.queue.submit([self._encoder.finish()])


def layout(words: int) -> tuple[int, int]:
    """Groups across and down for so many words, one an invocation."""
    groups = -(-words // LANES)
    across = min(groups, MOST_GROUPS)
    return across, -(-groups // across)
