"""The charting library's JavaScript, from vl-convert-python: made beside the rest, because it takes a second."""

from __future__ import annotations

import subprocess
import sys
from functools import cache

from surefoot.report.kept_library import keep, kept

SNIPPET = "window.vegaEmbed = vegaEmbed;"
# In a process of its own: vl-convert holds the interpreter's lock while it works.
_PROGRAM = f"import sys, vl_convert\nsys.stdout.buffer.write(vl_convert.javascript_bundle({SNIPPET!r}).encode())\n"
_SECONDS = 60.0
_MARK = "vegaEmbed"


@cache
def made_here() -> str:
    """The library, made in this process; once."""
    import vl_convert

    text: str = vl_convert.javascript_bundle(SNIPPET)
    return text


class Library:
    """The library on its way: started when made, waited for by `text`. A context manager, so that none is left over."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._kept = kept(SNIPPET)
        if self._kept is not None:
            return
        try:
            self._process = subprocess.Popen(
                [sys.executable, "-I", "-c", _PROGRAM], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
            )
        except (OSError, ValueError):
            # No interpreter to be started (a frozen program, no process left): it is made here when it is needed.
            self._process = None

    def __enter__(self) -> Library:
        return self

    def __exit__(self, *_: object) -> None:
        if self._process is not None and self._process.poll() is None:
            self._process.kill()
            self._process.communicate()

    def text(self) -> str:
        """The JavaScript text."""
        if self._kept is not None:
            return self._kept
        text = self._made()
        keep(SNIPPET, text)
        return text

    def _made(self) -> str:
        if self._process is not None:
            try:
                found = self._process.communicate(timeout=_SECONDS)[0].decode()
            except (subprocess.TimeoutExpired, UnicodeDecodeError, ValueError):
                found = ""
            if self._process.returncode == 0 and _MARK in found:
                return found
        return made_here()
