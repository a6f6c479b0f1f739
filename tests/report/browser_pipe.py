"""A browser on the other end of two pipes: commands go in, answers and events come out (its debugging protocol).

The browser reads commands from its file descriptor 3 and writes to its file descriptor 4: JSON, NUL after each message.
No port is opened, so nothing else can talk to it.
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import select
import signal
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from xover.report.printing import find_browser, headless_arguments, headless_environment

PATIENCE_S = 30.0
_HIGH = 16  # descriptors from here on, so that none of them is 3 or 4 before it is put there

Message = dict[str, Any]


class BrowserError(Exception):
    """The browser refused a command, went silent or went away."""


class Pipe:
    """The running browser: `send` a command and wait for its answer; events go to who listens to their session."""

    def __init__(self) -> None:
        browser = find_browser()
        if browser is None:
            raise BrowserError("no browser was found")
        self._scratch = tempfile.TemporaryDirectory(prefix="xover-test-browser-", ignore_cleanup_errors=True)
        profile = Path(self._scratch.name, "profile")
        arguments = [
            *headless_arguments(browser, profile),
            "--remote-debugging-pipe",
            "--hide-scrollbars",
            "--renderer-process-limit=1",
            "--disable-site-isolation-trials",
            "--force-color-profile=srgb",
            "--font-render-hinting=none",
            "about:blank",
        ]
        (its_in, self._out), (self._in, its_out) = _high_pipe(), _high_pipe()
        said = os.path.join(self._scratch.name, "said")
        self.process = os.posix_spawn(
            arguments[0],
            arguments,
            headless_environment(Path(self._scratch.name)),
            file_actions=[
                (os.POSIX_SPAWN_OPEN, 0, os.devnull, os.O_RDONLY, 0),
                (os.POSIX_SPAWN_OPEN, 1, said, os.O_WRONLY | os.O_CREAT, 0o600),
                (os.POSIX_SPAWN_DUP2, 1, 2),
                (os.POSIX_SPAWN_DUP2, its_in, 3),
                (os.POSIX_SPAWN_DUP2, its_out, 4),
            ],
            setpgroup=0,
        )
        os.close(its_in)
        os.close(its_out)
        self._rest = bytearray()
        self._number = 0
        self._answers: dict[int, Message] = {}
        self.listeners: dict[str, Callable[[str, Message], None]] = {}

    def send(self, method: str, session: str = "", **parameters: Any) -> Message:
        """Give a command and wait for its result."""
        number = self.post(method, session, **parameters)
        self.wait(lambda: number in self._answers, method)
        answer = self._answers.pop(number)
        if "error" in answer:
            raise BrowserError(f"{method}: {answer['error']['message']}")
        return dict(answer["result"])

    def post(self, method: str, session: str = "", **parameters: Any) -> int:
        """Give a command without waiting for its result; its number."""
        self._number += 1
        command = {"id": self._number, "method": method, "params": parameters}
        if session:
            command["sessionId"] = session
        data = json.dumps(command).encode() + b"\0"
        try:
            while data:
                data = data[os.write(self._out, data) :]
        except BrokenPipeError as error:
            raise BrowserError(f"the browser has gone away before {method}") from error
        return self._number

    def wait(self, done: Callable[[], bool], what: str, patience_s: float = PATIENCE_S) -> None:
        """Take messages in until `done`."""
        until = time.monotonic() + patience_s
        while not done():
            left = until - time.monotonic()
            if left <= 0 or not select.select([self._in], [], [], left)[0]:
                raise BrowserError(f"the browser was silent for {patience_s:g} s while waiting for {what}")
            self._take()

    def _take(self) -> None:
        data = os.read(self._in, 1 << 20)
        if not data:
            raise BrowserError("the browser has gone away")
        *whole, rest = data.split(b"\0")
        if whole:
            whole[0] = bytes(self._rest) + whole[0]
            self._rest.clear()
        self._rest += rest
        for text in whole:
            message = json.loads(text)
            if "id" in message:
                self._answers[message["id"]] = message
            elif message.get("sessionId") in self.listeners:
                self.listeners[message["sessionId"]](message["method"], message["params"])

    def _has_ended(self) -> bool:
        """Whether it has, with its number kept for it: nobody else gets that before it is waited for."""
        return os.waitid(os.P_PID, self.process, os.WEXITED | os.WNOHANG | os.WNOWAIT) is not None

    def close(self) -> None:
        """End the browser with all its processes and remove its profile."""
        with contextlib.suppress(BrowserError):
            self.post("Browser.close")
        until = time.monotonic() + 3
        while time.monotonic() < until and not self._has_ended():
            time.sleep(0.02)
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self.process, signal.SIGKILL)  # it is not reaped yet, so the number is still its own
        os.waitpid(self.process, 0)
        os.close(self._in)
        os.close(self._out)
        self._scratch.cleanup()


def _high_pipe() -> tuple[int, int]:
    ends = os.pipe()
    high = tuple(fcntl.fcntl(end, fcntl.F_DUPFD_CLOEXEC, _HIGH) for end in ends)
    for end in ends:
        os.close(end)
    return high[0], high[1]
