"""The compute kernels, in the WebGPU shading language (W3C, WGSL)."""

from __future__ import annotations

# A product of square matrices, n a multiple of 64: tiles of 64 by 64 in shared memory, 4 by 4 results an invocation.
PRODUCT = """
@group(0) @binding(0) var<storage, read> a: array<f32>;
@group(0) @binding(1) var<storage, read> b: array<f32>;
@group(0) @binding(2) var<storage, read_write> c: array<f32>;
@group(0) @binding(3) var<storage, read> params: array<u32>;
var<workgroup> tile_a: array<f32, 1024>;
var<workgroup> tile_b: array<f32, 1024>;

@compute @workgroup_size(16, 16)
fn main(@builtin(workgroup_id) group: vec3<u32>, @builtin(local_invocation_id) own: vec3<u32>) {
    let n = params[0];
    let row = group.y * 64u;
    let column = group.x * 64u;
    let lane = own.y * 16u + own.x;
    var sums: array<vec4<f32>, 4>;
    for (var k = 0u; k < n; k += 16u) {
        for (var i = 0u; i < 4u; i++) {
            let e = lane + i * 256u;
            tile_a[e] = a[(row + e / 16u) * n + k + e % 16u];
            tile_b[e] = b[(k + e / 64u) * n + column + e % 64u];
        }
        workgroupBarrier();
        for (var j = 0u; j < 16u; j++) {
            let at = j * 64u + own.x * 4u;
            let right = vec4<f32>(tile_b[at], tile_b[at + 1u], tile_b[at + 2u], tile_b[at + 3u]);
            for (var i = 0u; i < 4u; i++) {
                sums[i] = fma(vec4<f32>(tile_a[(own.y * 4u + i) * 16u + j]), right, sums[i]);
            }
        }
        workgroupBarrier();
    }
    for (var i = 0u; i < 4u; i++) {
        let at = (row + own.y * 4u + i) * n + column + own.x * 4u;
        for (var j = 0u; j < 4u; j++) {
            c[at + j] = sums[i][j];
        }
    }
}
"""

# Each invocation carries four chains x -> m x + k in 32-bit whole numbers; params: rounds, m, k.
CHAIN = """
@group(0) @binding(0) var<storage, read> start: array<vec4<u32>>;
@group(0) @binding(1) var<storage, read_write> last: array<vec4<u32>>;
@group(0) @binding(2) var<storage, read> params: array<u32>;

@compute @workgroup_size(256)
fn main(@builtin(global_invocation_id) own: vec3<u32>) {
    var x = start[own.x];
    let m = vec4<u32>(params[1]);
    let k = vec4<u32>(params[2]);
    let rounds = params[0];
    for (var i = 0u; i < rounds; i++) {
        x = x * m + k;
    }
    last[own.x] = x;
}
"""

# What both the writing and the checking of a memory pattern share: the word that belongs at a place.
_PATTERN = """
fn word_at(i: u32) -> u32 {
    let kind = params[0];
    let seed = params[1];
    if (kind == 1u) { return 1u << ((i + seed) % 32u); }
    if (kind == 2u) { return select(0x55555555u, 0xAAAAAAAAu, ((i + seed) & 1u) == 1u); }
    var x = i ^ seed;
    x = (x ^ (x >> 16u)) * 0x7FEB352Du;
    x = (x ^ (x >> 15u)) * 0x846CA68Bu;
    x = x ^ (x >> 16u);
    return select(x, ~x, kind == 3u);
}
"""

# Groups are laid out in two dimensions because one holds at most 65535; params: kind, seed, words, groups across.
FILL = f"""
@group(0) @binding(0) var<storage, read_write> words: array<u32>;
@group(0) @binding(1) var<storage, read> params: array<u32>;
{_PATTERN}
@compute @workgroup_size(256)
fn main(@builtin(workgroup_id) group: vec3<u32>, @builtin(local_invocation_index) lane: u32) {{
    let i = (group.y * params[3] + group.x) * 256u + lane;
    if (i < params[2]) {{ words[i] = word_at(i); }}
}}
"""

# report: wrong words counted, the first of them as 2**32 - 1 - place, one found and one expected word.
CHECK = f"""
@group(0) @binding(0) var<storage, read> words: array<u32>;
@group(0) @binding(1) var<storage, read> params: array<u32>;
@group(0) @binding(2) var<storage, read_write> report: array<atomic<u32>>;
{_PATTERN}
@compute @workgroup_size(256)
fn main(@builtin(workgroup_id) group: vec3<u32>, @builtin(local_invocation_index) lane: u32) {{
    let i = (group.y * params[3] + group.x) * 256u + lane;
    if (i >= params[2]) {{ return; }}
    let found = words[i];
    let expected = word_at(i);
    if (found != expected) {{
        atomicAdd(&report[0], 1u);
        atomicMax(&report[1], 0xFFFFFFFFu - i);
        atomicMax(&report[2], found);
        atomicMax(&report[3], expected);
    }}
}}
"""

# Two buffers word by word; params: words, groups across.
COMPARE = """
@group(0) @binding(0) var<storage, read> words: array<u32>;
@group(0) @binding(1) var<storage, read> right: array<u32>;
@group(0) @binding(2) var<storage, read> params: array<u32>;
@group(0) @binding(3) var<storage, read_write> report: array<atomic<u32>>;

@compute @workgroup_size(256)
fn main(@builtin(workgroup_id) group: vec3<u32>, @builtin(local_invocation_index) lane: u32) {
    let i = (group.y * params[1] + group.x) * 256u + lane;
    if (i >= params[0]) { return; }
    let found = words[i];
    let expected = right[i];
    if (found != expected) {
        atomicAdd(&report[0], 1u);
        atomicMax(&report[1], 0xFFFFFFFFu - i);
        atomicMax(&report[2], found);
        atomicMax(&report[3], expected);
    }
}
"""
