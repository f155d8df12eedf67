"""A headless Chromium driven over the W3C WebDriver protocol, which is plain HTTP: no more than the tests need."""

from __future__ import annotations

import base64
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import requests

ELEMENT = "element-6066-11e4-a52e-4f735466cecf"  # the standard's name for a reference to an element
WAIT_S = 20.0
# https://www.w3.org/TR/webdriver2/#keyboard-actions
KEYS = {
    "tab": "\ue004",
    "enter": "\ue007",
    "escape": "\ue00c",
    "space": " ",
    "down": "\ue015",
    "up": "\ue013",
    "backspace": "\ue003",
}
# Every name but the service's own address fails to resolve, and the browser's own calls home are off.
ARGUMENTS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
    "--window-size=1200,1600",
)


class Browser:
    """One browser session."""

    def __init__(self, driver: str, session: str) -> None:
        self._at = f"{driver}/session/{session}"

    def _call(self, method: str, path: str, body: Any = None) -> Any:
        answer = requests.request(method, self._at + path, json=body, timeout=60)
        value = answer.json()["value"]
        if answer.status_code != 200:
            raise AssertionError(f"{method} {path}: {value['error']}: {value['message']}")
        return value

    def open(self, url: str) -> None:
        self._call("POST", "/url", {"url": url})

    def find(self, selector: str) -> str:
        return str(self._call("POST", "/element", {"using": "css selector", "value": selector})[ELEMENT])

    def click(self, selector: str) -> None:
        self._call("POST", f"/element/{self.find(selector)}/click", {})

    def type(self, selector: str, text: str) -> None:
        self._call("POST", f"/element/{self.find(selector)}/value", {"text": text})

    def script(self, source: str) -> Any:
        return self._call("POST", "/execute/sync", {"script": source, "args": []})

    def script_async(self, promise: str) -> Any:
        """What a promise comes to; a rejected one as an AssertionError."""
        told_of = "value => tell({value}), error => tell({error: String(error)})"
        source = f"const tell = arguments[0]; ({promise}).then({told_of})"
        told = self._call("POST", "/execute/async", {"script": source, "args": []})
        assert "error" not in told, told["error"]
        return told.get("value")

    def press(self, *keys: str) -> None:
        """Keys one after the other, wherever the focus is; W3C code points for what has no letter (``KEYS``)."""
        actions = [{"type": kind, "value": key} for key in keys for kind in ("keyDown", "keyUp")]
        self._call("POST", "/actions", {"actions": [{"type": "key", "id": "keyboard", "actions": actions}]})

    def forget(self) -> None:
        """Delete every cookie of the page's address."""
        self._call("DELETE", "/cookie")

    def prefer(self, *, scheme: str = "light", media: str = "") -> None:
        """Colours as somebody likes them (light, dark); ``media`` print shows the page as on paper."""
        features = [{"name": "prefers-color-scheme", "value": scheme}]
        told = {"media": media, "features": features}
        self.cdp("Emulation.setEmulatedMedia", **told)

    def resize(self, width: int, height: int) -> None:
        """As a screen of so many CSS pixels: a window can't be as narrow as a phone."""
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
        self.cdp("Emulation.setDeviceMetricsOverride", **size)

    def cdp(self, command: str, **parameters: Any) -> Any:
        """What the browser answers to a command of its own protocol, for what WebDriver has no word for."""
        return self._call("POST", "/goog/cdp/execute", {"cmd": command, "params": parameters})

    def picture(self) -> bytes:
        """What is seen, as PNG."""
        return base64.b64decode(self._call("GET", "/screenshot"))

    def source(self) -> str:
        return str(self._call("GET", "/source"))

    def wait_for(self, condition: str, seconds: float = WAIT_S) -> Any:
        """Until the script expression is true. Raises AssertionError after so many seconds."""
        deadline = time.monotonic() + seconds
        while time.monotonic() < deadline:
            value = self.script(f"return {condition}")
            if value:
                return value
            time.sleep(0.05)
        raise AssertionError(f"never true in the page: {condition}")

    def complaints(self) -> list[str]:
        """What the browser logged as severe: scripts that failed, requests that did."""
        return [
            entry["message"]
            for entry in self._call("POST", "/se/log", {"type": "browser"})
            if entry["level"] == "SEVERE"
        ]

    def requested(self) -> list[str]:
        """Everything the page loaded."""
        return list(self.script("return performance.getEntriesByType('resource').map(each => each.name)"))

    def quit(self) -> None:
        self._call("DELETE", "")


@contextmanager
def browser(profile: Path, *, scripts: bool = True) -> Iterator[Browser]:
    """A fresh browser; ``scripts=False`` turns JavaScript off. For tests marked as needing Chromium and its driver."""
    chromium, driver = shutil.which("chromium"), shutil.which("chromedriver")
    assert None not in (chromium, driver), "the test is not marked needs('chromium', 'chromedriver')"
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    options: dict[str, Any] = {"binary": chromium, "args": [*ARGUMENTS, f"--user-data-dir={profile}"]}
    if not scripts:
        options["prefs"] = {"profile.managed_default_content_settings.javascript": 2}
    wanted: dict[str, Any] = {"browserName": "chrome", "goog:chromeOptions": options}
    wanted["goog:loggingPrefs"] = {"browser": "ALL"}
    body = {"capabilities": {"alwaysMatch": wanted}}
    with subprocess.Popen([driver, f"--port={port}"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        try:
            address = f"http://127.0.0.1:{port}"
            _wait_until_ready(address)
            session = requests.post(f"{address}/session", json=body, timeout=60).json()["value"]
            assert "sessionId" in session, session
            opened = Browser(address, session["sessionId"])
            try:
                yield opened
            finally:
                opened.quit()
        finally:
            process.terminate()


def _wait_until_ready(address: str) -> None:
    deadline = time.monotonic() + WAIT_S
    while time.monotonic() < deadline:
        try:
            if requests.get(f"{address}/status", timeout=1).json()["value"]["ready"]:
                return
        except requests.ConnectionError:
            pass  # not listening yet
        time.sleep(0.05)
    raise AssertionError("chromedriver did not get ready")
