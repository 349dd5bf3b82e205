"""Prompts on a terminal: what was typed before a question is no answer to it."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

CHILD = """
import sys, time
from surefoot.cli.common import console
from surefoot.cli.voice import TerminalVoice
voice = TerminalVoice(console(), attended=True)
print("running", flush=True)
while not open(sys.argv[1]).read():
    time.sleep(0.05)
choice = voice.choose("Make this run?", {"go": "make it", "stop": "end here"}, "go")
value = voice.choose("How did it go?", {"held": "held", "wrong": "wrong"}, "")
print("GOT", choice, value, flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminal")
def test_what_was_typed_ahead_is_dropped_and_a_question_without_default_waits(tmp_path: Path) -> None:
    gate = tmp_path / "gate"
    gate.write_text("")
    ours, theirs = os.openpty()
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD, str(gate)], stdin=theirs, stdout=theirs, stderr=theirs, start_new_session=True
    )
    os.close(theirs)
    said = b""

    def until(words: bytes) -> None:
        nonlocal said
        deadline = time.monotonic() + 30
        while words not in said:
            assert time.monotonic() < deadline, said
            said += os.read(ours, 4096)

    until(b"running")
    os.write(ours, b"stop\n\n\n")
    time.sleep(0.2)
    gate.write_text("go on")
    until(b"Answer (go, stop)")
    said = b""
    os.write(ours, b"\n")
    until(b"Answer (held, wrong)")
    said = b""
    os.write(ours, b"\n")
    until(b"Please answer one of")
    until(b"Answer (held, wrong)")
    os.write(ours, b"wrong\n")
    until(b"GOT go wrong")
    assert child.wait(20) == 0
    os.close(ours)


WRAPPED = """
import io, sys
from rich.console import Console
from surefoot.cli.voice import TerminalVoice
sys.stdin = io.StringIO("-20\\n")
voice = TerminalVoice(Console(width=60, force_terminal=True, color_system=None), attended=True)
question = "Set cpu-core to -20 mV in the maker's own utility. What does it read? (the value in mV with its sign)"
assert voice.ask(question, "-20") == "-20" and not voice.at_terminal
"""


def test_a_long_question_is_wrapped_and_indented_like_all_else() -> None:
    said = subprocess.run([sys.executable, "-c", WRAPPED], capture_output=True, text=True, check=True, timeout=60)
    lines = said.stdout.splitlines()
    assert len(lines) > 1 and all(line.startswith("  ") and len(line) <= 60 for line in lines)
    assert " ".join(said.stdout.split()).endswith("(the value in mV with its sign) [-20]:")
