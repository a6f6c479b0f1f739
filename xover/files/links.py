"""Links on the way to a file: one that lies in a speaker folder, which a stranger may have sent, leads nowhere else.

A link of the user's own, outside of speaker folders, is followed as ever.
"""

from __future__ import annotations

import errno
import os
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from xover.errors import InputError

FILE_NAME: Final = "speaker.toml"
"""What makes a folder a speaker folder."""
_MOST_LINKS: Final = 40  # as Linux allows on one way
_OPENED: set[Path] = set()


def count_as_speaker_folder(folder: Path) -> None:
    """Count a folder among the speaker folders though its file may have another name; `folder` without links."""
    _OPENED.add(folder)


def real_path(path: Path, reading: bool = False) -> Path:
    """The same place by a way without links; whether anything is there is not asked.

    Parameters
    ----------
    reading : only what the refusal advises depends on it. Names in speaker.toml are resolved without links beforehand
        (`speaker.resolve_inside`), and may lie in the folder above.

    Raises InputError: a link that lies in a speaker folder leads out of it. OSError: links in a circle, or a relative
    path where the working folder has gone.
    """
    start = path if path.is_absolute() else Path(os.getcwd(), path)
    real, left, links = Path(start.anchor), deque(start.parts[1:]), 0
    bounds: list[Path] = []
    while left:
        part = left.popleft()
        if part == "..":
            real = real.parent
            continue
        try:
            target = Path(os.readlink(real / part))
        except OSError:  # no link, or nothing there
            real = real / part
            continue
        links += 1
        if links > _MOST_LINKS:
            raise OSError(errno.ELOOP, os.strerror(errno.ELOOP))
        home = next((f for f in (real, *real.parents) if f in _OPENED or os.path.lexists(f / FILE_NAME)), None)
        if home is not None:
            bounds.append(home)
        if target.is_absolute():
            real = Path(target.anchor)
        left.extendleft(reversed(target.parts[1:] if target.is_absolute() else target.parts))
    for home in bounds:
        if not real.is_relative_to(home):
            raise InputError(
                f"is reached by a link in the speaker folder '{home.name}' that leads out of it",
                "put a file in the place of the link" if reading else "delete the link, or give another name",
                path,
            )
    return real


@contextmanager
def opened_folder(real: Path) -> Iterator[int | None]:
    """A folder by a descriptor, so that what is done in it is done there whatever its name means meanwhile.

    `real` is as `real_path` gives it: a link that has come to lie on it since is an error. None where the system
    cannot do so (it needs O_PATH); names are used there then.
    """
    if not hasattr(os, "O_PATH"):
        yield None
        return
    how = os.O_PATH | os.O_DIRECTORY | os.O_NOFOLLOW
    folder = os.open(real.anchor, how)
    try:
        for part in real.parts[1:]:
            inner = os.open(part, how, dir_fd=folder)
            os.close(folder)
            folder = inner
        yield folder
    finally:
        os.close(folder)
