"""The live view stays on its lines at any width, and says what is at stake."""

from __future__ import annotations

import io
from typing import Any

from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from surefoot.cli.live import fitted, line_of, lines_of, sparkline, time_left
from surefoot.cli.voice import TerminalVoice
from surefoot.guide.voice import LiveView

SAMPLE = {
    "cpu.temperature": 88.0,
    "cpu.clock": 4200.0,
    "cpu.power": 65.0,
    "gpu.temperature": 71.0,
    "gpu.clock": 1890.0,
    "gpu.power": 140.0,
    "fan.fan": 3200.0,
}


def view(**changes: Any) -> LiveView:
    found: dict[str, Any] = {
        "title": "cpu-core -95 mV, gpu-core +120 MHz under cpu-gpu",
        "minutes": 12.5,
        "planned_minutes": 60.0,
        "sample": SAMPLE,
        "phase": "checking",
        "progress": 123456.0,
        "ceilings_celsius": {"cpu": 95.0, "gpu": 70.0},
        "chance": "chance to fail 12 %",
        "edge": "edge so far: cpu-core about -110 mV",
    }
    return LiveView(**{**found, **changes})


def test_at_80_columns_everything_is_said() -> None:
    lines = lines_of(view(), {"cpu": [60, 80, 88], "gpu": [60, 71]}, 79)
    text = "\n".join(lines)
    assert max(map(len, lines)) <= 79
    for words in (
        "47:30 left",
        "CPU 7 °C below its ceiling",
        "GPU AT its ceiling of 70 °C",
        "chance to fail 12 %",
        "edge so far: cpu-core about -110 mV",
        "123,456 checked",
        "▁",
        "█",
    ):
        assert words in text, text


@given(
    st.integers(24, 200),
    st.text(min_size=0, max_size=120),
    st.floats(-50, 200),
    st.floats(0, 1e12),
    st.floats(0, 10_000),
)
def test_no_line_is_ever_longer_than_the_terminal(
    width: int, title: str, celsius: float, progress: float, minutes: float
) -> None:
    shown = view(title=title, sample={**SAMPLE, "cpu.temperature": celsius}, progress=progress, minutes=minutes)
    assert all(len(line) <= width for line in lines_of(shown, {"cpu": [celsius] * 50}, width))
    assert len(line_of(shown, width)) <= width


def test_the_sparkline_keeps_the_hottest_moment_of_a_long_run() -> None:
    values = [60.0] * 5000
    values[2500] = 90.0
    bars = sparkline(values)
    assert len(bars) == 20 and bars.count("█") == 1 and bars[10] == "█"
    assert sparkline([]) == "" and sparkline([50.0, 50.0]) == "▁▁"


def test_small_things() -> None:
    assert time_left(view(minutes=59.999)) == "0:00 left" and time_left(view(minutes=75)) == "0:00 left"
    assert fitted("abcdef", 4) == "abc…" and fitted("abc", 3) == "abc"


def test_a_terminal_of_80_columns_draws_no_more_lines_than_there_are() -> None:
    """What wraps would be drawn again and again below itself."""
    out = io.StringIO()
    voice = TerminalVoice(Console(file=out, force_terminal=True, width=80, color_system=None), attended=False)
    for minute in range(3):
        voice.live(view(minutes=float(minute), title="a very long title " * 9))
    voice.live(None)
    drawn = [line for line in out.getvalue().replace("\r", "\n").splitlines() if "\x1b" not in line]
    assert drawn and all(len(line) <= 80 for line in drawn)


def test_a_pipe_gets_the_ceilings_too() -> None:
    out = io.StringIO()
    voice = TerminalVoice(Console(file=out, width=100), attended=False)
    voice.live(view(minutes=1.0))
    assert out.getvalue() == "", "not yet"
    voice.live(view(minutes=6.0))
    (line,) = out.getvalue().splitlines()
    assert "54:00 left" in line and len(line) <= 100
