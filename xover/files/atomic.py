"""Whole files in, whole files out: a write either happens fully or leaves everything as it was."""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import stat
from pathlib import Path

from xover.errors import InputError
from xover.files.decode import NotTextError, decode_text

LARGEST_BYTES = 64 * 1024 * 1024


def read_text(path: Path | str) -> str:
    r"""Read a text file in whatever common encoding it has (see decode_text); lines end in "\n".

    Raises
    ------
    InputError
        Missing, a folder, no regular file (a pipe or device), no permission, over 64 MB, or not text.
    """
    path = Path(path)
    try:
        status = os.stat(path)
        if stat.S_ISDIR(status.st_mode):
            raise InputError("is a folder where a file belongs", "name the file inside it", path)
        if not stat.S_ISREG(status.st_mode):
            raise InputError("is not a regular file", "save the data to a file first", path)
        with open(path, "rb") as stream:
            data = stream.read(LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        raise _fault(path, error, "read") from error
    if len(data) > LARGEST_BYTES:
        raise InputError(f"is larger than {LARGEST_BYTES // 1024**2} MB", "thin the data out or split the file", path)
    try:
        return decode_text(data)
    except NotTextError as error:
        raise InputError(f"is not a text file: it {error}", "export the data as plain text (UTF-8)", path) from error


def write_text(path: Path | str, text: str, force: bool = False) -> None:
    """Write text as UTF-8, line ends as given; see write_bytes for the rest."""
    try:
        data = text.encode("utf-8")
    except UnicodeEncodeError as error:
        raise InputError(
            "the text holds a character that UTF-8 cannot hold", "remove it from the names", path
        ) from error
    write_bytes(path, data, force)


def write_bytes(path: Path | str, data: bytes, force: bool = False) -> None:
    """Write a whole file, or nothing.

    The bytes go to a temporary file in the same folder, are flushed to the disk, and take the
    place of the target in one step. A new file gets the permissions that the umask gives; one
    that is overwritten keeps its own; a symbolic link stays and what it points to is written.

    Raises
    ------
    InputError
        The file exists and `force` is not given, it is a folder or no regular file, its folder
        is missing, there is no permission or no room. The old file, if any, is whole, and no
        temporary file is left.
    """
    path = Path(path)
    try:
        target = Path(os.path.realpath(path))
        mode = _mode_of_target(path, target, force)
        _replace(target, data, mode)
    except (OSError, ValueError) as error:
        raise _fault(path, error, "written") from error


def check_target(path: Path | str, force: bool = False) -> None:
    """Raise at once what `write_bytes` would raise for this name, before there is anything to write."""
    path = Path(path)
    try:
        _mode_of_target(path, Path(os.path.realpath(path)), force)
    except (OSError, ValueError) as error:
        raise _fault(path, error, "written") from error


def _mode_of_target(path: Path, target: Path, force: bool) -> int | None:
    """Refuse what must not be overwritten; give the permissions to keep, None for a new file."""
    if os.path.lexists(path) and not force and not path.is_dir():
        raise InputError("exists already", "give --force to overwrite it, or another name", path)
    if not target.parent.is_dir():
        raise InputError(f"its folder '{target.parent}' does not exist", "create the folder first", path)
    try:
        status = os.stat(target)
    except FileNotFoundError:
        return None
    if stat.S_ISDIR(status.st_mode):
        raise InputError("is a folder where a file is to be written", "give the name of a file", path)
    if not stat.S_ISREG(status.st_mode):
        raise InputError("is not a regular file", "give the name of a file", path)
    if not os.access(target, os.W_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    return stat.S_IMODE(status.st_mode)


def _replace(target: Path, data: bytes, mode: int | None) -> None:
    temporary = target.parent / f".{secrets.token_hex(8)}.tmp"
    try:
        # O_EXCL with 0666 lets the kernel apply the umask, which cannot be read without setting it.
        handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
        with os.fdopen(handle, "wb") as stream:
            if mode is not None:
                os.chmod(temporary, mode)
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(temporary, target)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(temporary)
        raise


def _fault(path: Path, error: OSError | ValueError, done: str) -> InputError:
    """Say in one line why a file cannot be read or written."""
    if isinstance(error, ValueError):  # a NUL or a lone surrogate in the name
        return InputError("is not a possible file name", "check the name", path)
    if isinstance(error, FileNotFoundError | NotADirectoryError):
        return InputError("does not exist", "check the name and the folder", path)
    if isinstance(error, PermissionError):
        return InputError(f"cannot be {done}: no permission", "change its permissions or use another folder", path)
    reason = (error.strerror or type(error).__name__).lower()
    return InputError(f"cannot be {done}: {reason}", "check the name, the disk and its free space", path)
