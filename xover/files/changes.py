"""Changes of a speaker folder: several files as one, and the last changes kept, so that they can be taken back.

What was there before is kept in the folder itself, in `.xover-undo`: the bytes of each file, and the SHA-256 of what
was written in their place. A folder may come from a stranger, and that file with it: it is believed of plain files that
lie in the folder and that xover writes there, and only where they are what it says was written.
"""

from __future__ import annotations

import base64
import contextlib
import hashlib
import json
import os
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from xover.errors import InputError, OptionError
from xover.files.atomic import read_bytes, write_bytes
from xover.files.lock import locked

JOURNAL: Final = ".xover-undo"
MOST_CHANGES: Final = 20
MOST_FILES: Final = 3
"""Of one change."""
LARGEST_BYTES: Final = 4 * 1024 * 1024
CIRCUIT: Final = re.compile(r"[A-Za-z0-9_-]{1,64}\.cir")
CURVE: Final = re.compile(
    r"[A-Za-z0-9_-]{1,64}-(?:impedance|response)\.csv|(?:terminals|whole)-[A-Za-z0-9_-]{1,64}\.csv"
)
_HASH: Final = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True)
class Change:
    """What one command wrote.

    Attributes
    ----------
    before : by the file's name, what was there; None where no file was.
    written : by the same names, the SHA-256 of what was put there.
    """

    before: Mapping[str, bytes | None]
    written: Mapping[str, str]


@dataclass(frozen=True)
class TakenBack:
    """Names of the files that were removed, as there had been none, and that are again as they were; changes left."""

    removed: tuple[str, ...]
    put_back: tuple[str, ...]
    left: int


def put(folder: Path, contents: Mapping[str, bytes], over: Collection[str], new_too: bool = False) -> None:
    """Write files of a folder in this order, all or none, and keep what was there.

    The caller has the folder `locked`.

    Parameters
    ----------
    over : names of files that may be overwritten. new_too : new files alone can be taken back too.

    Raises InputError: a file is there and not `over`, or cannot be written; then all are as they were.
    """
    paths = {name: folder / name for name in contents}
    before = {name: read_bytes(path) if os.path.lexists(path) else None for name, path in paths.items()}
    written = {name: _hash(data) for name, data in contents.items()}
    kept = read_changes(folder, strictly=False)
    try:
        # Not kept: new files alone, which took nothing away, and what is a link, as only plain files are taken back.
        taken = new_too or any(data is not None for data in before.values())
        if taken and not any(map(os.path.islink, paths.values())):
            _keep(folder, [*kept, Change(before, written)])
    except InputError as error:
        if os.path.lexists(folder / JOURNAL):
            raise
        raise InputError(error.problem, error.remedy, next(iter(paths.values()))) from error
    try:
        for name, data in contents.items():
            write_bytes(paths[name], data, name in over)
    except BaseException:
        for name, path in paths.items():
            if os.path.lexists(path) and _hash(read_bytes(path)) == written[name]:
                _restore(path, before[name])
        with contextlib.suppress(InputError):  # one of which nothing is in the folder is passed over
            _keep(folder, kept)
        raise


def take_back(speaker_toml: Path, look: bool = False) -> TakenBack:
    """Take the last change of a folder back, or with `look` tell what that would do.

    A change of which nothing is in the folder (its command was killed before it wrote) is passed over.

    Raises OptionError: there is none. InputError: a file is no longer what was written, or what was kept cannot be
    believed, read or written; then all files are as they were.
    """
    folder = speaker_toml.parent
    with locked(folder):
        changes = read_changes(folder)
        while changes:
            change = changes.pop()
            is_now = {name: _found(folder, name, speaker_toml.name) for name in change.before}
            if is_now != dict(change.before):
                break
        else:
            raise OptionError(
                f"there is nothing to undo in {folder}", "only what --write, --into and new have written can be"
            )
        for name, data in is_now.items():
            if data != change.before[name] and (data is None or _hash(data) != change.written[name]):
                raise InputError(
                    "has changed since xover wrote it, so nothing was undone",
                    "mend it by hand, or put it back as it was written",
                    folder / name,
                )
        if not look:
            # speaker.toml first: it must name no file that is gone.
            for name in sorted(change.before, key=lambda name: name != speaker_toml.name):
                if is_now[name] != change.before[name]:
                    _restore(folder / name, change.before[name])
            _keep(folder, changes)
    gone = tuple(name for name, data in change.before.items() if data is None)
    return TakenBack(gone, tuple(name for name in change.before if name not in gone), len(changes))


def read_changes(folder: Path, strictly: bool = True) -> list[Change]:
    """The changes that were kept, the last one last; none where nothing was, or, not `strictly`, what cannot be read.

    Raises InputError: the file is none that xover wrote, or a link.
    """
    path = folder / JOURNAL
    if not os.path.lexists(path):
        return []
    try:
        if path.is_symlink():
            raise ValueError
        data = read_bytes(path)
        if len(data) > LARGEST_BYTES:
            raise ValueError
        found = json.loads(data)["changes"]
        if len(found) > MOST_CHANGES:
            raise ValueError
        return [_change(entry) for entry in found]
    except (InputError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        if not strictly:
            return []
        raise InputError("is none that xover wrote, so it is not followed", "delete it", path) from None


def _change(entry: Any) -> Change:
    """Raises ValueError and the like for what was not written here."""
    files = {name: (kept["before"], kept["written"]) for name, kept in entry.items()}
    if not 0 < len(files) <= MOST_FILES or not all(_HASH.fullmatch(written) for _, written in files.values()):
        raise ValueError
    before = {n: None if b is None else base64.b64decode(b, validate=True) for n, (b, _) in files.items()}
    return Change(before, {n: w for n, (_, w) in files.items()})


def _keep(folder: Path, changes: Sequence[Change]) -> None:
    """Write the last ones that have room, or nothing where there is none."""
    kept = list(changes[-MOST_CHANGES:])
    path = folder / JOURNAL
    while kept:
        data = json.dumps({"changes": [_plain(change) for change in kept]}, indent=1).encode()
        if len(data) <= LARGEST_BYTES:
            return write_bytes(path, data, force=True, own=True)
        del kept[0]
    path.unlink(missing_ok=True)


def _plain(change: Change) -> dict[str, Any]:
    return {
        name: {"before": None if data is None else base64.b64encode(data).decode(), "written": change.written[name]}
        for name, data in change.before.items()
    }


def _found(folder: Path, name: str, speaker_toml: str) -> bytes | None:
    """What is there now. Raises InputError: it is nothing that xover writes there, or no plain file."""
    if name != speaker_toml and not CIRCUIT.fullmatch(name) and not CURVE.fullmatch(name):
        raise InputError(
            f"names '{name[:40]}', which is no file that xover writes, so it is not followed",
            "delete it",
            folder / JOURNAL,
        )
    path = folder / name
    if path.is_symlink():
        raise InputError("has become a link, so nothing was undone", "put the file itself there", path)
    return read_bytes(path) if os.path.lexists(path) else None


def _restore(path: Path, data: bytes | None) -> None:
    if data is None:
        path.unlink(missing_ok=True)
    else:
        write_bytes(path, data, force=True)


def _hash(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
