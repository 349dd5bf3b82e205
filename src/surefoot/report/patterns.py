"""Hatched fills as SVG patterns, so that shares can be told apart without colour, on the page and in pictures."""

from __future__ import annotations

from surefoot.report.theme import LIMITERS, with_colours

_LINES = {
    "hatch-up": '<path d="M0,8L8,0M-2,2L2,-2M6,10L10,6" stroke="var(--card)" stroke-width="1.6"/>',
    "hatch-down": '<path d="M0,0L8,8M-2,6L2,10M6,-2L10,2" stroke="var(--card)" stroke-width="1.6"/>',
    "dots": '<circle cx="2" cy="2" r="1.3" fill="var(--card)"/><circle cx="6" cy="6" r="1.3" fill="var(--card)"/>',
    "weave": '<path d="M0,4H8M4,0V8" stroke="var(--card)" stroke-width="1.4"/>',
    "plain": "",
    "steps": '<path d="M0,4H8" stroke="var(--card)" stroke-width="1.4"/>',
    "sparse": '<circle cx="4" cy="4" r="1.2" fill="var(--card)"/>',
}
_BAND = '<path d="M0,8L8,0M-2,2L2,-2M6,10L10,6" stroke="var(--accent)" stroke-width="1" opacity="0.55"/>'


def fill(limiter: str) -> str:
    """The fill of a limiter's share, as charts write it."""
    return f"url(#fill-{limiter if limiter in LIMITERS else 'other'})"


GUARD_BAND = "url(#fill-guard-band)"


def pattern_definitions() -> str:
    """`<defs>` with every pattern; colours by name."""
    made = [
        f'<pattern id="fill-{name}" width="8" height="8" patternUnits="userSpaceOnUse">'
        f'<rect width="8" height="8" fill="var(--{name})"/>{_LINES[kind]}</pattern>'
        for name, kind in LIMITERS.items()
    ]
    made.append(f'<pattern id="fill-guard-band" width="8" height="8" patternUnits="userSpaceOnUse">{_BAND}</pattern>')
    return "<defs>" + "".join(made) + "</defs>"


def with_patterns(svg: str, theme: str) -> str:
    """An SVG picture with the patterns it refers to put inside, in the colours of a theme."""
    if "url(#fill-" not in svg:
        return svg
    end = svg.index(">", svg.index("<svg")) + 1
    return svg[:end] + str(with_colours(pattern_definitions(), theme)) + svg[end:]
