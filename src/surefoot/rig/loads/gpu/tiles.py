"""Writes the shader of a matrix product in tiles, with as many products or memory passes beside it as are asked for.

Every variant computes the same: C = A B for square matrices of single-precision numbers, A given by columns so that
both operands are read in whole vectors. The inner loops are written out, because the loops that the shading language
offers are guarded by the library (a counter against endless loops, a bound on every index) and cost a card's compiler
its freedom to schedule.
"""

from __future__ import annotations

from dataclasses import dataclass

from surefoot.rig.loads.gpu.pattern_words import PATTERN_WORDS

LANES = 256


@dataclass(frozen=True, slots=True)
class Tile:
    """How a product is cut up. ``rows`` by ``columns`` of the result a workgroup of 256 lanes, ``depth`` terms at once.

    ``down`` by ``across``: of the result a lane, each in strips of four. Shared memory: two buffers of both operands.
    """

    rows: int
    columns: int
    depth: int
    down: int
    across: int

    @property
    def name(self) -> str:
        """For tables."""
        return f"{self.rows}x{self.columns}x{self.depth}/{self.down}x{self.across}"

    @property
    def shared_bytes(self) -> int:
        """Shared memory that it needs."""
        return 2 * self.depth * (self.rows + self.columns) * 4

    def fits(self, n: int, most_shared_bytes: int) -> bool:
        """Whether matrices of n by n can be cut so on a device with so much shared memory."""
        return (
            n % self.rows == 0
            and n % self.columns == 0
            and n % (2 * self.depth) == 0
            and self.shared_bytes <= most_shared_bytes
        )


# The first fits every device (16 KiB of shared memory is what the standard promises); which is fastest is measured.
TILES = (
    Tile(128, 128, 8, 8, 8),
    Tile(64, 64, 16, 4, 4),
    Tile(128, 64, 16, 8, 4),
    Tile(128, 128, 16, 8, 8),
    Tile(256, 128, 8, 16, 8),
)
SMALL = Tile(64, 64, 16, 4, 4)


def product_shader(tile: Tile, n: int) -> str:
    """The product alone. Bindings: A by columns, B by rows, C by rows; groups: one a tile, in one dimension."""
    return f"""
{_heads(tile)}
@compute @workgroup_size({LANES})
fn main(@builtin(workgroup_id) group: vec3<u32>, @builtin(local_invocation_index) lane: u32) {{
    let number = group.x;
{_product(tile, n)}
}}
"""


def mixed_shader(tile: Tile, n: int) -> str:
    """The product, and beside it a pass through memory: every so-many-th group works on memory instead of a tile.

    Bindings as the product's, then the memory and the report; parameters as a memory pattern's, then how many groups
    there are to each for memory, and the blocks of memory that such a group goes through. So both are under way on
    the same cores at the same moment.
    """
    return f"""
{_heads(tile)}
@group(0) @binding(3) var<storage, read_write> words: array<vec4<u32>>;
@group(0) @binding(4) var<storage, read_write> report: array<atomic<u32>>;
@group(1) @binding(0) var<storage, read> params: array<u32>;
{PATTERN_WORDS}
@compute @workgroup_size({LANES})
fn main(@builtin(workgroup_id) group: vec3<u32>, @builtin(local_invocation_index) lane: u32) {{
    let every = params[14];
    if (group.x % every == every - 1u) {{
        let first = (group.x / every) * params[15];
        for (var block = first; block < first + params[15]; block++) {{
            march(block & (params[2] - 1u), lane);
        }}
    }} else {{
        let number = group.x - group.x / every;
        if (number < {(n // tile.rows) * (n // tile.columns)}u) {{
{_product(tile, n)}
        }}
    }}
}}
"""


def _heads(tile: Tile) -> str:
    return f"""
@group(0) @binding(0) var<storage, read> a: array<vec4<f32>>;
@group(0) @binding(1) var<storage, read> b: array<vec4<f32>>;
@group(0) @binding(2) var<storage, read_write> c: array<vec4<f32>>;
var<workgroup> tile_a: array<vec4<f32>, {2 * tile.depth * tile.rows // 4}>;
var<workgroup> tile_b: array<vec4<f32>, {2 * tile.depth * tile.columns // 4}>;
"""


def _product(tile: Tile, n: int) -> str:
    wide, high, four = n // tile.columns, n // tile.rows, n // 4
    # Tiles are taken in bands, so that those under way at one time share rows and columns in the cache.
    band = next(size for size in (8, 4, 2, 1) if high % size == 0)
    lines = [
        f"    let band = number / {band * wide}u;",
        f"    let within = number % {band * wide}u;",
        f"    let tile_row = band * {band}u + within % {band}u;",
        f"    let tile_column = within / {band}u;",
    ]
    across = tile.columns // tile.across  # lanes along a row of the tile
    strips_down, strips_across = tile.down // 4, tile.across // 4
    lines += [f"    let x = lane % {across}u;", f"    let y = lane / {across}u;"]
    for name, width, start in (("a", tile.rows, "tile_row"), ("b", tile.columns, "tile_column")):
        vectors = width // 4
        lines.append(f"    var at_{name} = (lane / {vectors}u) * {four}u + {start} * {vectors}u + lane % {vectors}u;")
    for i in range(tile.down):
        lines += [f"    var s{i}_{j} = vec4<f32>();" for j in range(strips_across)]
    loads_a, loads_b = tile.depth * tile.rows // 4 // LANES, tile.depth * tile.columns // 4 // LANES
    lines += _fetch("a", loads_a, tile.rows, four) + _fetch("b", loads_b, tile.columns, four)
    lines += _keep("a", loads_a, 0) + _keep("b", loads_b, 0)
    lines.append("    workgroupBarrier();")
    step = tile.depth * four
    lines.append(f"    for (var k = 0u; k < {n}u; k += {2 * tile.depth}u) {{")
    for half in (0, 1):
        guard = "" if half == 0 else f"        if (k + {2 * tile.depth}u < {n}u) {{"
        lines += [f"        at_a += {step}u;", f"        at_b += {step}u;"]
        if guard:
            lines.append(guard)
        lines += _fetch("a", loads_a, tile.rows, four, again=True) + _fetch(
            "b", loads_b, tile.columns, four, again=True
        )
        if guard:
            lines.append("        }")
        base_a, base_b = half * tile.depth * tile.rows // 4, half * tile.depth * tile.columns // 4
        for k in range(tile.depth):
            lines.append("        {")
            for i in range(strips_down):
                at = base_a + k * tile.rows // 4 + i * (tile.rows // 4 // strips_down)
                lines.append(f"        let p{i} = tile_a[{at}u + y];")
            for j in range(strips_across):
                at = base_b + k * tile.columns // 4 + j * (tile.columns // 4 // strips_across)
                lines.append(f"        let q{j} = tile_b[{at}u + x];")
            for i in range(tile.down):
                for j in range(strips_across):
                    lines.append(f"        s{i}_{j} = fma(vec4<f32>(p{i // 4}.{'xyzw'[i % 4]}), q{j}, s{i}_{j});")
            lines.append("        }")
        lines += _keep("a", loads_a, (1 - half) * tile.depth * tile.rows // 4)
        lines += _keep("b", loads_b, (1 - half) * tile.depth * tile.columns // 4)
        lines.append("        workgroupBarrier();")
    lines.append("    }")
    for i in range(tile.down):
        strip, inside = divmod(i, 4)
        row = f"(tile_row * {tile.rows}u + {strip * (tile.rows // strips_down)}u + y * 4u + {inside}u)"
        for j in range(strips_across):
            column = f"tile_column * {tile.columns // 4}u + {j * (tile.columns // 4 // strips_across)}u + x"
            lines.append(f"    c[{row} * {four}u + {column}] = s{i}_{j};")
    return "\n".join(lines)


def _fetch(name: str, loads: int, width: int, four: int, again: bool = False) -> list[str]:
    # One lane's share of the next tile, from memory into registers.
    rows = LANES // (width // 4)
    made = []
    for i in range(loads):
        declare = "        " if again else "    var "
        made.append(f"{declare}next_{name}{i} = {name}[at_{name} + {i * rows * four}u];")
    return made


def _keep(name: str, loads: int, base: int) -> list[str]:
    return [f"    tile_{name}[{base + i * LANES}u + lane] = next_{name}{i};" for i in range(loads)]
