"""How work ends that is told to, or whose process is: what it has started ends too, and its scratch is removed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any, Final

from xover.errors import OptionError

SAME_WISH_S: Final = 2.0
"""A second signal within that time is the same wish, as a terminal that closes sends two: tidying goes on."""
_ended_s: list[float] = []


def end_on_signals() -> None:
    """Let SIGTERM and SIGHUP end the program as an exit does, with status 128 and their number: all is tidied away.

    SIGINT is Python's own, a KeyboardInterrupt. What is ignored, as under nohup, stays so.
    """
    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)  # Windows has no SIGHUP
        if number is not None and signal.getsignal(number) is signal.SIG_DFL:
            signal.signal(number, _Ending(os.getpid()))


class _Ending:
    """What a signal does; a copy of the process, which has nothing to tidy away, ends at once."""

    def __init__(self, process: int) -> None:
        self._process = process

    def __call__(self, number: int, _: FrameType | None) -> None:
        if os.getpid() != self._process:
            os._exit(128 + number)
        if _ended_s and time.monotonic() < _ended_s[0] + SAME_WISH_S:
            return
        _ended_s[:] = [time.monotonic()]
        raise SystemExit(128 + number)


@contextmanager
def scratch_folder() -> Iterator[Path]:
    """A folder for a while, removed at the end. Raises OptionError: none can be made."""
    try:
        folder = tempfile.TemporaryDirectory(prefix="xover-", ignore_cleanup_errors=True)
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        raise OptionError(
            f"no folder for temporary files can be made: {reason}", "make room for one, or name another place in TMPDIR"
        ) from error
    with folder as name:
        yield Path(name)


@contextmanager
def guarded(arguments: Sequence[str], scratch: Path, **how: Any) -> Iterator[subprocess.Popen[Any]]:
    """Start a program that ends with the `with` block, or with this process, killed or not; all of its group with it.

    Where this process is killed, `scratch` is removed too. On Windows the program and its children end with the block
    alone.

    Parameters
    ----------
    how : as of `subprocess.Popen`.

    A program that cannot be started ends with status `guard.NOT_STARTED`, the reason on its standard error; on Windows
    that is an OSError.
    """
    if sys.platform == "win32":
        with subprocess.Popen(arguments, **how) as process:
            try:
                yield process
            finally:
                subprocess.run(["taskkill", "/F", "/T", "/PID", str(process.pid)], capture_output=True, check=False)
        return
    theirs, ours = os.pipe()
    try:
        guard = [sys.executable, "-I", "-S", str(Path(__file__).with_name("guard.py")), str(theirs), str(scratch)]
        # In a session of its own it does not hear the terminal.
        process = subprocess.Popen([*guard, *arguments], pass_fds=(theirs,), start_new_session=True, **how)
    except BaseException:
        os.close(ours)
        raise
    finally:
        os.close(theirs)
    with process:
        try:
            yield process
        finally:
            os.close(ours)
            process.wait()
