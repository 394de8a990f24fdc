"""A real browser without a window, spoken to over a pipe in its own debugging protocol."""

from __future__ import annotations

import base64
import json
import os
import shutil
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

import pytest

WITHIN_S = 60.0
_PROGRAM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
_OPTIONS = (
    "--headless --no-sandbox --disable-gpu --hide-scrollbars --no-first-run --disable-background-networking "
    "--disable-component-update --disable-dev-shm-usage --remote-debugging-pipe"
)


class PageChanged(Exception):
    """The page went while something was asked of it."""


class Page:
    """One open page; remembers everything it asked for and everything its console said."""

    def __init__(self, commands: IO[bytes], answers: IO[bytes]) -> None:
        self._commands, self._answers = commands, answers
        self._number, self._session = 0, ""
        self.asked: list[str] = []
        self.console: list[str] = []
        target = self._tell("Target.createTarget", url="about:blank")["targetId"]
        self._session = self._tell("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Network", "Runtime", "Log"):
            self._tell(f"{domain}.enable")

    def open(self, address: str, width: int = 1100, height: int = 900) -> None:
        """Go to an address, in a window of this size."""
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}
        self._tell("Emulation.setDeviceMetricsOverride", **size)
        self._tell("Page.navigate", url=address)
        self.until("document.readyState === 'complete'")

    def value(self, expression: str) -> Any:
        """What an expression is in the page."""
        asked = {"expression": expression, "returnByValue": True, "awaitPromise": True}
        answer = self._tell("Runtime.evaluate", **asked)
        assert "exceptionDetails" not in answer, answer
        return answer["result"].get("value")

    def until(self, condition: str) -> None:
        """Wait, in the page, until a condition holds."""
        again = f"({condition}) ? done(true) : setTimeout(look, 50)"
        look = f"(done) => {{ const look = () => {again}; look(); }}"
        limit = f"new Promise((done) => setTimeout(done, {WITHIN_S * 1000:.0f}, false))"
        try:
            held = self.value(f"Promise.race([new Promise({look}), {limit}])")
        except PageChanged:  # the question went with the old page: asked again of the new one
            held = self.value(f"Promise.race([new Promise({look}), {limit}])")
        assert held, f"{condition} did not come true on:\n{self.value('document.body.innerText')[:3000]}"

    def text(self, id_: str) -> str:
        """Words of an element."""
        return str(self.value(f"document.getElementById({id_!r}).innerText"))

    def key(self, key: str) -> None:
        """Press a key."""
        named = {"key": key} | ({"text": "\r", "windowsVirtualKeyCode": 13} if key == "Enter" else {})
        for kind in ("keyDown", "keyUp"):
            self._tell("Input.dispatchKeyEvent", type=kind, **named)

    def picture(self, to: Path) -> Path:
        """The whole page as PNG."""
        taken = self._tell("Page.captureScreenshot", format="png", captureBeyondViewport=True)
        to.write_bytes(base64.b64decode(taken["data"]))
        return to

    def memory(self) -> tuple[float, int]:
        """What the page's program holds after clearing up, in MB, and how many nodes the page has."""
        self._tell("HeapProfiler.collectGarbage")
        self._tell("Performance.enable")
        told = {one["name"]: one["value"] for one in self._tell("Performance.getMetrics")["metrics"]}
        return told["JSHeapUsedSize"] / 1e6, int(told["Nodes"])

    def _tell(self, method: str, **values: Any) -> dict[str, Any]:
        self._number += 1
        words = {"id": self._number, "method": method, "params": values}
        if self._session:
            words["sessionId"] = self._session
        self._commands.write(json.dumps(words).encode() + b"\0")
        self._commands.flush()
        while True:
            heard = self._hear()
            if heard.get("id") == self._number:
                if "navigated or closed" in str(heard.get("error", "")):
                    raise PageChanged(heard)
                assert "error" not in heard, heard
                result: dict[str, Any] = heard["result"]
                return result

    def _hear(self) -> dict[str, Any]:
        text = bytearray()
        while not text.endswith(b"\0"):
            piece = self._answers.read(1)
            assert piece, "the browser is gone"
            text += piece
        heard: dict[str, Any] = json.loads(text[:-1])
        values = heard.get("params", {})
        match heard.get("method"):
            case "Network.requestWillBeSent":
                self.asked.append(values["request"]["url"])
            case "Runtime.consoleAPICalled" | "Runtime.exceptionThrown" | "Log.entryAdded":
                self.console.append(json.dumps(values)[:500])
        return heard


@contextmanager
def browsing(folder: Path, within_s: float = 3 * WITHIN_S) -> Iterator[Page]:
    """An empty page of a browser whose profile is in `folder`; killed when it hangs, gone afterwards."""
    if _PROGRAM is None:
        pytest.skip("no Chromium is installed, so no page can be looked at")
    to_browser, commands = os.pipe()
    answers, from_browser = os.pipe()
    shell = f"exec {_PROGRAM} {_OPTIONS} --user-data-dir={folder} 3<&{to_browser} 4>&{from_browser}"
    browser = subprocess.Popen(
        ["bash", "-c", shell], pass_fds=(to_browser, from_browser), stderr=subprocess.DEVNULL
    )
    os.close(to_browser)
    os.close(from_browser)
    watchdog = threading.Timer(within_s, browser.kill)
    watchdog.start()
    try:
        with os.fdopen(commands, "wb") as out, os.fdopen(answers, "rb") as back:
            yield Page(out, back)
    finally:
        watchdog.cancel()
        browser.kill()
        browser.wait()
