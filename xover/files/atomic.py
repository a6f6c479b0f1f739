"""Whole files in, whole files out: a write either happens fully or leaves everything as it was.

Bytes to text, whatever program wrote them: UTF-8, UTF-16 or Latin-1.
"""

from __future__ import annotations

import codecs
import contextlib
import errno
import os
import re
import secrets
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final

from xover.errors import InputError, named
from xover.files.budget import TEXT_FILE, Budget
from xover.files.links import opened_folder, real_path
from xover.files.sound_formats import kind_of

# What stays of the control codes: tab and line feed. Everything else of them means "not text".
_CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f\x7f-\x9f]")
# Characters at which str.splitlines breaks a line and an editor does not: they would shift line numbers.
_ODD_BREAKS = str.maketrans(dict.fromkeys("\x0b\x0c\x85\u2028\u2029", " "))
# Latin-1 leaves 0x80-0x9F to control codes; what stands there in practice is the Windows set (code page 1252).
_WINDOWS = {code: bytes([code]).decode("cp1252", "ignore") or chr(code) for code in range(0x80, 0xA0)}
_TO_LATIN = {ord(character): code for code, character in _WINDOWS.items()}
# A sweep of plain digits in UTF-16 has a NUL in every second byte; a third is asked for.
_LEAST_NULS = 0.3
TEMPORARY: Final = re.compile(r"\.[0-9a-f]{16}\.tmp")
"""The name of a file that is not in its place yet, where it must have one."""


class NotTextError(ValueError):
    """The bytes are no text in any encoding that is recognised."""


def decode_text(data: bytes) -> str:
    r"""Decode a whole file.

    Recognised: UTF-8 with or without byte order mark; UTF-16 with a mark, or without one by its
    NUL bytes; else Latin-1. Line ends come back as "\n" only, so that text.split("\n") and
    text.splitlines() both count lines as an editor does.

    Raises NotTextError: control codes are left, or the bytes break the encoding that their mark promises.
    """
    text = (
        encoding_of(data).decode(data).replace("\r\n", "\n").replace("\r", "\n").rstrip("\x1a").translate(_ODD_BREAKS)
    )
    if _CONTROL.search(text):
        raise NotTextError("holds control codes")
    return text


@dataclass(frozen=True)
class Encoding:
    """How bytes hold a text: the mark that they begin with, and the codec behind it."""

    mark: bytes
    codec: str

    def decode(self, data: bytes) -> str:
        """The text with its line ends as they are. Raises NotTextError."""
        try:
            text = data[len(self.mark) :].decode(self.codec)
        except UnicodeDecodeError as error:
            raise NotTextError(f"is not whole {self.codec.upper()}") from error
        return text.translate(_WINDOWS) if self.codec == "latin-1" else text

    def encode(self, text: str) -> bytes:
        """The bytes that `decode` makes this text of. Raises UnicodeEncodeError: it holds what the codec cannot."""
        return self.mark + (text.translate(_TO_LATIN) if self.codec == "latin-1" else text).encode(self.codec)


def encoding_of(data: bytes) -> Encoding:
    """What a whole file is written in, as `decode_text` says. Raises NotTextError."""
    for mark, codec in (
        (codecs.BOM_UTF8, "utf-8"),
        (codecs.BOM_UTF16_LE, "utf-16-le"),
        (codecs.BOM_UTF16_BE, "utf-16-be"),
    ):
        if data.startswith(mark):
            return Encoding(mark, codec)
    if b"\0" in data:
        return Encoding(b"", _utf16_without_mark(data))
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return Encoding(b"", "latin-1")
    return Encoding(b"", "utf-8")


def _utf16_without_mark(data: bytes) -> str:
    """Name the byte order by the side on which the NULs stand."""
    first, second, pairs = data[0::2].count(0), data[1::2].count(0), len(data) / 2
    if second > _LEAST_NULS * pairs and first == 0:
        return "utf-16-le"
    if first > _LEAST_NULS * pairs and second == 0:
        return "utf-16-be"
    raise NotTextError("holds NUL bytes")


def read_text(path: Path | str, budget: Budget = TEXT_FILE) -> str:
    r"""Read a text file in whatever common encoding it has (see decode_text); lines end in "\n".

    Raises InputError: missing, a folder, no regular file (a pipe or device), no permission, more than the budget of
    its kind, not text, or reached by a link in a speaker folder that leads out of it.
    """
    path = Path(path)
    data = read_bytes(path, budget)
    try:
        text = decode_text(data)
    except NotTextError as error:
        kind = kind_of(data)
        if kind is not None:
            raise InputError(f"is {kind.name} where a text file belongs", kind.to_curve, path) from error
        raise InputError(f"is not a text file: it {error}", "export the data as plain text (UTF-8)", path) from error
    budget.check_lines(text, path)
    return text


def read_bytes(path: Path, budget: Budget = TEXT_FILE) -> bytes:
    """A whole file as it is. Raises InputError: as `read_text`, but for what is no text."""
    with opened_file(path) as stream:
        data = stream.read(budget.most_bytes + 1)
    budget.check_bytes(len(data), path)
    return data


@contextlib.contextmanager
def opened_file(path: Path) -> Iterator[BinaryIO]:
    """A file to be read piece by piece. Raises InputError: as `read_bytes`, but for its size, in the block too."""
    try:
        real = real_path(path, reading=True)
        status = os.stat(real)
        if stat.S_ISDIR(status.st_mode):
            raise InputError("is a folder where a file belongs", "name the file inside it", path)
        if not stat.S_ISREG(status.st_mode):
            raise InputError("is not a regular file", "save the data to a file first", path)
        stream = open(real, "rb")  # noqa: SIM115
    except (OSError, ValueError) as error:
        raise fault_of(path, error, "read") from error
    with stream:
        try:
            yield stream
        except OSError as error:
            raise fault_of(path, error, "read") from error


def write_text(path: Path | str, text: str, force: bool = False) -> None:
    """Write text as UTF-8, line ends as given; see write_bytes for the rest."""
    write_bytes(path, as_utf8(text, path), force)


def as_utf8(text: str, path: Path | str) -> bytes:
    """The bytes of a text that is to be written. Raises InputError: UTF-8 cannot hold it."""
    try:
        return text.encode("utf-8")
    except UnicodeEncodeError as error:
        raise InputError(
            "the text holds a character that UTF-8 cannot hold", "remove it from the names", path
        ) from error


def write_bytes(path: Path | str, data: bytes, force: bool = False, own: bool = False) -> None:
    """Write a whole file, or nothing.

    The bytes go to a file without a name in the same folder (one with a name, where the system has none without), are
    flushed to the disk, and take the place of the target in one step. A new file gets the permissions that the umask
    gives; one that is overwritten keeps its own. A symbolic link stays and what it points to is written, but for one
    that lies in a speaker folder and leads out of it: nothing is written through that.

    `own` : a file of xover's own, for its owner to read alone; a link in its place is replaced.

    Raises InputError: the file exists and `force` is not given, it is a folder or no regular file, such a link is on
    its way, its folder is missing, there is no permission or no room. The old file, if any, is whole, and no temporary
    file is left.
    """
    path = Path(path)
    try:
        target = real_path(path.parent) / path.name if own else real_path(path)
        mode = _mode_of_target(path, target, force)
        _replace(target, data, 0o600 if own else mode)
    except FileExistsError:
        raise _exists(path) from None
    except (OSError, ValueError) as error:
        raise fault_of(path, error, "written") from error


def check_target(path: Path | str, force: bool = False) -> None:
    """Raise at once what `write_bytes` would raise for this name, before there is anything to write."""
    path = Path(path)
    try:
        _mode_of_target(path, real_path(path), force)
    except (OSError, ValueError) as error:
        raise fault_of(path, error, "written") from error


def _mode_of_target(path: Path, target: Path, force: bool) -> int | None:
    """Refuse what must not be overwritten; give the permissions to keep, None for a new file."""
    if os.path.lexists(path) and not force and not path.is_dir():
        raise _exists(path)
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
    """Put a file in the place of another, or of none where there is no `mode` to keep."""
    with opened_folder(target.parent) as folder:
        place = target.parent if folder is None else Path()
        temporary = place / f".{secrets.token_hex(8)}.tmp"  # as TEMPORARY says
        try:
            # With 0666 the kernel applies the umask, which cannot be read without setting it.
            handle = _nameless(folder)
            has_name = handle is None
            if handle is None:
                handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666, dir_fd=folder)
            with os.fdopen(handle, "wb") as stream:
                if mode is not None and hasattr(os, "fchmod"):
                    os.fchmod(stream.fileno(), mode)
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
                if not has_name:
                    name = place / target.name if mode is None else temporary
                    os.link(f"/proc/self/fd/{stream.fileno()}", name, dst_dir_fd=folder)
            if has_name or mode is not None:
                os.replace(temporary, place / target.name, src_dir_fd=folder, dst_dir_fd=folder)
        except BaseException:
            with contextlib.suppress(OSError):
                os.unlink(temporary, dir_fd=folder)
            raise


def _nameless(folder: int | None) -> int | None:
    """A new file that is gone with its process until it is given a name; None where the system has no such thing."""
    if folder is None or not os.path.exists("/proc/self/fd"):
        return None
    try:
        return os.open(".", os.O_WRONLY | os.O_TMPFILE, 0o666, dir_fd=folder)
    except OSError as error:
        if error.errno in (errno.EOPNOTSUPP, errno.EISDIR, errno.ENOENT, errno.EINVAL):  # the file system has none
            return None
        raise


def _exists(path: Path) -> InputError:
    return InputError("exists already", f"give {named('force')} to overwrite it, or another name", path)


def fault_of(path: Path, error: OSError | ValueError, done: str) -> InputError:
    """Say in one line why a file cannot be read or written."""
    if isinstance(error, ValueError):  # a NUL or a lone surrogate in the name
        return InputError("is not a possible file name", "check the name", path)
    if isinstance(error, FileNotFoundError | NotADirectoryError):
        return InputError("does not exist", "check the name and the folder", path)
    if isinstance(error, PermissionError):
        return InputError(f"cannot be {done}: no permission", "change its permissions or use another folder", path)
    reason = (error.strerror or type(error).__name__).lower()
    return InputError(f"cannot be {done}: {reason}", "check the name, the disk and its free space", path)
