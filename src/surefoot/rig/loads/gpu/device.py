"""One graphics device, with the few things the kernels do on it. The only file that speaks to `wgpu`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

MOST_GROUPS = 65535
LANES = 256
REPORT_WORDS = 8
PARAM_BYTES = 64
SLOTS = 4
"""Lists of work that may be under way at one time, each with a place of its own for its report."""
RING = 512
"""Sets of parameters that one list of work may use."""
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
class Report:
    """What the checks of one list of work found.

    ``wrong``: words; ``place``, ``found`` and ``expected``: of the one that was counted first; ``blocks``: of memory
    gone through; ``compared``: groups that have compared; ``buffer``: number of the memory buffer that the word is in,
    ``pattern``: what had been written there (see `pattern_words`).
    """

    wrong: int
    place: int
    found: int
    expected: int
    blocks: int
    compared: int
    buffer: int = 0
    pattern: int = 0

    @property
    def in_memory(self) -> bool:
        """Whether the wrong word was one of memory: only those leave their pattern, with a mark in the highest bit."""
        return bool(self.pattern >> 31)


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
    """A device that has been opened. ``largest``: bytes one buffer may hold; ``shared``: of a group's shared memory."""

    def __init__(self, adapter: Adapter, most_bytes: int) -> None:
        import wgpu

        usage: Any = wgpu.BufferUsage
        self._usage = usage.STORAGE | usage.COPY_SRC | usage.COPY_DST
        self._read_usage = usage.MAP_READ | usage.COPY_DST
        limits = adapter.handle.limits
        largest = min(
            int(limits["max-storage-buffer-binding-size"]), int(limits["max-buffer-size"]), max(most_bytes, 1 << 27)
        )
        self.shared = int(limits["max-compute-workgroup-storage-size"])
        wanted = {
            "max-storage-buffer-binding-size": largest,
            "max-buffer-size": min(max(largest, 1 << 28), int(limits["max-buffer-size"])),
            "max-compute-workgroup-storage-size": self.shared,
        }
        self._device = adapter.handle.request_device_sync(required_limits=wanted)
        self.adapter = adapter
        self.largest = min(largest, most_bytes)
        self.report = self.buffer(4 * REPORT_WORDS)
        self._slots = [self._device.create_buffer(size=4 * REPORT_WORDS, usage=self._read_usage) for _ in range(SLOTS)]
        self._slot = 0
        self._params = [self.buffer(PARAM_BYTES) for _ in range(RING)]
        self._next_param = 0
        self._param_groups: dict[Any, dict[int, Any]] = {}
        self._groups_of: list[dict[int, Any]] = []
        self._flip: Any = None

    def buffer(self, size: int) -> Any:
        """An empty buffer of so many bytes."""
        return self._device.create_buffer(size=size, usage=self._usage)

    def buffer_if_there_is_room(self, size: int) -> Any | None:
        """An empty buffer, or None where the device has no memory left for it."""
        import wgpu

        try:
            return self.buffer(size)
        except (wgpu.GPUError, MemoryError):
            return None

    def filled(self, values: NDArray[Any]) -> Any:
        """A buffer that holds an array."""
        return self._device.create_buffer_with_data(data=np.ascontiguousarray(values), usage=self._usage)

    def put(self, buffer: Any, values: NDArray[Any], offset: int = 0) -> None:
        """Write an array into a buffer; done before any work that is handed over later."""
        self._device.queue.write_buffer(buffer, offset, np.ascontiguousarray(values))

    def get(self, buffer: Any, kind: type[np.generic]) -> NDArray[Any]:
        """Read a buffer back; waits until all work before it is done."""
        return np.frombuffer(self._device.queue.read_buffer(buffer), dtype=kind)

    def pipeline(self, code: str) -> Pipeline:
        """A kernel, ready to run."""
        module = self._device.create_shader_module(code=code)
        made = self._device.create_compute_pipeline(layout="auto", compute={"module": module, "entry_point": "main"})
        return Pipeline(made)

    def bind(self, pipeline: Pipeline, *buffers: Any) -> Any:
        """A kernel's buffers, in the order of their bindings."""
        return self._bind(pipeline, 0, buffers)

    def _bind(self, pipeline: Pipeline, group: int, buffers: Sequence[Any]) -> Any:
        return self._device.create_bind_group(
            layout=pipeline.handle.get_bind_group_layout(group),
            entries=[
                {"binding": index, "resource": {"buffer": buffer, "offset": 0, "size": buffer.size}}
                for index, buffer in enumerate(buffers)
            ],
        )

    def params(self, pipeline: Pipeline, values: Sequence[int]) -> Any:
        """Parameters for one run of a kernel, as its second group. A list of work may use ``RING`` of them."""
        index = self._next_param
        self._next_param = (index + 1) % RING
        words = np.zeros(PARAM_BYTES // 4, dtype=np.uint32)
        words[: len(values)] = np.array([value & 0xFFFFFFFF for value in values], dtype=np.uint32)
        self.put(self._params[index], words)
        if index not in pipeline.param_groups:
            pipeline.param_groups[index] = self._bind(pipeline, 1, (self._params[index],))
        return pipeline.param_groups[index]

    def work(self) -> Work:
        """Begin a list of things to do."""
        return Work(self)

    def flip(self, work: Work, buffer: Any, place: int, bit: int) -> None:
        """Turn one bit of one word over, at this point of the list; the fault that tests put in."""
        if self._flip is None:
            self._flip = self.pipeline(_FLIP)
        work.run(self._flip, self.bind(self._flip, buffer), 1, params=(place, 1 << bit))

    def submit(self, work: Work) -> Pending:
        """Hand a list over with its report; returns before it is done. At most ``SLOTS`` may be pending."""
        slot = self._slots[self._slot]
        self._slot = (self._slot + 1) % SLOTS
        work.end(slot)
        return Pending(slot)


class Pipeline:
    """A kernel, with the groups that bind its parameters."""

    def __init__(self, handle: Any) -> None:
        self.handle = handle
        self.param_groups: dict[int, Any] = {}


class Pending:
    """A list of work under way."""

    def __init__(self, slot: Any) -> None:
        import wgpu

        self._slot = slot
        self._mode: Any = wgpu.MapMode.READ  # type: ignore[attr-defined,unused-ignore]

    def wait(self) -> Report:
        """Wait till it is done, whatever is under way after it, and say what its checks found."""
        self._slot.map_async(self._mode).sync_wait()
        words = [int(word) for word in np.frombuffer(self._slot.read_mapped(), dtype=np.uint32)]
        self._slot.unmap()
        return Report(*words)


class Work:
    """A list of things for the device to do, handed over as one."""

    def __init__(self, device: Device) -> None:
        self._device = device
        self._encoder = device._device.create_command_encoder()
        self._pass: Any = None
        self.clear(device.report)

    def run(self, pipeline: Pipeline, group: Any, across: int, down: int = 1, params: Sequence[int] = ()) -> Work:
        """Run a kernel with so many groups; those that share no buffer that is written may overlap."""
        if self._pass is None:
            self._pass = self._encoder.begin_compute_pass()
        self._pass.set_pipeline(pipeline.handle)
        self._pass.set_bind_group(0, group)
        if params:
            self._pass.set_bind_group(1, self._device.params(pipeline, params))
        self._pass.dispatch_workgroups(across, down, 1)
        return self

    def _outside(self) -> Any:
        if self._pass is not None:
            self._pass.end()
            self._pass = None
        return self._encoder

    def clear(self, buffer: Any) -> Work:
        """Fill a buffer with zeros."""
        self._outside().clear_buffer(buffer, 0, buffer.size)
        return self

    def copy(self, source: Any, target: Any) -> Work:
        """Copy a whole buffer."""
        self._outside().copy_buffer_to_buffer(source, 0, target, 0, source.size)
        return self

    def end(self, slot: Any) -> None:
        """Take the report along and hand it over."""
        self.copy(self._device.report, slot)
        self._device._device.queue.submit([self._encoder.finish()])


_FLIP = """
@group(0) @binding(0) var<storage, read_write> words: array<u32>;
@group(1) @binding(0) var<storage, read> params: array<u32>;

@compute @workgroup_size(1)
fn main() {
    words[params[0]] = words[params[0]] ^ params[1];
}
"""


def layout(groups: int) -> tuple[int, int]:
    """So many groups, across and down."""
    across = min(groups, MOST_GROUPS)
    return across, -(-groups // across)
