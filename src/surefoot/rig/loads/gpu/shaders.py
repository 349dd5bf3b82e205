"""The shorter compute kernels, in the WebGPU shading language (W3C, WGSL)."""

from __future__ import annotations

# What the comparisons share. report: wrong words counted; place, found and expected word of the one counted first;
# 4: blocks of memory gone through; 5: groups that have compared, so that a comparison that was not done is found out.
_REPORT = """
fn wrong(place: u32, found: u32, expected: u32) {
    if (atomicAdd(&report[0], 1u) == 0u) {
        atomicStore(&report[1], place);
        atomicStore(&report[2], found);
        atomicStore(&report[3], expected);
    }
}

fn compare(at: u32, found: vec4<u32>, expected: vec4<u32>) {
    if (all(found == expected)) { return; }
    if (found.x != expected.x) { wrong(at * 4u, found.x, expected.x); }
    if (found.y != expected.y) { wrong(at * 4u + 1u, found.y, expected.y); }
    if (found.z != expected.z) { wrong(at * 4u + 2u, found.z, expected.z); }
    if (found.w != expected.w) { wrong(at * 4u + 3u, found.w, expected.w); }
}
"""

# Two buffers word by word, four vectors a lane; the number of vectors is a multiple of 1024.
COMPARE = f"""
@group(0) @binding(0) var<storage, read> words: array<vec4<u32>>;
@group(0) @binding(1) var<storage, read> right: array<vec4<u32>>;
@group(0) @binding(2) var<storage, read_write> report: array<atomic<u32>>;
{_REPORT}
@compute @workgroup_size(256)
fn main(@builtin(workgroup_id) group: vec3<u32>, @builtin(local_invocation_index) lane: u32) {{
    let at = group.x * 1024u + lane;
    compare(at, words[at], right[at]);
    compare(at + 256u, words[at + 256u], right[at + 256u]);
    compare(at + 512u, words[at + 512u], right[at + 512u]);
    compare(at + 768u, words[at + 768u], right[at + 768u]);
    if (lane == 0u) {{ atomicAdd(&report[5], 1u); }}
}}
"""

_STARTS = """
fn start(i: u32) -> vec4<u32> {
    var x = i ^ params[1];
    x = (x ^ (x >> 16u)) * 0x7FEB352Du;
    x = (x ^ (x >> 15u)) * 0x846CA68Bu;
    x = x ^ (x >> 16u);
    return vec4<u32>(x, x ^ 0x9E3779B1u, ~x, x * 0x85EBCA77u + 1u);
}
"""

# Each lane carries four chains x -> m x + k in 32-bit whole numbers. params: rounds / 8, seed, m, k, then the m and k
# of all rounds taken as one.
CHAIN = f"""
@group(0) @binding(0) var<storage, read_write> last: array<vec4<u32>>;
@group(1) @binding(0) var<storage, read> params: array<u32>;
{_STARTS}
@compute @workgroup_size(256)
fn main(@builtin(global_invocation_id) own: vec3<u32>) {{
    var x = start(own.x);
    let m = vec4<u32>(params[2]);
    let k = vec4<u32>(params[3]);
    let rounds = params[0];
    for (var i = 0u; i < rounds; i++) {{
        x = x * m + k; x = x * m + k; x = x * m + k; x = x * m + k;
        x = x * m + k; x = x * m + k; x = x * m + k; x = x * m + k;
    }}
    last[own.x] = x;
}}
"""

CHAIN_ENDS = f"""
@group(0) @binding(0) var<storage, read> last: array<vec4<u32>>;
@group(0) @binding(1) var<storage, read_write> report: array<atomic<u32>>;
@group(1) @binding(0) var<storage, read> params: array<u32>;
{_STARTS}
{_REPORT}
@compute @workgroup_size(256)
fn main(@builtin(global_invocation_id) own: vec3<u32>, @builtin(local_invocation_index) lane: u32) {{
    let right = start(own.x) * vec4<u32>(params[4]) + vec4<u32>(params[5]);
    compare(own.x, last[own.x], right);
    if (lane == 0u) {{ atomicAdd(&report[5], 1u); }}
}}
"""
