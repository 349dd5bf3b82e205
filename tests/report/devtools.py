"""A small client of the Chrome DevTools Protocol over a pipe: standard library only, nothing listens on a port.

Source: Chrome DevTools Protocol documentation; with `--remote-debugging-pipe` the browser reads commands from file
descriptor 3 and writes answers and events to 4, each message ended by a zero byte.
"""

from __future__ import annotations

import base64
import json
import os
import select
import shutil
import signal
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Any

FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--hide-scrollbars",
    # The network is off: no name resolves, and whatever would be fetched by address goes to a port that is closed.
    "--host-resolver-rules=MAP * ~NOTFOUND",
    "--proxy-server=127.0.0.1:9",
    "--force-color-profile=srgb",
    "--remote-debugging-pipe",
)


def find_chromium() -> str | None:
    """A Chromium on this machine, or None."""
    for name in ("chromium", "chromium-browser", "chrome"):
        found = shutil.which(name)
        if found:
            return found
    return None


class Browser:
    """A headless browser in a new empty profile; a context manager."""

    def __init__(self, binary: str) -> None:
        self._profile = tempfile.mkdtemp(prefix="surefoot-browser-")
        to_child, self._write = os.pipe()
        self._read, from_child = os.pipe()
        # High numbers first, so that making 3 and 4 cannot overwrite either of the two.
        high_in, high_out = _moved_up(to_child), _moved_up(from_child)

        def at_three_and_four() -> None:
            os.setsid()
            os.dup2(high_in, 3)
            os.dup2(high_out, 4)

        self._process = subprocess.Popen(
            [binary, *FLAGS, f"--user-data-dir={self._profile}", "about:blank"],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            close_fds=False,
            preexec_fn=at_three_and_four,  # noqa: PLW1509  (no thread is running yet)
        )
        os.close(high_in)
        os.close(high_out)
        self._buffer = b""
        self._number = 0
        self.events: list[dict[str, Any]] = []

    def __enter__(self) -> Browser:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End this browser and its children, and remove its profile."""
        if self._process.poll() is None:
            os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait(timeout=10)
        for end in (self._read, self._write):
            os.close(end)
        shutil.rmtree(self._profile, ignore_errors=True)

    def call(self, method: str, session: str | None = None, timeout: float = 60, **params: Any) -> dict[str, Any]:
        """One command and its result. Raises RuntimeError for an error answer, TimeoutError for none."""
        self._number += 1
        number = self._number
        message: dict[str, Any] = {"id": number, "method": method, "params": params}
        if session:
            message["sessionId"] = session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        deadline = time.monotonic() + timeout
        while True:
            answer = self._next(deadline)
            if answer.get("id") == number:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']}")
                return dict(answer.get("result", {}))
            if "method" in answer:
                self.events.append(answer)

    def drain(self, seconds: float) -> None:
        """Take in events for a while."""
        deadline = time.monotonic() + seconds
        while time.monotonic() < deadline:
            try:
                answer = self._next(deadline)
            except TimeoutError:
                return
            if "method" in answer:
                self.events.append(answer)

    def page(self, width: int = 1280, height: int = 900) -> Page:
        """A new blank page of that size."""
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        return Page(self, session, width, height)

    def _next(self, deadline: float) -> dict[str, Any]:
        while b"\0" not in self._buffer:
            left = deadline - time.monotonic()
            if left <= 0 or not select.select([self._read], [], [], left)[0]:
                raise TimeoutError("the browser did not answer")
            chunk = os.read(self._read, 1 << 20)
            if not chunk:
                raise RuntimeError("the browser went away")
            self._buffer += chunk
        text, _, self._buffer = self._buffer.partition(b"\0")
        return dict(json.loads(text))


class Page:
    """One tab: where it goes, what it says, what it asked the network for."""

    def __init__(self, browser: Browser, session: str, width: int, height: int) -> None:
        self.browser = browser
        self.session = session
        for domain in ("Page", "Runtime", "Network", "Log"):
            self.call(f"{domain}.enable")
        self.call("Network.emulateNetworkConditions", offline=True, latency=0, downloadThroughput=0, uploadThroughput=0)
        self.resize(width, height)

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """A command to this page."""
        return self.browser.call(method, session=self.session, **params)

    def resize(self, width: int, height: int, *, mobile: bool = False, scale: float = 1) -> None:
        """Set the size of the window in CSS pixels."""
        self.call(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=scale, mobile=mobile
        )

    def prefer(self, scheme: str) -> None:
        """Say that the reader prefers `light` or `dark`."""
        self.call("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": scheme}])

    def open(self, path: Path) -> None:
        """Load a file from disk."""
        self.call("Page.navigate", url=path.resolve().as_uri())
        self.wait_for("document.readyState === 'complete'")

    def evaluate(self, expression: str) -> Any:
        """The value of a JavaScript expression; a promise is awaited."""
        answer = self.call("Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in answer:
            raise RuntimeError(f"{expression}: {answer['exceptionDetails']}")
        return answer["result"].get("value")

    def wait_for(self, expression: str, seconds: float = 40) -> None:
        """Wait until an expression is true. Raises TimeoutError."""
        deadline = time.monotonic() + seconds
        while not self.evaluate(expression):
            if time.monotonic() > deadline:
                raise TimeoutError(expression)
            self.browser.drain(0.1)

    def move_mouse(self, x: float, y: float) -> None:
        """Put the pointer somewhere in the window, CSS pixels."""
        self.call("Input.dispatchMouseEvent", type="mouseMoved", x=x, y=y)

    def press(self, key: str) -> None:
        """Press and release a key."""
        for kind in ("keyDown", "keyUp"):
            self.call("Input.dispatchKeyEvent", type=kind, key=key, code=key)

    def screenshot(self, path: Path, *, whole: bool = False) -> None:
        """A PNG of the window, or of the whole page."""
        answer = self.call("Page.captureScreenshot", format="png", captureBeyondViewport=whole)
        path.write_bytes(base64.b64decode(answer["data"]))

    def pdf(self, path: Path) -> None:
        """Print to A4."""
        answer = self.call(
            "Page.printToPDF", printBackground=True, paperWidth=8.27, paperHeight=11.69, preferCSSPageSize=True
        )
        path.write_bytes(base64.b64decode(answer["data"]))

    def complaints(self) -> list[str]:
        """Everything the page threw or wrote to the console as an error or a warning."""
        found = []
        for event in self.browser.events:
            if event.get("sessionId") != self.session:
                continue
            params = event["params"]
            if event["method"] == "Runtime.exceptionThrown":
                found.append(str(params["exceptionDetails"]))
            elif event["method"] == "Runtime.consoleAPICalled" and params["type"] in ("error", "warning", "assert"):
                found.append(" ".join(str(one.get("value", one.get("description"))) for one in params["args"]))
            elif event["method"] == "Log.entryAdded" and params["entry"]["level"] in ("error", "warning"):
                found.append(params["entry"]["text"])
        return found

    def requests(self) -> list[str]:
        """Every address the page asked for."""
        return [
            str(event["params"]["request"]["url"])
            for event in self.browser.events
            if event.get("sessionId") == self.session and event["method"] == "Network.requestWillBeSent"
        ]


def _moved_up(descriptor: int) -> int:
    import fcntl

    moved = fcntl.fcntl(descriptor, fcntl.F_DUPFD_CLOEXEC, 10)
    os.close(descriptor)
    return int(moved)
