"""The files that a speaker file names: there, readable, and not far away by accident."""

from __future__ import annotations

import difflib
from pathlib import Path

from xover.errors import InputError


def resolve_inside(folder: Path, text: str) -> Path:
    """Turn a path as written in a speaker file into a whole one, following symbolic links.

    Parameters
    ----------
    folder : folder that holds the speaker file; relative paths start there.
    text : as written.

    Raises
    ------
    InputError
        Without path or line: empty, unprintable, a link in a circle, or outside the parent of the
        speaker folder. Whether a file is there is not asked.
    """
    if not text.strip() or not text.isprintable():
        raise InputError(f"names no file: '{text}'", "write a file name relative to the speaker file")
    try:
        root = folder.resolve().parent
        target = (folder / text).resolve()
    except (OSError, RuntimeError, ValueError) as error:  # RuntimeError: links in a circle
        raise InputError(
            f"names '{_short(text)}', which is no possible path", "check the name and its links"
        ) from error
    if not target.is_relative_to(root):
        raise InputError(
            f"names '{_short(text)}', which lies outside of '{root}'",
            "keep the file in the speaker folder or in the folder above it",
        )
    return target


def find_file(folder: Path, text: str) -> Path:
    """Resolve a path and make sure that a file is there.

    Raises
    ------
    InputError
        Without path or line: as resolve_inside; no such file (with the nearest name that exists); a folder.
    """
    target = resolve_inside(folder, text)
    try:
        if target.is_dir():
            raise InputError(f"names '{_short(text)}', which is a folder", "name the file inside it")
        if target.exists():
            return target
        neighbours = [entry.name for entry in target.parent.iterdir()] if target.parent.is_dir() else []
    except OSError as error:
        reason = (error.strerror or "not readable").lower()
        raise InputError(f"names '{_short(text)}', which cannot be reached: {reason}", "check the name") from error
    near = difflib.get_close_matches(target.name, neighbours, n=1)
    if near:
        remedy = f"did you mean '{near[0]}'?"
    elif "\\" in text:
        remedy = "separate folders with '/'"
    else:
        remedy = "put the file there or correct the name"
    raise InputError(f"names '{_short(text)}', which does not exist", remedy)


def _short(text: str) -> str:
    return text if len(text) <= 80 else text[:77] + "..."
