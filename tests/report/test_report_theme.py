"""Colours that can be read, shapes that can be told apart.

Relative luminance and contrast: W3C, Web Content Accessibility Guidelines 2.2, definitions of "relative luminance" and
"contrast ratio"; limits from its success criteria 1.4.3 (text, 4.5) and 1.4.11 (graphics, 3). Recalled from memory.
"""

from __future__ import annotations

import pytest

from surefoot.report.patterns import pattern_definitions, with_patterns
from surefoot.report.theme import DARK, LIGHT, LIMITERS, OUTCOMES, THEMES, ink, series, vega_config, with_colours
from surefoot.runs import Outcome


def luminance(colour: str) -> float:
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_the_contrast_of_black_on_white_is_the_guidelines_21() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("text", ["ink", "soft", "accent"])
@pytest.mark.parametrize("ground", ["paper", "card", "wash"])
def test_text_can_be_read_on_every_ground(theme: str, text: str, ground: str) -> None:
    palette = THEMES[theme]
    assert contrast(palette[text], palette[ground]) >= 4.5


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_marks_stand_out_from_the_card(theme: str) -> None:
    palette = THEMES[theme]
    marks = {look.color for look in OUTCOMES.values()} | {series(index).color for index in range(8)}
    marks |= {"thermal", "power", "current", "other", "free"}
    for name in sorted(marks):
        assert contrast(palette[name], palette["card"]) >= 3, name


def test_both_themes_have_the_same_names() -> None:
    assert set(LIGHT) == set(DARK)


def test_every_outcome_has_a_shape_of_its_own() -> None:
    assert set(OUTCOMES) == set(Outcome)
    assert len({look.shape for look in OUTCOMES.values()}) == len(Outcome)


def test_series_differ_in_shape_and_in_dash_and_not_in_colour_alone() -> None:
    looks = [series(index) for index in range(8)]
    assert len({look.shape for look in looks}) == len({look.dash for look in looks}) == 8


def test_no_two_of_many_series_look_alike() -> None:
    looks = {(series(index).color, series(index).shape) for index in range(64)}
    assert len(looks) == 64 and len({(series(index).color, series(index).dash) for index in range(64)}) == 64


def test_limiters_differ_in_pattern() -> None:
    assert len(set(LIMITERS.values())) == len(LIMITERS)
    definitions = pattern_definitions()
    assert all(f'id="fill-{name}"' in definitions for name in LIMITERS)


def test_a_picture_gets_the_colours_themselves() -> None:
    assert with_colours({"fill": [ink("held"), 3]}, "dark") == {"fill": [DARK["held"], 3]}
    assert "var(--" not in str(with_colours(vega_config(), "light"))


def test_patterns_go_inside_a_picture_that_uses_them_and_no_other() -> None:
    with_use = '<svg width="1"><rect fill="url(#fill-power)"/></svg>'
    assert with_patterns(with_use, "light").startswith('<svg width="1"><defs>')
    assert "var(--" not in with_patterns(with_use, "light")
    assert with_patterns("<svg></svg>", "light") == "<svg></svg>"


def test_an_unknown_colour_is_refused() -> None:
    with pytest.raises(KeyError):
        ink("mauve")
