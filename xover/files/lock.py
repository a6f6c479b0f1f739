"""One writer at a time in a folder: the others wait a while, then say so."""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from xover.errors import InputError
from xover.files.atomic import TEMPORARY, fault_of

WAIT_S: Final = 20.0
LOOK_S: Final = 0.02
LOCK_FILE: Final = ".xover-lock"
"""Where the system cannot lock a folder itself; else a lock leaves nothing behind, and ends with its process."""
STALE_S: Final = 60.0
"""A writer holds a lock for far less than a second; a lock file as old as this is of one that was killed."""


@contextmanager
def locked(folder: Path, wait_s: float = WAIT_S) -> Iterator[None]:
    """Hold a folder for writing.

    Raises InputError: another one still writes after `wait_s`, there is no such folder, or no permission.
    """
    try:
        release = _taken(folder, wait_s)
    except OSError as error:
        raise fault_of(folder, error, "written") from error
    try:
        _clear(folder)
        yield
    finally:
        release()


def _clear(folder: Path) -> None:
    """Remove what a writer that was killed between two steps has left, a copy under a name that nobody types."""
    with contextlib.suppress(OSError):
        for entry in os.scandir(folder):
            left = TEMPORARY.fullmatch(entry.name) and entry.is_file(follow_symlinks=False)
            if left and time.time() - entry.stat(follow_symlinks=False).st_mtime > STALE_S:
                os.unlink(entry.path)


def _taken(folder: Path, wait_s: float) -> Callable[[], None]:
    ends = time.monotonic() + wait_s
    while True:
        release = _lock_folder(folder)
        if release is not None:
            return release
        if time.monotonic() > ends:
            raise InputError(
                f"is being written by another xover, for {wait_s:g} s and more", "try again once it is done", folder
            )
        time.sleep(LOOK_S)


def _lock_folder(folder: Path) -> Callable[[], None] | None:
    """What gives the lock back; None where another one holds it."""
    if sys.platform != "win32":
        import fcntl

        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            os.close(handle)
            if error.errno in (errno.EAGAIN, errno.EACCES, errno.EWOULDBLOCK):
                return None
            # else a file system that locks no folders, such as one over a network
        except BaseException:
            os.close(handle)
            raise
        else:
            return lambda: os.close(handle)
    return _lock_by_file(folder / LOCK_FILE)


def _lock_by_file(path: Path) -> Callable[[], None] | None:
    try:
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    except FileExistsError:
        with contextlib.suppress(OSError):  # another one was faster
            if abs(time.time() - os.lstat(path).st_mtime) > STALE_S:
                # Moved away first: of two that find it stale, one alone can do that.
                aside = path.with_name(f"{path.name}-{secrets.token_hex(4)}")
                os.rename(path, aside)
                os.unlink(aside)
        return None
    return lambda: path.unlink(missing_ok=True)
