"""Pages opened in a real browser without a window, with everything that they say and ask for written down.

with Browser() as browser, browser.open(path, width=400, height=800) as page:
    page.console, page.exceptions, page.requests, page.evaluate("document.title"), page.pdf()
"""

from __future__ import annotations

import base64
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Any

import pytest
from browser_pipe import BrowserError, Message, Pipe

from xover.report import printing

A4_INCH = (210 / 25.4, 297 / 25.4)
CSS_PIXELS_PER_MM = 96 / 25.4
"""CSS has 96 pixels to the inch (CSS Values and Units 3, 6.2)."""


class ScriptError(Exception):
    """A script that a test runs in a page has thrown."""


def need_browser() -> None:
    """Skip the test where there is no browser; but fail it on the machine that decides (environment variable CI)."""
    if printing.find_browser() is None:
        if os.environ.get("CI"):
            pytest.fail("no Chromium browser here, and without one no page has been opened")
        pytest.skip("no Chromium browser on this machine")


class Browser:
    """One browser for many pages; each is a tab of its own."""

    def __init__(self) -> None:
        self.pipe = Pipe()

    def __enter__(self) -> Browser:
        return self

    def __exit__(self, *_: object) -> None:
        self.pipe.close()

    def open(self, path: Path, width: int = 1280, height: int = 800, before: Sequence[str] = ()) -> Page:
        """Open a file at a size in CSS pixels and wait until it is loaded. `before`: scripts that run first."""
        target = self.pipe.send("Target.createTarget", url="about:blank")["targetId"]
        session = self.pipe.send("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        page = Page(self.pipe, target, session)
        self.pipe.listeners[session] = page._hear
        for domain in ("Page", "Runtime", "Log", "Network"):
            page.send(f"{domain}.enable")
        for script in before:
            page.send("Page.addScriptToEvaluateOnNewDocument", source=script)
        page.resize(width, height)
        try:
            page.go(path)
        except BrowserError:
            page.close()
            raise
        return page


@dataclass
class Page:
    """A page in its tab.

    Attributes
    ----------
    console : what was written there, by the page or by the browser about it, as "level: text". exceptions : thrown and
    caught by nobody. requests : addresses asked for, but for the page's own and data: ones. opened : dialogs (an alert,
    say) as "kind: text".
    """

    pipe: Pipe
    target: str
    session: str
    address: str = ""
    console: list[str] = field(default_factory=list)
    exceptions: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)
    opened: list[str] = field(default_factory=list)
    loaded: bool = False
    frame: str = ""

    def __enter__(self) -> Page:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the tab."""
        self.pipe.listeners.pop(self.session, None)
        self.pipe.send("Target.closeTarget", targetId=self.target)

    def send(self, method: str, **parameters: Any) -> Message:
        """Give the tab a command of the protocol."""
        return self.pipe.send(method, self.session, **parameters)

    def _hear(self, method: str, said: Message) -> None:
        if method == "Page.loadEventFired":
            self.loaded = True
        elif method == "Runtime.consoleAPICalled":
            words = [str(a.get("value", a.get("description", a["type"]))) for a in said["args"]]
            self.console.append(f"{said['type']}: {' '.join(words)}")
        elif method == "Log.entryAdded":
            entry = said["entry"]
            self.console.append(f"{entry['level']}: {entry['text']} {entry.get('url', '')}".strip())
        elif method == "Runtime.exceptionThrown":
            self.exceptions.append(_thrown(said["exceptionDetails"]))
        elif method == "Network.requestWillBeSent":
            address = said["request"]["url"]
            if address != self.address and not address.startswith("data:"):
                self.requests.append(address)
        elif method == "Page.javascriptDialogOpening":
            self.opened.append(f"{said['type']}: {said['message']}")
            self.pipe.post(
                "Page.handleJavaScriptDialog", self.session, accept=False
            )  # the page stands still until then

    def go(self, path: Path) -> None:
        """Open another file in this tab, which is quicker than a new one, and wait until it is loaded."""
        self.settle()  # what the page before it had to say is heard before it is forgotten
        for heard in (self.console, self.exceptions, self.requests, self.opened):
            heard.clear()
        self.address, self.loaded = path.resolve().as_uri(), False
        answer = self.send("Page.navigate", url=self.address)
        if answer.get("errorText"):
            raise BrowserError(f"{self.address}: {answer['errorText']}")
        self.frame = answer["frameId"]
        self.pipe.wait(lambda: self.loaded, "the page to load")

    @contextmanager
    def showing(self, text: str) -> Iterator[Page]:
        """The tab with another page's text put in, without loading it: its scripts do not run."""
        self.send("Page.setDocumentContent", frameId=self.frame, html=text)
        yield self

    def resize(self, width: int, height: int) -> None:
        """Give the page a window of this size in CSS pixels."""
        self.send("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)

    def media(self, kind: str = "") -> None:
        """Lay the page out for "print" or "screen"; an empty text goes back to what it is by nature."""
        self.send("Emulation.setEmulatedMedia", media=kind)

    def evaluate(self, script: str) -> Any:
        """Value of an expression in the page, a promise's once it is kept; it must be one that JSON can hold."""
        answer = self.send("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in answer:
            raise ScriptError(_thrown(answer["exceptionDetails"]))
        return answer["result"].get("value")

    def settle(self) -> None:
        """Wait until what has been changed is drawn, and what it caused has been heard."""
        self.evaluate("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done(true))))")

    def screenshot(self, path: Path, full: bool = True) -> None:
        """Save a picture of the window, or of the full page, as PNG."""
        answer = self.send("Page.captureScreenshot", format="png", captureBeyondViewport=full)
        path.write_bytes(base64.b64decode(answer["data"]))

    def pdf(self) -> bytes:
        """The page printed on A4, where its own style asks for no other paper."""
        width, height = A4_INCH
        answer = self.send(
            "Page.printToPDF", paperWidth=width, paperHeight=height, preferCSSPageSize=True, printBackground=True
        )
        return base64.b64decode(answer["data"])

    def accessibility(self) -> list[Message]:
        """Nodes of the tree that a screen reader is given, without those that it passes over."""
        nodes = self.send("Accessibility.getFullAXTree")["nodes"]
        return [node for node in nodes if not node.get("ignored")]

    def backend_ids(self, selector: str) -> list[int]:
        """What the accessibility tree calls (backendDOMNodeId) the elements that match, in their order."""
        root = self.send("DOM.getDocument", depth=0)["root"]["nodeId"]
        found = self.send("DOM.querySelectorAll", nodeId=root, selector=selector)["nodeIds"]
        return [self.send("DOM.describeNode", nodeId=node)["node"]["backendNodeId"] for node in found]


def _thrown(details: Message) -> str:
    return str(details.get("exception", {}).get("description", details["text"]))
