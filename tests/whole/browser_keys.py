"""A browser that is driven by its debugging pipe, so that real keys can be pressed:
messages are JSON, each ended by a zero byte.

Chrome DevTools Protocol, https://chromedevtools.github.io/devtools-protocol/: Target, Page,
Runtime, Input and Emulation.
"""

import json
import os
import subprocess
from pathlib import Path
from typing import Any

KEYS = {"Tab": 9, "Enter": 13, "ArrowRight": 39}


class Browser:
    """A page in a headless browser, or several; to be closed.

    Attributes
    ----------
    session
        The page that is talked to; another one may be put in its place.
    """

    def __init__(self, program: str, folder: Path):
        to_browser, self._out = os.pipe()
        self._in, from_browser = os.pipe()

        # the browser reads messages from descriptor 3 and writes them to descriptor 4
        def connect() -> None:
            spare = os.dup(from_browser)
            os.dup2(to_browser, 3)
            os.dup2(spare, 4)
            os.set_inheritable(3, True)  # it is not where a pipe was 3 already
            os.set_inheritable(4, True)

        command = [
            program,
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--remote-debugging-pipe",
            f"--user-data-dir={folder}",
        ]
        self._process = subprocess.Popen(
            command,
            preexec_fn=connect,
            close_fds=False,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(to_browser)
        os.close(from_browser)
        self._rest, self._number = b"", 0
        self.session = self.open_page()

    def open_page(self) -> str:
        """One more page, which is talked to from now on."""
        self.session = None
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        attached = self.ask("Target.attachToTarget", targetId=target, flatten=True)
        self.session = attached["sessionId"]
        self.ask("Page.enable")
        return self.session

    def ask(self, method: str, **parameters: Any) -> dict:
        """The browser's answer to one message."""
        self._number += 1
        message = {"id": self._number, "method": method, "params": parameters}
        message |= {"sessionId": self.session} if self.session else {}
        os.write(self._out, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._read()
            if answer.get("id") == self._number:
                assert "error" not in answer, answer
                return answer["result"]

    def _read(self) -> dict:
        while b"\0" not in self._rest:
            more = os.read(self._in, 1 << 16)
            assert more, "the browser closed the pipe"
            self._rest += more
        message, _, self._rest = self._rest.partition(b"\0")
        return json.loads(message)

    def open(self, address: str, width: int, height: int) -> None:
        """A page of that size, once it is loaded."""
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=False,
        )
        self.ask("Page.navigate", url=address)
        while self.evaluate("document.readyState + location.href") != f"complete{address}":
            pass

    def evaluate(self, expression: str) -> Any:
        """The value of an expression in the page."""
        answer = self.ask(
            "Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True
        )
        return answer["result"].get("value")

    def press(self, key: str) -> None:
        """A key pressed and let go; a letter or another sign is its own name."""
        signs = {"Enter": "\r"} | ({key: key} if len(key) == 1 else {})
        words = {"text": signs[key]} if key in signs else {}
        for kind in ("keyDown", "keyUp"):
            self.ask(
                "Input.dispatchKeyEvent",
                type=kind,
                key=key,
                code=key,
                windowsVirtualKeyCode=KEYS.get(key) or ord(key.upper()),
                **words,
            )

    def close(self) -> None:
        """End the browser, unless it has ended."""
        if self._process.returncode is not None:
            return
        os.write(self._out, json.dumps({"id": 0, "method": "Browser.close"}).encode() + b"\0")
        self._process.wait(timeout=30)
        os.close(self._out)
        os.close(self._in)
