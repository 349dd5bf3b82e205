"""The words of a memory pattern, in the shading language: what belongs at a place follows from the place."""

from __future__ import annotations

BLOCK_VECTORS = 1024
"""Vectors of four words in a block, four to each of 256 lanes: 16 KiB, the piece in which memory is gone through."""

# params: 0 the groups across, 1 the order (0 ascending, 1 descending), 2 blocks (a power of two), 3 the odd stride in
# blocks, 4 to 7 what is expected (kind, seed, mask, row shift), 8 to 11 what is written, 12 whether to check (1),
# to write (2) or both (3), 13 the number of the buffer, so that a word that strayed to another buffer is found too.
#
# report: wrong words counted; place, found and expected of the one that was counted first; 4: blocks gone through;
# 6: the buffer, and 7: the pattern that was expected there (kind, row shift << 8, inverted << 16, and 2**31 so that it
# is never 0).
PATTERN_WORDS = """
fn scatter(value: u32) -> u32 {
    var x = value;
    x = (x ^ (x >> 16u)) * 0x7FEB352Du;
    x = (x ^ (x >> 15u)) * 0x846CA68Bu;
    return x ^ (x >> 16u);
}

fn words_at(i: u32, kind: u32, seed: u32, mask: u32, row: u32) -> vec4<u32> {
    var base = vec4<u32>(0u);
    if (kind == 0u) {
        let x = scatter(i ^ seed);
        base = vec4<u32>(x, x ^ 0x9E3779B1u, ~x ^ 0x85EBCA77u, (x << 7u) | (x >> 25u));
    } else if (kind == 1u) {
        let place = i * 4u + seed;
        base = vec4<u32>(1u << (place % 32u), 1u << ((place + 1u) % 32u), 1u << ((place + 2u) % 32u),
            1u << ((place + 3u) % 32u));
    } else if (kind == 2u) {
        base = vec4<u32>(0x55555555u, 0xAAAAAAAAu, 0x55555555u, 0xAAAAAAAAu);
    } else if (kind == 3u) {
        base = vec4<u32>(select(0u, 0xFFFFFFFFu, ((i >> row) & 1u) == 1u));
    } else {
        let place = i * 4u;
        base = vec4<u32>(place, place + 1u, place + 2u, place + 3u) ^ vec4<u32>(seed);
    }
    return base ^ vec4<u32>(mask);
}

fn wrong(place: u32, found: u32, expected: u32) {
    if (atomicAdd(&report[0], 1u) == 0u) {
        atomicStore(&report[1], place);
        atomicStore(&report[2], found);
        atomicStore(&report[3], expected);
        atomicStore(&report[6], params[13]);
        atomicStore(&report[7], params[4] | (params[7] << 8u) | ((params[6] & 1u) << 16u) | 0x80000000u);
    }
}

fn compare(at: u32, found: vec4<u32>, expected: vec4<u32>) {
    if (all(found == expected)) { return; }
    if (found.x != expected.x) { wrong(at * 4u, found.x, expected.x); }
    if (found.y != expected.y) { wrong(at * 4u + 1u, found.y, expected.y); }
    if (found.z != expected.z) { wrong(at * 4u + 2u, found.z, expected.z); }
    if (found.w != expected.w) { wrong(at * 4u + 3u, found.w, expected.w); }
}

fn march(number: u32, lane: u32) {
    var block = (number * params[3]) & (params[2] - 1u);
    if (params[1] == 1u) { block = params[2] - 1u - block; }
    let from_seed = params[5] ^ (params[13] * 0x9E3779B1u);
    let to_seed = params[9] ^ (params[13] * 0x9E3779B1u);
    let at = block * 1024u + lane;
    if ((params[12] & 1u) == 1u) {
        let f0 = words[at];
        let f1 = words[at + 256u];
        let f2 = words[at + 512u];
        let f3 = words[at + 768u];
        let e0 = words_at(at, params[4], from_seed, params[6], params[7]);
        let e1 = words_at(at + 256u, params[4], from_seed, params[6], params[7]);
        let e2 = words_at(at + 512u, params[4], from_seed, params[6], params[7]);
        let e3 = words_at(at + 768u, params[4], from_seed, params[6], params[7]);
        // What was read is judged, not what a second reading would give: a fault in passing must not be forgiven.
        compare(at, f0, e0);
        compare(at + 256u, f1, e1);
        compare(at + 512u, f2, e2);
        compare(at + 768u, f3, e3);
    }
    if ((params[12] & 2u) == 2u) {
        words[at] = words_at(at, params[8], to_seed, params[10], params[11]);
        words[at + 256u] = words_at(at + 256u, params[8], to_seed, params[10], params[11]);
        words[at + 512u] = words_at(at + 512u, params[8], to_seed, params[10], params[11]);
        words[at + 768u] = words_at(at + 768u, params[8], to_seed, params[10], params[11]);
    }
    if (lane == 0u) { atomicAdd(&report[4], 1u); }
}
"""

# Groups in two dimensions, because one holds at most 65535.
MARCH = f"""
@group(0) @binding(0) var<storage, read_write> words: array<vec4<u32>>;
@group(0) @binding(1) var<storage, read_write> report: array<atomic<u32>>;
@group(1) @binding(0) var<storage, read> params: array<u32>;
{PATTERN_WORDS}
@compute @workgroup_size(256)
fn main(@builtin(workgroup_id) group: vec3<u32>, @builtin(local_invocation_index) lane: u32) {{
    let number = group.y * params[0] + group.x;
    if (number < params[2]) {{ march(number, lane); }}
}}
"""

_MASK = 0xFFFFFFFF


def word_at(place: int, kind: int, seed: int, mask: int = 0, row: int = 0, buffer: int = 0) -> int:
    """The word that belongs at a place, as the kernel works it out; for checks on the processor."""
    i, inside = divmod(place, 4)
    seed = (seed ^ (buffer * 0x9E3779B1)) & _MASK
    if kind == 0:
        x = i ^ seed
        x = (x ^ (x >> 16)) * 0x7FEB352D & _MASK
        x = (x ^ (x >> 15)) * 0x846CA68B & _MASK
        x ^= x >> 16
        base = (x, x ^ 0x9E3779B1, (x ^ _MASK) ^ 0x85EBCA77, ((x << 7) | (x >> 25)) & _MASK)[inside]
    elif kind == 1:
        base = 1 << (((place + seed) & _MASK) % 32)
    elif kind == 2:
        base = 0xAAAAAAAA if inside & 1 else 0x55555555
    elif kind == 3:
        base = _MASK if (i >> row) & 1 else 0
    else:
        base = (place ^ seed) & _MASK
    return base ^ mask
